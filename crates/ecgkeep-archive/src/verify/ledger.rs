//! The journal from its first line to its newest checkpoint: every line, every checkpoint, and what files it speaks of.

use std::collections::{BTreeMap, HashMap};
use std::io;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Kind, Result};
use rayon::prelude::*;

use super::{Trouble, VerifyReport};
use crate::archive::{kept_sizes, keys};
use crate::checkpoint::Checkpoint;
use crate::fault::{cannot_read, names_in};
use crate::journal::split;
use crate::layout::{self, SEGMENT_LINES, Shelved};
use crate::line::{Event, Line};
use crate::note::{Note, PublicKey};
use crate::settle::pending_lines;
use crate::storage::Storage;
use crate::tree::{self, Frontier, Hash};
use crate::word::{Digest, Key, Moment};

/// A file that a line speaks of.
#[derive(Clone, Copy, Debug)]
pub(super) struct Told {
    pub sha256: Digest,
    pub bytes: u64,
    pub line: u64,
}

/// What the journal says should be there.
#[derive(Default)]
pub(super) struct Ledger {
    pub size: u64,
    /// Bundles, quarantined sources, tombstones.
    pub shelved: BTreeMap<Shelved, Told>,
    /// Files elsewhere that stand under a name.
    pub named: BTreeMap<PathBuf, Told>,
    /// Admitted keys, by digest of their files.
    pub keys: Vec<Told>,
    /// Requests to destroy, by digest.
    pub requests: BTreeMap<Digest, Told>,
    /// Keys whose destruction began, and the line; complete or not.
    pub destroying: BTreeMap<Key, u64>,
    pub destroyed: BTreeMap<Key, u64>,
    /// Lines of a commit that is under way or was broken off.
    pub pending: Vec<Line>,
    pub has_pending: bool,
}

/// What is carried from line to line.
#[derive(Default)]
struct Reading {
    frontier: Frontier,
    last_at: Option<Moment>,
    /// The newest revision of a recording, and the line that filed it.
    newest: HashMap<Key, (u32, u64)>,
    /// Roots at the sizes that a checkpoint speaks of.
    roots: BTreeMap<u64, Hash>,
}

pub(super) fn read(
    storage: &dyn Storage,
    folder: &Path,
    origin: Option<&str>,
    against: Option<&Checkpoint>,
    report: &mut VerifyReport,
) -> Result<Ledger> {
    let mut ledger = Ledger::default();
    // The newest checkpoint first: what is committed meanwhile lies beyond it.
    let latest = read_checkpoint(storage, folder, Path::new(layout::LATEST), report)?;
    let pending = readable(storage, folder, Path::new(layout::PENDING))?;
    ledger.has_pending = pending.is_some();
    ledger.pending = pending.and_then(|bytes| pending_lines(&bytes)).unwrap_or_default();

    let mut kept = Vec::new();
    for size in kept_sizes(storage, folder)? {
        let path = Path::new(layout::CHECKPOINTS).join(format!("{size}.note"));
        match read_checkpoint(storage, folder, &path, report)? {
            Some(read) if read.0.size == size => kept.push((path, read)),
            Some(_) => {
                report.altered.push(Trouble::at(&path, None, "is not over as many lines as its name says"))
            }
            None => {}
        }
    }
    let mut reading = Reading::default();
    let wanted = kept.iter().map(|(_, (checkpoint, _))| checkpoint.size);
    let wanted = wanted.chain(against.map(|checkpoint| checkpoint.size));
    reading.roots = wanted.map(|size| (size, [0; 32])).collect();
    let end = latest.as_ref().map(|(checkpoint, _)| checkpoint.size);
    read_segments(storage, folder, end, &mut reading, &mut ledger, report)?;
    report.lines = ledger.size;

    let keys = admitted(storage, folder, &ledger, report)?;
    if let Some((checkpoint, note)) = &latest {
        let path = Path::new(layout::LATEST);
        if checkpoint.root != reading.frontier.root() && checkpoint.size == ledger.size {
            report.altered.push(Trouble::at(path, None, "the journal does not lead to its root"));
        }
        check_origin(origin, checkpoint, path, report);
        report.signed_by = check_signatures(note, &keys, path, report);
    }
    for (path, (checkpoint, note)) in &kept {
        check_origin(origin, checkpoint, path, report);
        if reading.roots.get(&checkpoint.size) != Some(&checkpoint.root) {
            report.altered.push(Trouble::at(path, None, "the journal does not lead to its root"));
        }
        check_signatures(note, &keys, path, report);
    }
    if let Some(checkpoint) = against {
        let path = Path::new(layout::JOURNAL);
        let fits = checkpoint.size > 0 && reading.roots.get(&checkpoint.size) == Some(&checkpoint.root);
        if origin.is_some_and(|origin| origin != checkpoint.origin) {
            report.altered.push(Trouble::at(
                path,
                None,
                "the outside checkpoint is of another archive, or this folder is",
            ));
        } else if fits {
            report.anchored = Some(checkpoint.size);
        } else {
            let what = format!("does not begin with the {} lines of the outside checkpoint", checkpoint.size);
            report.altered.push(Trouble::at(path, None, what));
        }
    }
    Ok(ledger)
}

