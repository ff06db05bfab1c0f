//! The catalogue, kept up with the journal.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ecgkeep_archive::catalogue::{Catalogue, Row, Step};
use ecgkeep_archive::layout::Shelved;
use ecgkeep_archive::reconcile::FiledRecording;
use ecgkeep_archive::{Archive, Digest, Entry, Event, Key, Line, State, sha256};
use ecgkeep_bundle::Bundle;
use ecgkeep_format::{Error, Kind, Place, Result};
use rayon::prelude::*;

use crate::seal::{ENTRY, stored};

/// The catalogue's file in the archive's folder.
const CATALOGUE: &str = "catalogue.sqlite";

/// Lines taken into the catalogue at a time.
const LINES_AT_A_TIME: usize = 2048;

/// Digits of a key that a person must give at least.
const KEY_DIGITS: usize = 8;

/// The catalogue of an archive, caught up with its journal.
/// # Errors
/// Those of the catalogue and of reading journal and bundles.
pub fn catalogue(archive: &Archive) -> Result<Catalogue> {
    let mut catalogue = Catalogue::open(&archive.folder().join(CATALOGUE))?;
    catch_up(archive, &mut catalogue, &BTreeMap::new())?;
    Ok(catalogue)
}

/// Makes the catalogue anew.
/// # Errors
/// As [`catalogue`].
pub fn rebuild(archive: &Archive) -> Result<Catalogue> {
    let mut catalogue = Catalogue::open(&archive.folder().join(CATALOGUE))?;
    catalogue.clear()?;
    catch_up(archive, &mut catalogue, &BTreeMap::new())?;
    Ok(catalogue)
}

/// Takes the lines that the catalogue has not read; entries that are `known` need not be read from their bundles. A
/// catalogue of another journal is made anew.
/// # Errors
/// Those of the catalogue and of reading the journal. A bundle that is missing or cannot be read is marked
/// ([`Catalogue::unread`]) and tried again each time.
pub fn catch_up(
    archive: &Archive,
    catalogue: &mut Catalogue,
    known: &BTreeMap<(Key, u32), Entry>,
) -> Result<()> {
    let position = catalogue.position()?;
    let mut next = position.lines;
    let is_same = match (next.checked_sub(1), &position.last) {
        (None, _) => true,
        (Some(index), Some(last)) if index < archive.size() => is_line(archive, index, last)?,
        // Another process may have filed since this archive was opened, and have told the catalogue.
        (Some(index), Some(last)) => {
            let now = Archive::open(archive.storage().clone(), archive.folder())?;
            index < now.size() && is_line(&now, index, last)?
        }
        _ => false,
    };
    if !is_same {
        catalogue.clear()?;
        next = 0;
    }
    let mut lines = archive.lines(next);
    loop {
        let some: Vec<Line> = lines.by_ref().take(LINES_AT_A_TIME).collect::<Result<_>>()?;
        if some.is_empty() {
            return take_what_came_back(archive, catalogue);
        }
        let steps: Vec<Step> =
            some.into_par_iter().map(|line| Step { entry: entry_for(archive, &line, known), line }).collect();
        catalogue.take(&steps)?;
    }
}

fn is_line(archive: &Archive, index: u64, digest: &str) -> Result<bool> {
    Ok(sha256(archive.line(index)?.text().as_bytes()) == digest)
}

/// Takes bundles that could not be read before and were put back since.
fn take_what_came_back(archive: &Archive, catalogue: &mut Catalogue) -> Result<()> {
    let mut back = Vec::new();
    for (key, revision) in catalogue.unread()? {
        let key: Key = key.parse()?;
        let filed = catalogue.filed_line(key, revision)?;
        let Some(index) = filed.filter(|index| *index < archive.size()) else { continue };
        let line = archive.line(index)?;
        if let (Some(entry), Some(sha256)) = (entry_for(archive, &line, &BTreeMap::new()), line.about.sha256)
        {
            back.push((entry, sha256, line.about.bytes.unwrap_or(0)));
        }
    }
    if back.is_empty() { Ok(()) } else { catalogue.take_bundles(&back) }
}

