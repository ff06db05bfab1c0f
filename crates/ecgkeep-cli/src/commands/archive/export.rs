//! `archive export`: files for a receiver, each with a receipt. Nothing is sent.

use ecgkeep::archive::{self, Catalogue, Code, Key};
use ecgkeep::format::{Error, Format, Kind, Place};
use ecgkeep::{Disk, Storage as _, format_by_id};
use serde_json::json;

use super::{Doing, one, write_once};
use crate::args::archive::Export;
use crate::exit::Exit;
use crate::output::{Outcome, print_about, remark_line};

pub fn run(args: &Export, json: bool) -> Result<Exit, Error> {
    if args.identity.deidentify {
        return super::deidentified::run(args, json);
    }
    let mut doing = Doing::of(&args.dir, &args.acting)?;
    let _: Code = args.receiver.parse()?;
    let to = args.to.as_deref().map(format_by_id).transpose()?;
    let catalogue = doing.catalogue()?;
    let keys = if args.unsent {
        catalogue.unsent()?.iter().map(|row| row.key.parse()).collect::<Result<Vec<Key>, Error>>()?
    } else {
        match doing.keys(&args.keys) {
            Ok(keys) => keys,
            Err(error) => return one("ecgkeep-archive-export/1", json, &args.dir, Err(error)),
        }
    };
    Disk.make_folder(&args.into)?;
    let mut exit = Exit::Done;
    if let Some(line) = super::unread_line(&catalogue)?.filter(|_| args.unsent) {
        remark_line(&line);
        exit = Exit::Altered;
    }
    for key in keys {
        let result = exported(args, &mut doing, &catalogue, key, to);
        exit = exit.or(print_about("ecgkeep-archive-export/1", json, &key.to_string(), result));
    }
    Ok(exit)
}

fn exported(
    args: &Export,
    doing: &mut Doing,
    catalogue: &Catalogue,
    key: Key,
    to: Option<&'static dyn Format>,
) -> Result<Outcome, Error> {
    let got = archive::fetch(&doing.archive, catalogue, key, None)?;
    refuse_receipt_of_another(args, &got.stem())?;
    let copies = archive::copies(&got, to, args.original)?;
    let mut written = Vec::new();
    let mut write = |name: &str, bytes: &[u8], overwrite: bool| {
        let path = args.into.join(name);
        written.push(path.display().to_string());
        write_once(&path, bytes, overwrite)
    };
    for file in &copies.files {
        write(&file.name, &file.bytes, args.overwrite)?;
    }
    let exports =
        archive::export(&mut doing.archive, &[&got], &args.receiver, &doing.acting, doing.signer.as_ref())?;
    let line = exports.first().map(|exported| exported.line);
    let line = line.ok_or_else(|| Error::new(Kind::Internal, "an export without a line"))?;
    for file in archive::receipt_files(&doing.archive, line, &got.stem())? {
        // A receipt of an earlier export for this receiver is replaced: it is the journal that keeps both.
        write(&file.name, &file.bytes, true)?;
    }
    let stem = got.stem();
    let text = format!("{stem} | exported for {} | {}\n", args.receiver, written.join(", "));
    let remarks = copies.losses.iter().map(|loss| format!("not kept as it was: {loss}")).collect();
    let body = json!({
        "revision": got.revision, "sha256": got.sha256.to_string(), "line": line, "receiver": args.receiver,
        "written": written, "losses": copies.losses,
    });
    Ok(Outcome { remarks, ..Outcome::done(text, body)? })
}

/// Each receiver's folder is collected for that receiver: what lies there for another must not be replaced.
fn refuse_receipt_of_another(args: &Export, stem: &str) -> Result<(), Error> {
    let path = args.into.join(format!("{stem}.line.json"));
    let Ok(there) = std::fs::read(&path) else { return Ok(()) };
    let line: serde_json::Value = serde_json::from_slice(&there).unwrap_or_default();
    if args.overwrite || line["to"] == args.receiver.as_str() {
        return Ok(());
    }
    Err(Error::new(Kind::Io, "an export for another receiver lies there")
        .at(Place::file(path.display().to_string()))
        .remedy("give each receiver a folder of its own, or --overwrite to replace the receipt"))
}