type Read = (Checkpoint, Note);

fn read_checkpoint(
    storage: &dyn Storage,
    folder: &Path,
    path: &Path,
    report: &mut VerifyReport,
) -> Result<Option<Read>> {
    let bytes = readable(storage, folder, path)?;
    let what = if bytes.is_some() { "is no checkpoint" } else { "is not there" };
    let text = bytes.and_then(|bytes| String::from_utf8(bytes).ok());
    let read = text.and_then(|text| {
        let (checkpoint, note) = Checkpoint::parse(&text).ok()?;
        // One spelling: nothing that was altered goes unseen.
        (note.written() == text).then_some((checkpoint, note))
    });
    if read.is_none() {
        report.altered.push(Trouble::at(path, None, what));
    }
    Ok(read)
}

/// The bytes of a file that the ledger rests on; `None` where it is missing or the disk fails. Who may not read it can
/// verify nothing.
fn readable(storage: &dyn Storage, folder: &Path, path: &Path) -> Result<Option<Vec<u8>>> {
    match storage.read(&folder.join(path)) {
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => {
            Err(cannot_read(path, error).remedy("verify as a user who may read the whole archive"))
        }
        bytes => Ok(bytes.ok()),
    }
}

/// Names of the admitted keys that signed. A stranger's signature proves nothing and was not put there by a commit.
fn check_signatures(note: &Note, keys: &[PublicKey], path: &Path, report: &mut VerifyReport) -> Vec<String> {
    match note.signers(keys) {
        Ok(signers) if signers.len() == note.signatures.len() => {
            return signers.iter().map(|key| key.name().to_owned()).collect();
        }
        Ok(_) => report.altered.push(Trouble::at(path, None, "is signed with a key that was not admitted")),
        Err(error) => report.altered.push(Trouble::at(path, None, error.what())),
    }
    Vec::new()
}

fn check_origin(origin: Option<&str>, checkpoint: &Checkpoint, path: &Path, report: &mut VerifyReport) {
    if origin.is_some_and(|origin| origin != checkpoint.origin) {
        report.altered.push(Trouble::at(path, None, "is of another archive"));
    }
}

/// Every line up to `end`, or as many as there are.
fn read_segments(
    storage: &dyn Storage,
    folder: &Path,
    end: Option<u64>,
    reading: &mut Reading,
    ledger: &mut Ledger,
    report: &mut VerifyReport,
) -> Result<()> {
    let at = Path::new(layout::JOURNAL);
    let names = names_in(storage, folder, at)?;
    for number in 0.. {
        let path = layout::segment(number);
        let first = number * SEGMENT_LINES;
        let wanted = end.map_or(SEGMENT_LINES, |end| end.saturating_sub(first).min(SEGMENT_LINES));
        let is_there = names.iter().any(|name| path.ends_with(name));
        if !is_there {
            if end.is_some() && wanted > 0 {
                report.altered.push(Trouble::at(&path, None, "is not there"));
            }
            break;
        }
        let bytes = storage.read(&folder.join(&path)).map_err(|error| cannot_read(&path, error))?;
        let texts: Vec<&[u8]> = split(&bytes).collect();
        let within = texts.len().min(usize::try_from(wanted).unwrap_or(usize::MAX));
        let parsed: Vec<(Hash, Result<Line>)> =
            texts[..within].par_iter().map(|text| (tree::leaf(text), Line::parse(text))).collect();
        for (index, (leaf, line)) in (first..).zip(parsed) {
            take(index, leaf, line, &path, reading, ledger, report);
        }
        let taken: usize = texts[..within].iter().map(|text| text.len() + 1).sum();
        let rest = &bytes[taken..];
        if (within as u64) < wanted && end.is_some() {
            report.altered.push(Trouble::at(
                &path,
                None,
                "the journal is shorter than its newest checkpoint says",
            ));
        }
        if !rest.is_empty() {
            tail(rest, &path, ledger, report);
        }
        if (within as u64) < SEGMENT_LINES {
            break;
        }
    }
    Ok(())
}

/// What stands after the last line under the newest checkpoint.
fn tail(rest: &[u8], path: &Path, ledger: &Ledger, report: &mut VerifyReport) {
    if ledger.has_pending {
        let what = "lines of a commit that is under way or was broken off; the next commit settles them";
        report.uncommitted.push(Trouble::at(path, None, what));
    } else if split(rest).next().is_none() {
        let what = "a last line without a line feed; the next commit removes it";
        report.uncommitted.push(Trouble::at(path, None, what));
    } else {
        report.altered.push(Trouble::at(path, None, "has lines that the newest checkpoint does not cover"));
    }
}

