//! Every file that the journal speaks of, and every file that it does not.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use ecgkeep_bundle::{Bundle, FaultKind};
use ecgkeep_format::Result;
use rayon::prelude::*;
use serde_json::Value;

use super::ledger::{Ledger, Told};
use super::{Level, Progress, Reread, Trouble, VerifyReport};
use crate::fault::names_in;
use crate::journal::{Lines, latest};
use crate::layout::{self, Shelved};
use crate::line::{Event, Line};
use crate::receipt::Receipt;
use crate::storage::Storage;
use crate::word::{Digest, Key};

/// What is wrong with one file.
enum Wrong {
    Missing,
    Damaged(String),
    /// Whoever verifies may not read it: that says nothing about the file.
    Unreadable(String),
}

/// What an error of reading means.
fn unread(error: &io::Error) -> Wrong {
    let what = format!("cannot be read: {error}");
    match error.kind() {
        io::ErrorKind::PermissionDenied => Wrong::Unreadable(what),
        _ => Wrong::Damaged(what),
    }
}

pub(super) fn check(
    storage: &dyn Storage,
    folder: &Path,
    ledger: &Ledger,
    level: Level,
    part: (u64, u64),
    (reread, progress): (&Reread<'_>, &Progress<'_>),
    report: &mut VerifyReport,
) -> Result<()> {
    let shelved: Vec<(&Shelved, &Told)> = ledger.shelved.iter().collect();
    let (done, bytes, read) = (AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0));
    let total = shelved.len() as u64;
    let wrong: Vec<(PathBuf, u64, Wrong)> = shelved
        .par_iter()
        .flat_map_iter(|(shelved, told)| {
            let is_mine = shelved.key().part_of(part.1) == part.0 - 1;
            // A tombstone is small: it is always read.
            let level = if matches!(shelved, Shelved::Tombstone(_)) {
                Level::Full
            } else if is_mine {
                level
            } else {
                Level::Quick
            };
            let found = check_one(storage, folder, **shelved, told, level, reread);
            let is_read = !found.iter().any(|wrong| matches!(wrong, Wrong::Missing | Wrong::Unreadable(_)));
            if level > Level::Quick && is_read {
                bytes.fetch_add(told.bytes, Ordering::Relaxed);
                read.fetch_add(1, Ordering::Relaxed);
            }
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, total);
            found.into_iter().map(move |wrong| (shelved.path(), told.line, wrong))
        })
        .collect();
    let is_destroyed = |shelved: &Shelved| matches!(shelved, Shelved::Tombstone(_));
    report.files = ledger.shelved.keys().filter(|shelved| !is_destroyed(shelved)).count() as u64;
    report.read = read.into_inner();
    report.bytes = bytes.into_inner();
    report.destroyed = ledger.destroyed.keys().copied().collect();
    for (path, line, wrong) in wrong {
        enter(&path, line, wrong, report);
    }
    for (path, told) in &ledger.named {
        if let Some(wrong) = check_bytes(storage, &folder.join(path), told).err() {
            enter(path, told.line, wrong, report);
        }
    }
    for (digest, told) in &ledger.requests {
        let open = check_bytes(storage, &folder.join(layout::open_request(*digest)), told);
        let closed = check_bytes(storage, &folder.join(layout::request(*digest)), told);
        if let (Err(open), Err(closed)) = (open, closed) {
            let wrong = if matches!(open, Wrong::Unreadable(_)) { open } else { closed };
            enter(&layout::request(*digest), told.line, wrong, report);
        }
    }
    for (key, line) in &ledger.destroyed {
        check_certificate(storage, folder, *key, *line, report);
    }
    for (key, line) in &ledger.destroying {
        let what = "its destruction was begun and not finished; the next commit finishes it";
        report.uncommitted.push(Trouble::at(&layout::tombstone(*key), Some(*line), what));
    }
    unlisted(storage, folder, ledger, report)?;
    look_again(storage, folder, ledger, report)
}