/// The entry in the bundle that a line is about.
fn entry_for(archive: &Archive, line: &Line, known: &BTreeMap<(Key, u32), Entry>) -> Option<Entry> {
    if !matches!(line.event, Event::Filed | Event::Corrected | Event::Repaired) {
        return None;
    }
    let of = (line.about.key?, line.about.revision?);
    known.get(&of).cloned().or_else(|| stored(&archive.bundle(of.0, of.1).ok()??, ENTRY).ok())
}

/// Makes the catalogue anew from the bundles alone, for an archive whose journal is lost. How many recordings, and how
/// many bundles could not be read.
/// # Errors
/// [`Kind::Io`].
pub fn rebuild_without_journal(folder: &Path) -> Result<(Catalogue, usize, usize)> {
    let mut catalogue = Catalogue::open(&folder.join(CATALOGUE))?;
    catalogue.clear()?;
    let (mut taken, mut unreadable) = (0, 0);
    // One shelf after the other, in the order of the keys: not all names are held at once.
    for shelf in entries(&folder.join("bundles"))? {
        let mut files = Vec::new();
        walk(shelf, &mut files)?;
        for some in files.chunks(LINES_AT_A_TIME) {
            let read: Vec<Option<(Entry, Digest, u64)>> = some.par_iter().map(|path| filed(path)).collect();
            unreadable += read.iter().filter(|one| one.is_none()).count();
            let bundles: Vec<_> = read.into_iter().flatten().collect();
            taken += bundles.len();
            catalogue.take_bundles(&bundles)?;
        }
    }
    Ok((catalogue, taken, unreadable))
}

/// The entry of a bundle, and the SHA-256 and length of its file; `None` where it cannot be read or is another's.
fn filed(path: &Path) -> Option<(Entry, Digest, u64)> {
    let bytes = std::fs::read(path).ok()?;
    let (digest, length) = (Digest::of(&bytes), bytes.len() as u64);
    let name = path.file_name()?.to_str()?;
    let Some(Shelved::Bundle(key, revision)) = Shelved::named(name) else { return None };
    let entry: Entry = stored(&Bundle::open(name, bytes.into()).ok()?, ENTRY).ok()?;
    let is_own = entry.key == key.to_string() && entry.revision == revision;
    is_own.then_some((entry, digest, length))
}

/// The bundle at a path, or those below it, sorted.
fn walk(path: PathBuf, files: &mut Vec<PathBuf>) -> Result<()> {
    if path.is_dir() {
        return entries(&path)?.into_iter().try_for_each(|path| walk(path, files));
    }
    if path.extension().is_some_and(|ending| ending == "zip") {
        files.push(path);
    }
    Ok(())
}

/// What stands in a folder, sorted.
fn entries(folder: &Path) -> Result<Vec<PathBuf>> {
    let failed = |error: std::io::Error| {
        Error::new(Kind::Io, "cannot be listed").at(Place::file(folder.display().to_string())).because(error)
    };
    let entries = std::fs::read_dir(folder).map_err(failed)?;
    let mut paths = entries
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<std::io::Result<Vec<PathBuf>>>()
        .map_err(failed)?;
    paths.sort();
    Ok(paths)
}

/// The key that these digits are, or begin: at least 8 of them. Which keys there are the folders tell.
/// # Errors
/// [`Kind::Usage`] for what is no key, or begins several; [`Kind::Io`] where there is none.
pub fn full_key(archive: &Archive, digits: &str) -> Result<Key> {
    let wrong = |what: &str| Error::new(Kind::Usage, what).remedy("archive find prints the keys");
    if let Ok(key) = digits.parse::<Key>() {
        return Ok(key);
    }
    let is_hexadecimal = digits.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b));
    if !is_hexadecimal || !(KEY_DIGITS..32).contains(&digits.len()) {
        return Err(wrong("a key is 32 hexadecimal digits, or at least its first 8, without .r1 behind it"));
    }
    let mut keys = std::collections::BTreeSet::new();
    for above in ["bundles", "quarantine"] {
        let shelf = archive.folder().join(above).join(&digits[..2]).join(&digits[2..4]);
        for name in archive.storage().names(&shelf).unwrap_or_default() {
            keys.extend(
                Shelved::named(&name).map(Shelved::key).filter(|key| key.to_string().starts_with(digits)),
            );
        }
    }
    if keys.is_empty() {
        // Its bundle may be missing, which whoever uses the key is told.
        let filed = catalogue(archive)?.keys_from(digits)?;
        keys.extend(filed.iter().filter_map(|key| key.parse::<Key>().ok()));
    }
    match keys.into_iter().collect::<Vec<_>>().as_slice() {
        [key] => Ok(*key),
        [] => Err(Error::new(Kind::Io, "no recording has a key that begins so")
            .remedy("archive find prints the keys")),
        several => Err(wrong(&format!("{} keys begin so: give more digits", several.len()))),
    }
}

