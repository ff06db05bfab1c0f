//! The tests of the tests: a commit path with one flush dropped or two steps swapped, each of which the cuts must find.
//!
//! The faults are built into the storage: what the commit asks for is not what is done.

use std::path::Path;

use crate::crash::{Steps, explore};
use crate::simulated::State;

/// One fault of the commit path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mutant {
    /// A prepared bundle is not flushed.
    NoSyncOfBundle,
    /// A new checkpoint is not flushed before it replaces the old one.
    NoSyncOfCheckpoint,
    /// The lines to come are not flushed.
    NoSyncOfPending,
    /// The name of the file with the lines to come is not flushed.
    NoSyncOfTmp,
    /// The journal is not flushed.
    NoSyncOfJournal,
    /// The shelf on which bundles were placed is not flushed.
    NoSyncOfShelf,
    /// The folders above a new shelf are not flushed.
    NoSyncAboveShelf,
    /// The name of the new checkpoint is not flushed.
    NoSyncOfCheckpoints,
    /// The name of a signed request is not flushed.
    NoSyncOfRequests,
    /// The name of a certificate is not flushed.
    NoSyncOfCertificates,
    /// The lines to come are not written down.
    NoPending,
    /// What stands after the checkpoint is not cut off.
    NoCut,
    /// Bundles are renamed into place after the lines are appended.
    LinesBeforeBundles,
    /// The file with the lines to come is removed before they are appended.
    RemovedBeforeAppended,
    /// A bundle is flushed after it was renamed into place.
    RenamedBeforeFlushed,
    /// The journal is flushed after its checkpoint was written.
    CheckpointBeforeJournal,
}

const ALL: &[Mutant] = &[
    Mutant::NoSyncOfBundle,
    Mutant::NoSyncOfCheckpoint,
    Mutant::NoSyncOfPending,
    Mutant::NoSyncOfTmp,
    Mutant::NoSyncOfJournal,
    Mutant::NoSyncOfShelf,
    Mutant::NoSyncAboveShelf,
    Mutant::NoSyncOfCheckpoints,
    Mutant::NoSyncOfRequests,
    Mutant::NoSyncOfCertificates,
    Mutant::NoPending,
    Mutant::NoCut,
    Mutant::LinesBeforeBundles,
    Mutant::RemovedBeforeAppended,
    Mutant::RenamedBeforeFlushed,
    Mutant::CheckpointBeforeJournal,
];

fn is_in(path: &Path, folder: &str) -> bool {
    path.parent().is_some_and(|parent| parent.ends_with(folder))
}

fn is_pending(path: &Path) -> bool {
    path.ends_with("tmp/pending.jsonl")
}

/// How deep below bundles/ or quarantine/ a folder is; `None` elsewhere.
fn depth(folder: &Path) -> Option<usize> {
    let mut parts = folder.iter().skip_while(|part| *part != "bundles" && *part != "quarantine");
    parts.next()?;
    Some(parts.count())
}

impl State {
    fn is(&self, mutant: Mutant) -> bool {
        self.mutant == Some(mutant)
    }

    pub fn skips_create(&self, path: &Path) -> bool {
        self.is(Mutant::NoPending) && is_pending(path)
    }

    pub fn skips_sync(&mut self, path: &Path) -> bool {
        if self.is(Mutant::NoPending) && is_pending(path) {
            return true;
        }
        if is_in(path, "tmp") && !is_pending(path) {
            let bytes = self.world.files();
            let bytes = bytes.get(path.to_str().unwrap_or_default());
            let is_note = bytes.is_some_and(|bytes| bytes.starts_with(crate::harness::ORIGIN.as_bytes()));
            if self.is(Mutant::RenamedBeforeFlushed) && !is_note {
                // Flushed by the next append, under whatever name it has by then.
                let node = self.world.clone();
                let from = path.to_owned();
                self.held.push(Box::new(move |world| world.flush_same_file(&node, &from)));
                return true;
            }
            return self.is(if is_note { Mutant::NoSyncOfCheckpoint } else { Mutant::NoSyncOfBundle });
        }
        if is_in(path, "journal") {
            if self.is(Mutant::CheckpointBeforeJournal) {
                let path = path.to_owned();
                self.held.push(Box::new(move |world| drop(world.sync(&path))));
                return true;
            }
            return self.is(Mutant::NoSyncOfJournal);
        }
        is_pending(path) && self.is(Mutant::NoSyncOfPending)
    }

    pub fn skips_sync_folder(&self, path: &Path) -> bool {
        let mutant = match depth(path) {
            Some(2) => Mutant::NoSyncOfShelf,
            Some(_) => Mutant::NoSyncAboveShelf,
            None if path.ends_with("tmp") => Mutant::NoSyncOfTmp,
            None if path.ends_with("checkpoints") => Mutant::NoSyncOfCheckpoints,
            None if path.ends_with("requests/open") || path.ends_with("requests") => Mutant::NoSyncOfRequests,
            None if path.ends_with("certificates") => Mutant::NoSyncOfCertificates,
            None => return false,
        };
        self.is(mutant)
    }

    pub fn skips_truncate(&self) -> bool {
        self.is(Mutant::NoCut)
    }

    pub fn holds_rename(&mut self, from: &Path, to: &Path) -> bool {
        let holds = self.is(Mutant::LinesBeforeBundles) && to.parent().and_then(depth) == Some(2);
        if holds {
            let (from, to) = (from.to_owned(), to.to_owned());
            self.held.push(Box::new(move |world| drop(world.rename(&from, &to))));
        }
        holds
    }

    pub fn holds_append(&mut self, path: &Path, bytes: &[u8]) -> bool {
        let holds = self.is(Mutant::RemovedBeforeAppended);
        if holds {
            let (path, bytes) = (path.to_owned(), bytes.to_vec());
            self.held.push(Box::new(move |world| {
                drop(world.append(&path, &bytes).and_then(|()| world.sync(&path)))
            }));
        }
        holds
    }

    pub fn release_after_append(&mut self) {
        if self.is(Mutant::LinesBeforeBundles) || self.is(Mutant::RenamedBeforeFlushed) {
            self.release();
        }
    }

    pub fn release_after_remove(&mut self) {
        if self.is(Mutant::RemovedBeforeAppended) || self.is(Mutant::CheckpointBeforeJournal) {
            self.release();
        }
    }

    fn release(&mut self) {
        for act in std::mem::take(&mut self.held) {
            act(&mut self.world);
        }
    }
}

#[test]
fn every_mutant_of_the_commit_is_found() {
    let missed: Vec<&Mutant> = ALL
        .iter()
        .filter(|mutant| {
            let found = explore(Steps::default(), Some(**mutant), 8, true).faults;
            println!("{mutant:?}: {}", found.first().map_or("not found", String::as_str));
            found.is_empty()
        })
        .collect();
    crate::figures::row("mutants of the commit path", ALL.len() as u64, missed.len() as u64);
    assert!(missed.is_empty(), "not found: {missed:?}");
}
