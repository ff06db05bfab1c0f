//! Handing over: filed, exported, acknowledged. ecgkeep transmits nothing; the site's interface collects what is
//! written here.

use ecgkeep_archive::catalogue::Catalogue;
use ecgkeep_archive::{About, Act, Archive, Code, Digest, Event, Fate, Key, Line, Receipt, Signer};
use ecgkeep_format::{Error, File, Format, Kind, Limits, Options, Place, Result, write};

use super::acting::{Acting, code};
use super::amend::Viewed;
use super::get::Got;
use super::look::{filing_line, newest_filed};
use crate::convert::filing_file;
use crate::input::Input;

/// What is written of a recording.
pub struct Copies {
    /// The files, named after key and revision.
    pub files: Vec<File>,
    /// What the copy does not keep: the fields and why, never what stood there.
    pub losses: Vec<String>,
}

/// An export that the journal holds.
#[derive(Clone, Copy, Debug)]
pub struct Exported {
    /// The index of its line.
    pub line: u64,
}

/// The files of an export: the bundle; or, in the format asked for, a copy with the page and with what was supplied
/// beside the recording. Of a corrected revision the bundle holds the superseded original, so that without `original`
/// it is the copy (WFDB where no format is asked for) and the page as it was sealed.
/// # Errors
/// [`Kind::Refused`] for a revision that was corrected, without `original`; those of writing the format.
pub fn copies(got: &Got, to: Option<&'static dyn Format>, original: bool) -> Result<Copies> {
    if got.is_superseded {
        got.refuse_superseded(original)?;
    }
    let stem = got.stem();
    let to = match to {
        Some(format) => format,
        None if got.holds_superseded() && !original => crate::formats::format_by_id("wfdb")?,
        None => {
            let file = File { name: format!("{stem}.zip"), bytes: got.bytes.to_vec() };
            return Ok(Copies { files: vec![file], losses: Vec::new() });
        }
    };
    let input = Input::of_bundle(got.bundle.clone());
    let opened = input.read(Some(&got.entry.format), &Limits::default())?;
    let recording = opened.recording()?;
    // A name that no format cuts short: eight digits of the key, and the revision.
    let record = format!("{}_r{}", &got.key.to_string()[..8], got.revision);
    let written = write(to, std::slice::from_ref(recording), &record, &Options::default())?;
    let mut files = written.files;
    if let Some(filing) = input.stored_filing()? {
        files.insert(0, filing_file(&record, &filing)?);
    }
    files.extend(got.sealed_pages(&record, None)?);
    let mut losses: Vec<String> =
        written.losses.iter().map(|loss| format!("{}: {}", loss.field, loss.why)).collect();
    losses.dedup();
    Ok(Copies { files, losses })
}