fn take(
    index: u64,
    leaf: Hash,
    line: Result<Line>,
    path: &Path,
    reading: &mut Reading,
    ledger: &mut Ledger,
    report: &mut VerifyReport,
) {
    reading.frontier.push(leaf);
    ledger.size = index + 1;
    if let Some(root) = reading.roots.get_mut(&ledger.size) {
        *root = reading.frontier.root();
    }
    let mut wrong = |what: &str| report.altered.push(Trouble::at(path, Some(index), what));
    let line = match line {
        Ok(line) => line,
        Err(error) => return wrong(error.what()),
    };
    if line.index != index {
        wrong("says that it is another line");
    }
    if reading.last_at.is_some_and(|last| line.at < last) {
        wrong("is earlier than the line before");
    }
    if (index == 0) != (line.event == Event::Made) {
        wrong("only the first line says that the archive was made");
    }
    if line.about.of.is_some_and(|of| of >= index) {
        wrong("is about a line that is not earlier");
    }
    reading.last_at = Some(line.at);
    if let Err(what) = enter(&line, reading, ledger) {
        wrong(what);
    }
}

/// What a line changes in what should be there.
fn enter(line: &Line, reading: &mut Reading, ledger: &mut Ledger) -> std::result::Result<(), &'static str> {
    let about = &line.about;
    let told = about.sha256.zip(about.bytes).map(|(sha256, bytes)| Told { sha256, bytes, line: line.index });
    match (line.event, about.key, about.revision, told) {
        (Event::Made, _, _, Some(told)) => {
            ledger.named.insert(layout::ARCHIVE_JSON.into(), told);
        }
        (Event::Filed | Event::Corrected, Some(key), Some(revision), Some(told)) => {
            if ledger.destroyed.contains_key(&key) {
                return Err("files what was destroyed");
            }
            let before = reading.newest.insert(key, (revision, line.index));
            ledger.shelved.insert(Shelved::Bundle(key, revision), told);
            let follows = match (line.event, before) {
                (Event::Filed, None) => revision == 1,
                (Event::Corrected, Some((newest, of))) => revision == newest + 1 && about.of == Some(of),
                _ => false,
            };
            if !follows {
                return Err("does not follow the revision before");
            }
        }
        (Event::Quarantined, Some(key), _, Some(told)) => {
            let before = ledger.shelved.insert(Shelved::Quarantined(key), told);
            if before.is_some() || ledger.destroyed.contains_key(&key) {
                return Err("quarantines what was quarantined or destroyed before");
            }
        }
        (Event::Repaired, Some(key), revision, Some(told)) => {
            let shelved =
                revision.map_or(Shelved::Quarantined(key), |revision| Shelved::Bundle(key, revision));
            if ledger.shelved.get(&shelved).is_none_or(|before| before.sha256 != told.sha256) {
                return Err("repairs with something else than was filed");
            }
        }
        (Event::Acknowledged, Some(key), Some(revision), Some(told)) => {
            ledger.named.insert(layout::answer(key, revision, told.sha256), told);
        }
        (Event::Schedule, _, _, Some(told)) => {
            ledger.named.insert(layout::schedule(told.sha256), told);
        }
        (Event::Key, _, _, Some(told)) => ledger.keys.push(told),
        (Event::Destroying, Some(key), _, Some(told)) => {
            ledger.requests.insert(told.sha256, told);
            ledger.destroying.insert(key, line.index);
        }
        (Event::Destroyed, Some(key), _, Some(told)) => {
            if ledger.destroying.remove(&key).is_none_or(|began| about.of != Some(began)) {
                return Err("ends a destruction that was not begun");
            }
            let all = Shelved::Bundle(key, 0)..=Shelved::Bundle(key, u32::MAX);
            let gone: Vec<Shelved> = ledger.shelved.range(all).map(|(shelved, _)| *shelved).collect();
            for shelved in gone {
                ledger.shelved.remove(&shelved);
            }
            ledger.shelved.remove(&Shelved::Quarantined(key));
            ledger.shelved.insert(Shelved::Tombstone(key), told);
            ledger.destroyed.insert(key, line.index);
        }
        _ => {}
    }
    Ok(())
}

/// The keys that have a line. The file of one without is told as uncommitted, that of one that differs as damaged.
fn admitted(
    storage: &dyn Storage,
    folder: &Path,
    ledger: &Ledger,
    report: &mut VerifyReport,
) -> Result<Vec<PublicKey>> {
    let at = Path::new(layout::KEYS);
    let mut found = Vec::new();
    for name in names_in(storage, folder, at)? {
        let path = at.join(&name);
        let digest = readable(storage, folder, &path)?.map(|bytes| Digest::of(&bytes));
        match ledger.keys.iter().find(|told| Some(told.sha256) == digest) {
            Some(told) => found.push(told.line),
            None => report.uncommitted.push(Trouble::at(&path, None, "a key that no line admits")),
        }
    }
    for told in ledger.keys.iter().filter(|told| !found.contains(&told.line)) {
        report.missing.push(Trouble::at(at, Some(told.line), "the key that this line admits is not there"));
    }
    Ok(match keys(storage, folder) {
        Ok(keys) => keys,
        Err(error) if error.kind() == Kind::Malformed => {
            report.damaged.push(Trouble::at(at, None, "a file of a key cannot be read as one"));
            Vec::new()
        }
        Err(_) => Vec::new(),
    })
}
