//! `archive export --deidentify`: copies without identity. What is printed calls recordings by their place in the
//! command, so that no log ties a copy to a key; the key is said only where nothing of a recording goes out.

use std::path::PathBuf;

use ecgkeep::archive::{self, Catalogue, Key, WithoutIdentity};
use ecgkeep::format::{Error, File, Format, Kind, Options};
use ecgkeep::{Conversion, Disk, Storage as _, format_by_id, without_identity, write_files};
use serde_json::json;

use super::{Doing, PROGRAM};
use crate::args::archive::Export;
use crate::commands::identity::{deidentifier, kept, said};
use crate::exit::Exit;
use crate::output::{Outcome, print_about, remark_line};

pub fn run(args: &Export, json: bool) -> Result<Exit, Error> {
    let to = refuse_what_makes_no_sense(args)?;
    let mut doing = Doing::of(&args.dir, &args.acting)?;
    let _: archive::Code = args.receiver.parse()?;
    let apart = [(args.into.as_path(), "in the output folder"), (args.dir.as_path(), "in the archive")];
    let deidentifier = deidentifier(&args.identity, &apart)?
        .ok_or_else(|| Error::new(Kind::Internal, "neither a table nor a key of pseudonyms"))?;
    let options = Options::default();
    let conversion = Conversion {
        format: to,
        options: &options,
        accept_damage: args.accept_damage,
        refuse_losses: false,
        deidentifier: Some(&deidentifier),
        program: PROGRAM,
    };
    let catalogue = doing.catalogue()?;
    let keys = doing.keys(&args.keys)?;
    Disk.make_folder(&args.into)?;
    let (mut exit, mut written) = (Exit::Done, Vec::new());
    for (number, key) in (1..).zip(&keys) {
        let called = format!("recording {number}");
        let result = match made(args, &doing, &catalogue, *key, &conversion) {
            // Nothing of it goes out, so that its key tells nothing of a copy.
            Err(error) => (format!("{called} ({key})"), Err(error)),
            Ok((revision, copies)) => {
                let result = put(args, &called, copies);
                written.extend(result.is_ok().then_some((*key, revision)));
                (called, result)
            }
        };
        exit = exit.or(print_about("ecgkeep-archive-export/1", json, &result.0, result.1));
    }
    archive::deidentified(
        &mut doing.archive,
        &written,
        &args.receiver,
        &deidentifier,
        &doing.acting,
        doing.signer.as_ref(),
    )
    .map_err(|error| {
        Error::new(error.kind(), format!("copies are written, and the journal does not say so: {error}"))
            .remedy("export them again")
    })?;
    remark_line(&format!(
        "{} of {} copied without identity for {}; nothing is handed over, so `list --unsent` is as it was",
        written.len(),
        keys.len(),
        args.receiver
    ));
    Ok(exit)
}

/// The format to write.
fn refuse_what_makes_no_sense(args: &Export) -> Result<&'static dyn Format, Error> {
    let usage = |what: &str, remedy: &str| Err(Error::new(Kind::Usage, what).remedy(remedy));
    if args.original {
        return usage(
            "--original hands out the superseded original, --deidentify never an original",
            "leave one of them out",
        );
    }
    if args.unsent {
        return usage(
            "--unsent is what is still to be handed over, and a copy without identity hands nothing over",
            "name the keys in place of --unsent (archive find and archive list print them)",
        );
    }
    match &args.to {
        Some(to) => format_by_id(to),
        None => usage(
            "a bundle holds the original, which says who it is: it cannot go out without identity",
            "name a format with --to, such as --to wfdb (see `ecgkeep formats`)",
        ),
    }
}

/// The copies of the newest revision, and its number.
fn made(
    args: &Export,
    doing: &Doing,
    catalogue: &Catalogue,
    key: Key,
    conversion: &Conversion<'_>,
) -> Result<(u32, WithoutIdentity), Error> {
    let got = archive::fetch(&doing.archive, catalogue, key, None)?;
    if got.entry.damaged && !args.accept_damage {
        return Err(Error::new(Kind::Malformed, "the recording is damaged")
            .remedy("leave it out, or use --accept-damage: a page then says DAMAGED"));
    }
    let page = args.page.map(crate::args::Form::page);
    let copies = archive::copies_without_identity(&got, conversion, page, &doing.acting.at);
    Ok((got.revision, copies.map_err(|error| without_identity(&error))?))
}

/// Writes them, unless they are there already.
fn put(args: &Export, called: &str, copies: WithoutIdentity) -> Result<Outcome, Error> {
    let WithoutIdentity { files, losses, taken, notes, is_test_recording, is_damaged } = copies;
    let paths: Vec<PathBuf> = files.iter().map(|file| args.into.join(&file.name)).collect();
    let is_there =
        |(path, file): (&PathBuf, &File)| std::fs::read(path).is_ok_and(|there| there == file.bytes);
    if !paths.iter().zip(&files).all(is_there) {
        write_files(&Disk, &args.into, &files, args.overwrite)?;
    }
    let written: Vec<String> = paths.iter().map(|path| path.display().to_string()).collect();
    let mut remarks = said(&losses, &taken);
    if notes > 0 {
        remarks.push(format!("{notes} notes of the reader, not shown"));
    }
    for (is_so, word) in [(is_test_recording, "TEST RECORDING"), (is_damaged, "DAMAGED")] {
        if is_so {
            remarks.push(format!("{word}: a page says so, the copy in a format does not"));
        }
    }
    let text =
        format!("{called}: wrote {} ({})\n", written.join(", "), kept(losses.len(), !taken.is_empty(), true));
    let body = json!({
        "receiver": args.receiver,
        "written": written,
        "losses": losses.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "taken": taken.iter().map(ToString::to_string).collect::<Vec<_>>(),
    });
    Ok(Outcome { remarks, ..Outcome::done(text, body)? })
}
