//! `archive get`.

use std::path::Path;

use ecgkeep::archive::{self, Code, Got};
use ecgkeep::format::{Error, File, Kind};
use ecgkeep::{Disk, PageForm, Storage as _, write_files};
use serde_json::json;

use super::{Doing, PROGRAM, about_key, write_once};
use crate::args::archive::Get;
use crate::commands::stem_of;
use crate::exit::Exit;
use crate::output::Outcome;

pub fn run(args: &Get, json: bool) -> Result<Exit, Error> {
    if args.out.is_none() && args.into.is_none() {
        return Err(Error::new(Kind::Usage, "no place to write to")
            .remedy("give -o OUT.zip, .svg, .pdf or .html; or --into DIR for the source files"));
    }
    let mut doing = Doing::of(&args.dir, &args.acting)?;
    about_key("ecgkeep-archive-get/1", json, &mut doing, &args.key, |doing, key| got(args, doing, key))
}

fn got(args: &Get, doing: &mut Doing, key: archive::Key) -> Result<Outcome, Error> {
    let why: Code = args.why.parse()?;
    if let Some(into) = &args.into
        && let Some(files) = archive::quarantined_files(&doing.archive, key)?
        && doing.archive.revisions(key)?.is_empty()
    {
        return written(args, into, &files, "from quarantine, as received");
    }
    let catalogue = doing.catalogue()?;
    let got = archive::fetch(&doing.archive, &catalogue, key, args.revision)?;
    let outcome = match (&args.out, &args.into) {
        (Some(out), _) => whole_or_page(args, doing, &got, out)?,
        (None, Some(into)) => {
            got.refuse_superseded(args.original)?;
            written(args, into, &got.original_files()?, "source files, as received")?
        }
        (None, None) => return Err(Error::new(Kind::Internal, "no place to write to")),
    };
    got.viewed(&mut doing.archive, &doing.acting, &why, doing.signer.as_ref())?;
    let remarks = got.superseded_line().into_iter().collect();
    Ok(Outcome { remarks, ..outcome })
}

fn whole_or_page(args: &Get, doing: &Doing, got: &Got, out: &Path) -> Result<Outcome, Error> {
    let ending = out.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    let folder = out.parent().unwrap_or(Path::new(""));
    if ending == "zip" {
        got.refuse_superseded(args.original)?;
        write_once(out, &got.bytes, args.overwrite)?;
        return said(got.revision, "bundle", &[out.display().to_string()]);
    }
    let Some(form) = PageForm::from_ending(&ending) else {
        return Err(Error::new(Kind::Usage, "the ending does not say what to write")
            .remedy("let the name end in .zip, .svg, .pdf or .html"));
    };
    let files = got.page(&stem_of(out), form, args.original, &doing.acting.at, PROGRAM)?;
    let paths = write_files(&Disk, folder, &files, args.overwrite)?;
    let paths: Vec<String> = paths.iter().map(|path| path.display().to_string()).collect();
    said(got.revision, "page", &paths)
}

/// Files into a folder; their names are not printed, for they may name a patient.
fn written(args: &Get, into: &Path, files: &[File], what: &str) -> Result<Outcome, Error> {
    Disk.make_folder(into)?;
    write_files(&Disk, into, files, args.overwrite).map_err(|error| {
        Error::new(error.kind(), "a file could not be written, or is there already")
            .remedy("choose another folder, or --overwrite to replace what is there")
    })?;
    let text = format!("{} files, {what}: {}\n", files.len(), into.display());
    Outcome::done(text, json!({ "revision": null, "what": what, "written": [into.display().to_string()] }))
}

fn said(revision: u32, what: &str, paths: &[String]) -> Result<Outcome, Error> {
    let text = format!("revision {revision}, {what}: {}\n", paths.join(", "));
    Outcome::done(text, json!({ "revision": revision, "what": what, "written": paths }))
}
