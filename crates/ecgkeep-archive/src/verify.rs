//! Whether an archive still holds what its journal says, and whether the journal is the one it was.
//!
//! Nothing is changed by that, and it may run while others commit: what looks wrong is looked at a second time.

mod files;
mod ledger;

use std::path::Path;

use ecgkeep_bundle::Bundle;
use ecgkeep_format::{Error, Kind, Place, Result};

use crate::archive::{self, Archive};
use crate::checkpoint::Checkpoint;
use crate::layout::Shelved;
use crate::storage::Storage;
use crate::word::Key;

/// How far verifying goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// Journal, tree, checkpoints; every file by name and length.
    Quick,
    /// And every byte of every file against its SHA-256 in the journal.
    Full,
    /// And every bundle opened, inflated, checked as a bag, and read again.
    Deep,
}

/// What to verify.
#[derive(Clone, Copy, Debug)]
pub struct VerifyArgs<'a> {
    /// How far.
    pub level: Level,
    /// Reads only the `k`th of `n` parts of the files, `k` from 1; journal, names and lengths are looked at all the
    /// same.
    pub part: Option<(u64, u64)>,
    /// An older checkpoint that was kept elsewhere.
    pub against: Option<&'a str>,
}

/// Reads a bundle again as a recording and says what is wrong; the archive itself parses no waveform.
pub type Reread<'a> = dyn Fn(&Bundle) -> Vec<String> + Sync + 'a;

/// Is told how many files are done and how many there are.
pub type Progress<'a> = dyn Fn(u64, u64) + Sync + 'a;

/// What was found.
#[derive(Clone, Debug)]
pub struct VerifyReport {
    /// How far it went.
    pub level: Level,
    /// How many lines the journal has under its newest checkpoint.
    pub lines: u64,
    /// Names of the admitted keys that signed the newest checkpoint.
    pub signed_by: Vec<String>,
    /// The size of the outside checkpoint that the journal was held against and that it fits; `None`: the archive is
    /// at best consistent in itself and not anchored.
    pub anchored: Option<u64>,
    /// How many bundles and quarantined sources there should be.
    pub files: u64,
    /// How many of them were read.
    pub read: u64,
    /// Their bytes.
    pub bytes: u64,
    /// Files that are not as their line says, or fail their own checks.
    pub damaged: Vec<Trouble>,
    /// Files that whoever verifies may not read: nothing is known about them.
    pub unreadable: Vec<Trouble>,
    /// Files that a line speaks of and that are not there.
    pub missing: Vec<Trouble>,
    /// Journal, checkpoints or signatures that do not fit each other.
    pub altered: Vec<Trouble>,
    /// Recordings destroyed under a rule, with all that belongs to that. No trouble.
    pub destroyed: Vec<Key>,
    /// What no line speaks of: left by a commit that broke off, or put there by somebody. Nothing that was filed.
    pub uncommitted: Vec<Trouble>,
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Trouble {
    /// The file, below the archive's folder.
    pub place: String,
    /// The bundle, source or tombstone that it is about.
    pub of: Option<Shelved>,
    /// The line of the journal, from 0.
    pub line: Option<u64>,
    /// What is wrong: a lower-case fragment.
    pub what: String,
}

impl Trouble {
    fn at(path: &Path, line: Option<u64>, what: impl Into<String>) -> Trouble {
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        Trouble { place: crate::fault::shown(path), of: Shelved::named(name), line, what: what.into() }
    }
}

impl std::fmt::Display for Trouble {
    /// `journal/000000000000.jsonl, line 7: not a line of a journal`
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.place)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        write!(f, ": {}", self.what)
    }
}

impl VerifyReport {
    /// Whether all could be read and nothing is damaged, missing or altered. Uncommitted leftovers are no loss.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        !self.has_faults() && self.unreadable.is_empty()
    }

    /// Whether something is damaged, missing or altered.
    #[must_use]
    pub fn has_faults(&self) -> bool {
        !(self.damaged.is_empty() && self.missing.is_empty() && self.altered.is_empty())
    }

    /// One sentence on what the result rests on.
    #[must_use]
    pub fn anchor(&self) -> String {
        match self.anchored {
            Some(size) => format!("held against a checkpoint from elsewhere over {size} lines"),
            None => {
                "self-consistent, not anchored: who alters the archive could write a new journal; hold it \
                     against a checkpoint that was kept elsewhere"
                    .to_owned()
            }
        }
    }
}

impl Archive {
    /// [`verify`] on this archive.
    /// # Errors
    /// As there.
    pub fn verify(
        &self,
        args: &VerifyArgs<'_>,
        reread: &Reread<'_>,
        progress: &Progress<'_>,
    ) -> Result<VerifyReport> {
        verify(&*self.storage, &self.folder, args, reread, progress)
    }
}

/// Verifies the archive in a folder, also one that is too damaged to be opened.
/// # Errors
/// [`Kind::Io`] where there is no archive or a folder cannot be listed; [`Kind::Usage`] for a part that is none;
/// [`Kind::Malformed`] for an outside checkpoint that is none.
pub fn verify(
    storage: &dyn Storage,
    folder: &Path,
    args: &VerifyArgs<'_>,
    reread: &Reread<'_>,
    progress: &Progress<'_>,
) -> Result<VerifyReport> {
    let part = args.part.unwrap_or((1, 1));
    if part.0 == 0 || part.0 > part.1 {
        return Err(Error::new(Kind::Usage, "a part is k/n with k from 1 to n"));
    }
    let against = args.against.map(Checkpoint::parse).transpose().map_err(|error| {
        error.at(Place::file("the outside checkpoint")).remedy("give a copy of checkpoints/latest.note")
    })?;
    let mut report = VerifyReport {
        level: args.level,
        lines: 0,
        signed_by: Vec::new(),
        anchored: None,
        files: 0,
        read: 0,
        bytes: 0,
        damaged: Vec::new(),
        unreadable: Vec::new(),
        missing: Vec::new(),
        altered: Vec::new(),
        destroyed: Vec::new(),
        uncommitted: Vec::new(),
    };
    let identity = match archive::identity(storage, folder) {
        Ok(identity) => Some(identity),
        Err(error) if error.kind() == Kind::Malformed => None,
        Err(error) => return Err(error),
    };
    let against = against.map(|(checkpoint, _)| checkpoint);
    let origin = identity.map(|identity| identity.origin);
    let ledger = ledger::read(storage, folder, origin.as_deref(), against.as_ref(), &mut report)?;
    files::check(storage, folder, &ledger, args.level, part, (reread, progress), &mut report)?;
    for troubles in [
        &mut report.damaged,
        &mut report.unreadable,
        &mut report.missing,
        &mut report.altered,
        &mut report.uncommitted,
    ] {
        troubles.sort();
        troubles.dedup();
    }
    Ok(report)
}
