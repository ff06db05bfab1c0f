//! `archive`: one file per act; what several share is here.

mod acknowledge;
mod add;
mod correct;
mod deidentified;
mod destroy;
mod export;
mod find;
mod get;
mod hold;
mod keys;
mod list;
mod make;
mod reconcile;
mod schedule;
mod verify;

use std::path::Path;

use ecgkeep::archive::{self, Acting, Archive, Catalogue, Key, Row, Signer};
use ecgkeep::format::{Error, Kind, Place};
use ecgkeep::recording::CivilTime;
use ecgkeep::{Disk, Storage as _};

use super::{PROGRAM, lies_in, now, said_who};
use crate::args::archive::{Act, Acting as ActingArgs, Archive as ArchiveArgs, MaybeActing};
use crate::exit::Exit;
use crate::output::{Outcome, print_about};

pub fn run(args: &ArchiveArgs, json: bool) -> Result<Exit, Error> {
    match &args.act {
        Act::New(args) => make::run(args, json),
        Act::Add(args) => add::run(args, json),
        Act::Find(args) => find::run(args, json),
        Act::List(args) => list::run(args, json),
        Act::Get(args) => get::run(args, json),
        Act::Verify(args) => verify::run(args, json),
        Act::Repair(args) => verify::repair(args, json),
        Act::Correct(args) => correct::run(args, json),
        Act::Export(args) => export::run(args, json),
        Act::Acknowledge(args) => acknowledge::run(args, json),
        Act::Reconcile(args) => reconcile::run(args, json),
        Act::Hold(args) => hold::hold(args, json),
        Act::Release(args) => hold::release(args, json),
        Act::Due(args) => destroy::due(args, json),
        Act::Destroy(args) => destroy::run(args, json),
        Act::Rebuild(args) => list::rebuild(args, json),
        Act::Keys(args) => keys::run(args, json),
        Act::Schedule(args) => schedule::run(args, json),
    }
}

/// An archive that something is done to.
struct Doing {
    archive: Archive,
    acting: Acting,
    signer: Option<Signer>,
}

impl Doing {
    fn of(dir: &Path, args: &ActingArgs) -> Result<Doing, Error> {
        Doing::with(dir, &args.by, args.at, args.signing_key.as_deref())
    }

    /// For a command that names `--by` where it writes.
    fn maybe(dir: &Path, args: &MaybeActing) -> Result<Doing, Error> {
        Doing::with(dir, args.by.as_deref().unwrap_or_default(), args.at, args.signing_key.as_deref())
    }

    fn with(dir: &Path, by: &str, at: Option<CivilTime>, key: Option<&Path>) -> Result<Doing, Error> {
        let acting = Acting::new(by, now(at)?, PROGRAM)?;
        let archive = archive::open(dir)?;
        let signer = key.map(|key| signer(&archive, dir, key)).transpose()?;
        Ok(Doing { archive, acting, signer })
    }

    fn catalogue(&self) -> Result<Catalogue, Error> {
        archive::catalogue(&self.archive)
    }

    fn key(&self, digits: &str) -> Result<Key, Error> {
        archive::full_key(&self.archive, digits)
    }

    fn keys(&self, digits: &[String]) -> Result<Vec<Key>, Error> {
        let mut keys = Vec::new();
        for digits in digits {
            let key = self.key(digits)?;
            if !keys.contains(&key) {
                keys.push(key);
            }
        }
        Ok(keys)
    }
}

/// The archive's or a person's private key.
fn signer(archive: &Archive, dir: &Path, key: &Path) -> Result<Signer, Error> {
    refuse_inside(dir, key)?;
    archive::signer_from(archive, &key.display().to_string(), &text_of(key)?)
}

/// A private key inside the archive would be copied with it.
fn refuse_inside(dir: &Path, key: &Path) -> Result<(), Error> {
    if !lies_in(key, dir) {
        return Ok(());
    }
    Err(Error::new(Kind::Usage, "a private key does not lie inside the archive")
        .at(Place::file(key.display().to_string()))
        .remedy("keep it elsewhere, readable by its owner only, with a copy in a safe"))
}

/// A text file that the user named; `-` is standard input.
fn text_of(path: &Path) -> Result<String, Error> {
    let read = if path == Path::new("-") {
        std::io::read_to_string(std::io::stdin())
    } else {
        std::fs::read_to_string(path)
    };
    read.map_err(|error| Error::new(Kind::Io, "cannot read").at(Place::file(shown(path))).because(error))
}

/// A path as errors show it: with a folder, so that it is not taken for a file of a record.
fn shown(path: &Path) -> String {
    if path == Path::new("-") {
        return "standard-input".to_owned();
    }
    let is_bare = path.parent().is_some_and(|folder| folder.as_os_str().is_empty());
    if is_bare { format!("./{}", path.display()) } else { path.display().to_string() }
}

/// Prints the one result of a command on `subject`: the archive's folder, or a key.
fn one(
    schema: &str,
    json: bool,
    subject: impl AsRef<Path>,
    result: Result<Outcome, Error>,
) -> Result<Exit, Error> {
    match result {
        // Wrong usage is said as such, whatever it is about.
        Err(error) if error.kind() == Kind::Usage => Err(error),
        result => Ok(print_about(schema, json, &subject.as_ref().display().to_string(), result)),
    }
}

/// Does something with the recording whose key begins with `digits`, and prints the one result.
fn about_key(
    schema: &str,
    json: bool,
    doing: &mut Doing,
    digits: &str,
    act: impl FnOnce(&mut Doing, Key) -> Result<Outcome, Error>,
) -> Result<Exit, Error> {
    match doing.key(digits) {
        Ok(key) => one(schema, json, key.to_string(), act(doing, key)),
        Err(error) => one(schema, json, digits, Err(error)),
    }
}

/// Writes a file unless the same bytes are there already.
fn write_once(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), Error> {
    if std::fs::read(path).is_ok_and(|there| there == bytes) {
        return Ok(());
    }
    Disk.write(path, bytes, overwrite)
}

/// What a list cannot show: recordings that are filed and whose bundles cannot be read.
fn unread_line(catalogue: &Catalogue) -> Result<Option<String>, Error> {
    let unread = catalogue.unread()?;
    Ok((!unread.is_empty()).then(|| {
        format!(
            "{} filed and not listed, for the bundle is missing or damaged: run archive verify, then archive repair with a \
             copy of the archive",
            if unread.len() == 1 { "1 revision is".to_owned() } else { format!("{} revisions are", unread.len()) }
        )
    }))
}

/// Who, when, verdict, as a person reads it.
fn row_line(row: &Row) -> String {
    let Row { key, revision, name, identifiers, birth_date, start, headline, findings, damaged, .. } = row;
    let who = said_who(name.as_deref(), Some(identifiers), birth_date.as_deref(), start);
    let codes = if findings.is_empty() { String::new() } else { format!(": {findings}") };
    let damaged = if *damaged { "DAMAGED; " } else { "" };
    let test = if row.test_recording { "TEST RECORDING; " } else { "" };
    let unidentified = if row.unidentified { "UNIDENTIFIED; " } else { "" };
    let corrected = row.corrected_why.as_ref().map_or_else(String::new, |why| format!(" | corrected: {why}"));
    format!(
        "{key}.r{revision} | {who} | {test}{unidentified}{damaged}{headline}{codes} | {}{corrected}\n",
        sent(row)
    )
}

/// How far it has been handed over.
fn sent(row: &Row) -> &'static str {
    match (row.acknowledged, row.exported) {
        (true, _) => "acknowledged",
        (false, true) => "exported, not acknowledged",
        (false, false) => "not sent",
    }
}