/// The newest revision of a recording that is filed.
/// # Errors
/// [`Kind::Io`] where it never was; [`Kind::Refused`] where it was destroyed; [`Kind::Altered`] where its bundles are
/// missing.
pub(super) fn newest(archive: &Archive, key: Key) -> Result<u32> {
    match archive.state(key)? {
        State::Filed(newest) => Ok(newest),
        State::Destroyed => Err(Error::new(Kind::Refused, "destroyed under a rule")
            .remedy("its certificate stands under certificates/ in the archive")),
        _ if catalogue(archive)?.newest(key)?.is_some() => Err(missing()),
        _ => Err(Error::new(Kind::Io, "no recording has this key").remedy("archive find prints the keys")),
    }
}

/// What the journal says is filed has no bundle.
pub(super) fn missing() -> Error {
    Error::new(Kind::Altered, "the bundle is missing, and was not destroyed under a rule")
        .remedy("run archive verify, then archive repair with a copy of the archive")
}

/// The line that filed a revision: where the catalogue says, if the journal says the same there; else looked for.
/// # Errors
/// [`Kind::Altered`] where the journal has none.
pub(super) fn filing_line(archive: &Archive, catalogue: &Catalogue, key: Key, revision: u32) -> Result<Line> {
    let is_it = |line: &Line| {
        matches!(line.event, Event::Filed | Event::Corrected)
            && (line.about.key, line.about.revision) == (Some(key), Some(revision))
    };
    if let Some(index) = catalogue.filed_line(key, revision)?.filter(|index| *index < archive.size()) {
        let line = archive.line(index)?;
        if is_it(&line) {
            return Ok(line);
        }
    }
    archive.filing_line(key, Some(revision))?.ok_or_else(|| {
        Error::new(Kind::Altered, "a bundle that no line of the journal speaks of")
            .remedy("run archive verify")
    })
}

/// The newest revision that a line of the journal speaks of: a bundle that another process is filing at this moment is
/// in place before its line is. Where the newest bundle is missing it is that revision all the same, and not the one that
/// it corrected.
/// # Errors
/// Those of [`newest`]; [`Kind::Altered`] where no line speaks of any.
pub(super) fn newest_filed(archive: &Archive, catalogue: &Catalogue, key: Key) -> Result<u32> {
    let on_the_shelf = newest(archive, key)?;
    if let Some(newest) = catalogue.newest(key)?.filter(|newest| *newest > on_the_shelf)
        && filing_line(archive, catalogue, key, newest).is_ok()
    {
        return Ok(newest);
    }
    let is_filed = |revision: u32| match filing_line(archive, catalogue, key, revision) {
        Ok(_) => Ok(true),
        Err(error) if error.kind() == Kind::Altered && revision > 1 => Ok(false),
        Err(error) => Err(error),
    };
    for revision in archive.revisions(key)?.into_iter().rev() {
        if is_filed(revision)? {
            return Ok(revision);
        }
    }
    Ok(on_the_shelf)
}

/// Rows of the catalogue as they are held against a list.
#[must_use]
pub fn filed_recordings(rows: &[Row]) -> Vec<FiledRecording> {
    let second = |text: &str| text.parse::<jiff::Timestamp>().ok().map(jiff::Timestamp::as_second);
    let recording = |row: &Row| FiledRecording {
        key: row.key.clone(),
        order: row.order_number.clone(),
        sequence: row.sequence_number.clone(),
        device: row.device.clone(),
        identifiers: row.identifiers.split(", ").filter(|id| !id.is_empty()).map(str::to_owned).collect(),
        start: row.start.parse().unwrap_or_default(),
        filed_at: row.first_filed_at.as_deref().and_then(second),
    };
    rows.iter().map(recording).collect()
}