fn enter(path: &Path, line: u64, wrong: Wrong, report: &mut VerifyReport) {
    match wrong {
        Wrong::Missing => report.missing.push(Trouble::at(path, Some(line), "is not there")),
        Wrong::Damaged(what) => report.damaged.push(Trouble::at(path, Some(line), what)),
        Wrong::Unreadable(what) => report.unreadable.push(Trouble::at(path, Some(line), what)),
    }
}

fn check_one(
    storage: &dyn Storage,
    folder: &Path,
    shelved: Shelved,
    told: &Told,
    level: Level,
    reread: &Reread<'_>,
) -> Vec<Wrong> {
    let path = folder.join(shelved.path());
    if level == Level::Quick {
        return check_length(storage, &path, told).err().into_iter().collect();
    }
    let bytes = match check_bytes(storage, &path, told) {
        Ok(bytes) => bytes,
        Err(wrong) => return vec![wrong],
    };
    if level == Level::Full || matches!(shelved, Shelved::Tombstone(_)) {
        return Vec::new();
    }
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    let bundle = match Bundle::open(name, bytes.into()) {
        Ok(bundle) => bundle,
        Err(error) => return vec![Wrong::Damaged(format!("is no bundle: {}", error.what()))],
    };
    let faults = bundle.verify().into_iter().filter(|fault| fault.kind != FaultKind::Hazard);
    let mut found: Vec<String> = faults.map(|fault| fault.to_string()).collect();
    if matches!(shelved, Shelved::Bundle(..)) {
        found.extend(reread(&bundle));
    }
    found.into_iter().map(Wrong::Damaged).collect()
}

fn check_length(storage: &dyn Storage, path: &Path, told: &Told) -> std::result::Result<(), Wrong> {
    match storage.size(path) {
        Ok(Some(size)) if size == told.bytes => Ok(()),
        Ok(Some(size)) => Err(Wrong::Damaged(format!("has {size} bytes instead of {}", told.bytes))),
        Ok(None) => Err(Wrong::Missing),
        Err(error) => Err(unread(&error)),
    }
}

/// The bytes, of which no more are read than were filed.
fn check_bytes(storage: &dyn Storage, path: &Path, told: &Told) -> std::result::Result<Vec<u8>, Wrong> {
    check_length(storage, path, told)?;
    let bytes = storage.read(path).map_err(|error| unread(&error))?;
    if Digest::of(&bytes) == told.sha256 {
        return Ok(bytes);
    }
    Err(Wrong::Damaged("its SHA-256 is not the one in the journal".into()))
}

/// A certificate stands in no line: the tombstone, which does, holds its digest. Its receipt must prove its line.
fn check_certificate(storage: &dyn Storage, folder: &Path, key: Key, line: u64, report: &mut VerifyReport) {
    let path = layout::certificate(key);
    let is_denied = |error: &io::Error| error.kind() == io::ErrorKind::PermissionDenied;
    let bytes = match storage.read(&folder.join(&path)) {
        Ok(bytes) => bytes,
        Err(error) if is_denied(&error) => return enter(&path, line, unread(&error), report),
        Err(_) => return enter(&path, line, Wrong::Missing, report),
    };
    let tombstone = storage.read(&folder.join(layout::tombstone(key)));
    if tombstone.as_ref().is_err_and(is_denied) {
        // The tombstone itself is told as unreadable.
        return;
    }
    let is_told = || {
        let tombstone: Value = serde_json::from_slice(tombstone.as_ref().ok()?).ok()?;
        (tombstone["certificate"].as_str()? == Digest::of(&bytes).to_string()).then_some(())
    };
    let proves = || {
        let certificate: Value = serde_json::from_slice(&bytes).ok()?;
        let quoted = certificate["line"].as_str()?;
        let of = Line::parse(quoted.as_bytes()).ok()?;
        let receipt = Receipt::parse(certificate["receipt"].as_str()?).ok()?;
        receipt.proves(quoted.as_bytes()).ok()?;
        (of.about.key == Some(key) && of.event == Event::Destroying).then_some(())
    };
    let what = match (is_told(), proves()) {
        (Some(()), Some(())) => return,
        (None, _) => "its SHA-256 is not the one in the tombstone",
        (_, None) => "its receipt does not prove its line",
    };
    enter(&path, line, Wrong::Damaged(what.into()), report);
}