/// Says in the journal that copies were written for a receiver. They should be written, lastingly, before.
/// # Errors
/// Those of committing.
pub fn export(
    archive: &mut Archive,
    got: &[&Got],
    receiver: &str,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<Vec<Exported>> {
    let receiver = code("--receiver", receiver)?;
    let act = |got: &&Got| {
        let about = About {
            key: Some(got.key),
            revision: Some(got.revision),
            sha256: Some(got.sha256),
            bytes: Some(got.bytes.len() as u64),
            to: Some(receiver.clone()),
            ..About::default()
        };
        Act::Line(Event::Exported, about)
    };
    let done = acting.commit(archive, got.iter().map(act).collect(), signer)?;
    let line = |line: Option<u64>| line.ok_or_else(|| Error::new(Kind::Internal, "an export without a line"));
    done.into_iter().map(|done| Ok(Exported { line: line(done.line)? })).collect()
}

/// The receipt of a line, and the line it proves, as files named after `stem`.
/// # Errors
/// Those of reading the journal.
pub fn receipt_files(archive: &Archive, line: u64, stem: &str) -> Result<Vec<File>> {
    let receipt = archive.receipt(line)?.written();
    // The line without a line feed: its SHA-256 with a leading zero byte is the leaf.
    let text = archive.line(line)?.text();
    Ok(vec![
        File { name: format!("{stem}.line.json"), bytes: text.into_bytes() },
        File { name: format!("{stem}.receipt"), bytes: receipt.into_bytes() },
    ])
}

/// Keeps a receiver's answer to an export of a revision, the newest where none is asked for. Whether it was exported at
/// all, and whether the answer was kept before.
/// # Errors
/// [`Kind::Refused`] for an answer that names no revision where the newest was never exported: it may be to an older one;
/// for one of our own receipts that is of another recording or revision, for one of our retraction
/// notices, and for an empty answer; those of committing.
pub fn acknowledge(
    archive: &mut Archive,
    catalogue: &Catalogue,
    key: Key,
    asked: Option<u32>,
    answer: &[u8],
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<Acknowledged> {
    let newest = newest_filed(archive, catalogue, key)?;
    let revision = asked.unwrap_or(newest);
    filing_line(archive, catalogue, key, revision).map_err(|error| match error.kind() {
        Kind::Altered => {
            Error::new(Kind::Io, format!("there is no revision {revision}, the newest is {newest}"))
        }
        _ => error,
    })?;
    check_answer(archive, key, revision, answer)?;
    let exported = newest_export(archive, catalogue, key, revision)?;
    if exported.is_none() && asked.is_none() {
        let what = format!("no export of revision {revision}, the newest, stands in the journal");
        return Err(Error::new(Kind::Refused, what)
            .remedy("name with --revision the revision that the answer is for, or export this one first"));
    }
    let act = Act::Answer { key, revision, bytes: answer.to_vec(), of: exported };
    let done = acting.commit(archive, vec![act], signer)?;
    let is_new = done.first().is_some_and(|done| done.fate == Fate::New);
    Ok(Acknowledged { revision, newest, was_exported: exported.is_some(), is_new })
}

/// An answer that is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Acknowledged {
    /// The revision it is for.
    pub revision: u32,
    /// The newest revision there is.
    pub newest: u32,
    /// Whether an export of it was written before.
    pub was_exported: bool,
    /// Whether it was not kept before.
    pub is_new: bool,
}

/// The line of the newest export of a revision: where the catalogue says, if the journal agrees, else looked for.
fn newest_export(archive: &Archive, catalogue: &Catalogue, key: Key, revision: u32) -> Result<Option<u64>> {
    let is_it = |line: &Line| line.event == Event::Exported && is_of(line, key, revision);
    if let Some(index) = catalogue.exported_line(key, revision)?.filter(|index| *index < archive.size())
        && is_it(&archive.line(index)?)
    {
        return Ok(Some(index));
    }
    let mut found = None;
    for line in archive.lines(0) {
        found = Some(line?).filter(is_it).map(|line| line.index).or(found);
    }
    Ok(found)
}

fn is_of(line: &Line, key: Key, revision: u32) -> bool {
    (line.about.key, line.about.revision) == (Some(key), Some(revision))
}

/// Refuses what is known not to be an answer for this revision.
fn check_answer(archive: &Archive, key: Key, revision: u32, answer: &[u8]) -> Result<()> {
    let refused = |what: &str| {
        Error::new(Kind::Refused, what)
            .at(Place::default().part("receipt"))
            .remedy("give what the receiver answered for this recording and this revision")
    };
    if answer.iter().all(u8::is_ascii_whitespace) {
        return Err(refused("an answer of nothing"));
    }
    let text = String::from_utf8_lossy(answer);
    if text.contains("ecgkeep-retraction/") {
        return Err(refused("one of our own retraction notices, and no answer"));
    }
    let Ok(receipt) = Receipt::parse(&text) else { return Ok(()) };
    let origin = receipt.checkpoint.text.lines().next().unwrap_or_default();
    if origin != archive.identity().origin {
        return Ok(());
    }
    let line = archive
        .line(receipt.index)
        .map_err(|_| refused("a receipt of a line that the journal does not have"))?;
    receipt.proves(line.text().as_bytes())?;
    if line.event == Event::Exported && is_of(&line, key, revision) {
        return Ok(());
    }
    Err(refused("one of our own receipts, but not of an export of this recording and revision"))
}

/// Exports of revisions up to `revision` that were not retracted: index, receiver, revision and digest.
pub(super) fn open_exports(archive: &Archive, key: Key, revision: u32) -> Result<Vec<OpenExport>> {
    let mut open: Vec<OpenExport> = Vec::new();
    for line in archive.lines(0) {
        let line = line?;
        let about = &line.about;
        if about.key != Some(key) {
            continue;
        }
        match (line.event, about.revision, &about.to, about.sha256) {
            (Event::Exported, Some(own), Some(to), Some(sha256)) if own <= revision => {
                open.push(OpenExport {
                    line: line.index,
                    at: line.at.to_string(),
                    receiver: to.clone(),
                    revision: own,
                    sha256,
                    is_acknowledged: false,
                });
            }
            (Event::Acknowledged, ..) => {
                open.iter_mut().filter(|export| about.of == Some(export.line)).for_each(|export| {
                    export.is_acknowledged = true;
                });
            }
            (Event::Retracted, ..) => open.retain(|export| about.of != Some(export.line)),
            _ => {}
        }
    }
    Ok(open)
}

/// Who was shown a revision, or given a copy of it, in the order of the journal; `filed` is the line that filed it.
pub(super) fn viewings(archive: &Archive, key: Key, revision: u32, filed: u64) -> Result<Vec<Viewed>> {
    let mut viewed = Vec::new();
    for line in archive.lines(filed) {
        let line = line?;
        if line.event == Event::Viewed && is_of(&line, key, revision) {
            let by = line.about.by.as_ref().map_or_else(|| "?".to_owned(), ToString::to_string);
            viewed.push(Viewed { by, at: line.at.to_string(), line: line.index });
        }
    }
    Ok(viewed)
}

/// An export that stands.
#[derive(Clone, Debug)]
pub(super) struct OpenExport {
    pub line: u64,
    pub at: String,
    pub receiver: Code,
    pub revision: u32,
    pub sha256: Digest,
    pub is_acknowledged: bool,
}