/// Files that no line speaks of.
fn unlisted(storage: &dyn Storage, folder: &Path, ledger: &Ledger, report: &mut VerifyReport) -> Result<()> {
    for above in [layout::BUNDLES, layout::QUARANTINE] {
        for path in leaves(storage, folder, Path::new(above))? {
            let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
            let shelved = Shelved::named(name).filter(|shelved| shelved.path() == path);
            match shelved {
                Some(shelved) if ledger.shelved.contains_key(&shelved) => {}
                Some(Shelved::Bundle(key, _) | Shelved::Quarantined(key))
                    if ledger.destroyed.contains_key(&key) =>
                {
                    report.altered.push(Trouble::at(&path, None, "is there although it was destroyed"));
                }
                _ => report.uncommitted.push(Trouble::at(&path, None, "no line of the journal speaks of it")),
            }
        }
    }
    for at in [layout::SCHEDULE, layout::ANSWERS, layout::REQUESTS, layout::OPEN_REQUESTS].map(Path::new) {
        let names = names_in(storage, folder, at)?;
        for path in names.iter().map(|name| at.join(name)) {
            let is_listed = ledger.named.contains_key(&path)
                || path == Path::new(layout::OPEN_REQUESTS)
                || ledger
                    .requests
                    .keys()
                    .any(|digest| layout::request(*digest) == path || layout::open_request(*digest) == path);
            if !is_listed {
                report.uncommitted.push(Trouble::at(&path, None, "no line of the journal speaks of it"));
            }
        }
    }
    Ok(())
}

/// The files two folders deep, and whatever lies higher up where only folders should be.
fn leaves(storage: &dyn Storage, folder: &Path, above: &Path) -> Result<Vec<PathBuf>> {
    let names = |at: &Path| names_in(storage, folder, at);
    let is_shelf =
        |name: &str| name.len() == 2 && name.bytes().all(|c| matches!(c, b'0'..=b'9' | b'a'..=b'f'));
    let mut found = Vec::new();
    for first in names(above)? {
        let outer = above.join(&first);
        if !is_shelf(&first) {
            found.push(outer);
            continue;
        }
        for second in names(&outer)? {
            let shelf = outer.join(&second);
            if is_shelf(&second) {
                found.extend(names(&shelf)?.iter().map(|name| shelf.join(name)));
            } else {
                found.push(shelf);
            }
        }
    }
    Ok(found)
}

/// What others committed meanwhile is neither missing nor uncommitted.
fn look_again(
    storage: &dyn Storage,
    folder: &Path,
    ledger: &Ledger,
    report: &mut VerifyReport,
) -> Result<()> {
    if report.missing.is_empty() && report.uncommitted.is_empty() {
        return Ok(());
    }
    let (mut filed, mut destroyed) = (BTreeSet::new(), BTreeSet::new());
    let now = latest(storage, folder).map_or(ledger.size, |(checkpoint, _)| checkpoint.size);
    let since = Lines::new(storage, folder, ledger.size.min(now)..now);
    let pending = ledger.pending.iter().cloned().map(Ok);
    for line in since.chain(pending) {
        let Ok(line) = line else { break };
        match (line.event, line.about.key, line.about.revision) {
            (Event::Filed | Event::Corrected, Some(key), Some(revision)) if line.index < now => {
                filed.insert(Shelved::Bundle(key, revision));
            }
            (Event::Quarantined, Some(key), _) if line.index < now => {
                filed.insert(Shelved::Quarantined(key));
            }
            (Event::Destroyed, Some(key), _) if line.index < now => {
                filed.insert(Shelved::Tombstone(key));
            }
            (Event::Destroying, Some(key), _) => {
                destroyed.insert(key);
            }
            _ => {}
        }
    }
    destroyed.extend(ledger.destroying.keys());
    report.uncommitted.retain(|trouble| trouble.of.is_none_or(|of| !filed.contains(&of)));
    report.missing.retain(|trouble| trouble.of.is_none_or(|of| !destroyed.contains(&of.key())));
    Ok(())
}
