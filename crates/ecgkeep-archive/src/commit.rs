//! One batch: everything of it is done and lasting, or nothing of it counts.
//!
//! The order is the promise (schemas/archive.md, "Commit"): prepared files are synced; under the lock what a
//! broken-off commit left is settled; the lines to come are written down and synced; files are renamed into place
//! and folders synced; the lines are appended and synced; the checkpoint is replaced. Then it is said to be done.
//! After any error nothing of the batch is said to be done, and the next commit settles what is left of it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::act::{Act, Commit, Done};
use crate::archive::{Archive, together};
use crate::fault::{cannot_write, shown};
use crate::layout::{self, SEGMENT_LINES};
use crate::line::{About, Event, LONGEST_LINE, Line};
use crate::note::Signer;
use crate::prepare::Prepared;
use crate::storage::{Hold, Lock, Readers};
use crate::tree::Hash;
use crate::word::{Digest, Moment};

/// A checkpoint is kept when this many lines have passed since the last one that was kept,
const KEEP_LINES: u64 = 4096;
/// or this many seconds.
const KEEP_SECONDS: i64 = 86_400;

/// A prepared file and where it belongs, below the archive's folder.
pub(crate) struct Move {
    pub file: Prepared,
    pub to: PathBuf,
    /// Whether it replaces what stands there.
    pub over: bool,
}

impl Archive {
    /// Does all acts of a batch in one go. One `Done` per act, in their order. What they say is true after a power
    /// cut, too.
    /// # Errors
    /// [`Kind::Refused`] where an act breaks a rule: nothing was done. [`Kind::Io`] where reading or writing failed:
    /// nothing counts as done; doing it again is right. [`Kind::Altered`] where the journal does not fit its
    /// checkpoint: nothing is written any more until that is looked after.
    pub fn commit(&mut self, batch: Vec<Act>, commit: &Commit<'_>) -> Result<Vec<Done>> {
        let batch = self.prepare_small_files(batch)?;
        let _alone = self.lock_and_settle(commit.signer)?;
        let mut plan = self.plan(batch, commit)?;
        if plan.lines.is_empty() {
            return Ok(plan.done);
        }
        let first = self.write_batch(&plan.lines, &mut plan.moves, commit.at, commit.signer)?;
        plan.number_from(first);
        self.finish_destructions(commit.signer, Some(&mut plan))?;
        Ok(plan.done)
    }

    /// Finishes what a broken-off commit left. Every commit does that first.
    /// # Errors
    /// As [`Archive::commit`].
    pub fn settle(&mut self, signer: Option<&Signer>) -> Result<()> {
        self.lock_and_settle(signer).map(drop)
    }

    pub(crate) fn lock_and_settle(&mut self, signer: Option<&Signer>) -> Result<Box<dyn Lock>> {
        self.announce()?;
        let path = self.folder.join(layout::COMMIT_LOCK);
        let lock = self.storage.lock(&path, Hold::Alone);
        let lock = lock.map_err(|error| cannot_write(Path::new(layout::COMMIT_LOCK), error))?;
        self.settle_pending(signer)?;
        self.finish_destructions(signer, None)?;
        Ok(lock)
    }

    /// Files and lines into the archive, under the lock. The index of the first line.
    pub(crate) fn write_batch(
        &mut self,
        lines: &[(Event, About)],
        moves: &mut [Move],
        at: Moment,
        signer: Option<&Signer>,
    ) -> Result<u64> {
        let first = self.size();
        let at = self.journal.last_at.map_or(at, |last| at.max(last));
        let lines = number(lines, first, at)?;
        self.write_pending(&lines)?;
        let mut touched = BTreeSet::new();
        for Move { file, to, over } in moves.iter_mut() {
            self.make_folders(to, &mut touched)?;
            file.put(&self.folder.join(&*to), *over).map_err(|error| cannot_write(to, error))?;
        }
        self.sync_folders(&touched)?;
        self.append(&lines, signer)?;
        self.remove_pending();
        Ok(first)
    }

    fn write_pending(&self, lines: &[Line]) -> Result<()> {
        let path = Path::new(layout::PENDING);
        let full = self.folder.join(path);
        let failed = |error| cannot_write(path, error);
        self.storage.create(&full, text(lines).as_bytes(), Readers::All).map_err(failed)?;
        self.storage.sync(&full).map_err(failed)?;
        self.storage.sync_folder(&self.folder.join(layout::TMP)).map_err(failed)
    }

    /// It need not succeed: a pending file whose lines are all in the journal is removed by the next commit.
    pub(crate) fn remove_pending(&self) {
        let _ = self.storage.remove(&self.folder.join(layout::PENDING));
    }

    /// Makes the folders above a file; notes which must be synced so that the file's name lasts.
    fn make_folders(&self, file: &Path, touched: &mut BTreeSet<PathBuf>) -> Result<()> {
        let Some(folder) = file.parent() else { return Ok(()) };
        let mut above = PathBuf::new();
        for part in folder {
            let inner = above.join(part);
            let made = self.storage.make_folder(&self.folder.join(&inner));
            if made.map_err(|error| cannot_write(&inner, error))? {
                touched.insert(above);
            }
            above = inner;
        }
        touched.insert(folder.to_owned());
        Ok(())
    }

    pub(crate) fn sync_folders(&self, folders: &BTreeSet<PathBuf>) -> Result<()> {
        let folders: Vec<&PathBuf> = folders.iter().collect();
        let synced = together(&folders, |folder| {
            self.storage.sync_folder(&self.folder.join(folder)).map_err(|error| cannot_write(folder, error))
        });
        synced.into_iter().collect()
    }

    /// Lines into the journal, then the checkpoint over them.
    pub(crate) fn append(&mut self, lines: &[Line], signer: Option<&Signer>) -> Result<()> {
        let mut journal = self.journal.clone();
        let mut rest = lines;
        while !rest.is_empty() {
            let number = journal.segment();
            let room = usize::try_from(SEGMENT_LINES - journal.size() % SEGMENT_LINES).unwrap_or(usize::MAX);
            let (part, after) = rest.split_at(room.min(rest.len()));
            let is_new = journal.size().is_multiple_of(SEGMENT_LINES);
            let path = layout::segment(number);
            let full = self.folder.join(&path);
            let failed = |error| cannot_write(&path, error);
            self.storage.append(&full, text(part).as_bytes()).map_err(failed)?;
            self.storage.sync(&full).map_err(failed)?;
            if is_new {
                self.storage.sync_folder(&self.folder.join(layout::JOURNAL)).map_err(failed)?;
            }
            for line in part {
                if let Some(root) = journal.push(line.text().as_bytes()) {
                    self.cache_root(number, root);
                }
            }
            rest = after;
        }
        journal.last_at = lines.last().map(|line| line.at).or(journal.last_at);
        std::mem::swap(&mut self.journal, &mut journal);
        if let Err(error) = self.write_checkpoint(signer) {
            self.journal = journal;
            return Err(error);
        }
        Ok(())
    }

    /// A cache: what is wrong or missing in it is found and computed anew.
    fn cache_root(&self, number: u64, root: Hash) {
        let path = self.folder.join(layout::segment_root(number));
        let _ = crate::storage::write_whole(
            &*self.storage,
            &path,
            format!("{}\n", Digest(root)).as_bytes(),
            true,
        );
    }

    /// Replaces latest.note; keeps it under its size too when it is time. The latest comes first: a kept checkpoint
    /// never speaks of lines that a power cut may still undo.
    pub(crate) fn write_checkpoint(&mut self, signer: Option<&Signer>) -> Result<()> {
        let note = self.head().note(signer);
        let bytes = note.written();
        self.put_note(Path::new(layout::LATEST), bytes.as_bytes())?;
        self.latest = note;
        let (size, Some(at)) = (self.size(), self.journal.last_at) else { return Ok(()) };
        let is_time = self.kept.is_none_or(|(kept, then)| {
            size >= kept + KEEP_LINES || (size > kept && at.seconds_since(then) >= KEEP_SECONDS)
        });
        if is_time {
            self.put_note(&Path::new(layout::CHECKPOINTS).join(format!("{size}.note")), bytes.as_bytes())?;
            self.kept = Some((size, at));
        }
        Ok(())
    }

    fn put_note(&self, path: &Path, bytes: &[u8]) -> Result<()> {
        let mut file = Prepared::write(&self.storage, &self.folder.join(layout::TMP), bytes, Readers::All)?;
        let failed = |error| cannot_write(path, error);
        file.put(&self.folder.join(path), true).map_err(failed)?;
        self.storage.sync_folder(&self.folder.join(layout::CHECKPOINTS)).map_err(failed)
    }

    /// A signer whose key was not admitted would sign for nobody.
    pub(crate) fn check_signer(&self, commit: &Commit<'_>, admitted_now: &[String]) -> Result<()> {
        let Some(signer) = commit.signer else { return Ok(()) };
        let public = signer.public();
        let is_admitted = admitted_now.contains(&public.written())
            || self.keys()?.iter().any(|key| key.written() == public.written());
        if is_admitted {
            return Ok(());
        }
        let place = Place::file(shown(&layout::public_key(public.name())));
        Err(Error::new(Kind::Refused, "the signing key is not one of the archive's")
            .at(place)
            .remedy("admit it first"))
    }
}

/// The lines of a batch with their indices.
pub(crate) fn number(lines: &[(Event, About)], first: u64, at: Moment) -> Result<Vec<Line>> {
    let numbered = lines.iter().zip(first..).map(|((event, about), index)| {
        about.fits(*event)?;
        let line = Line { index, at, event: *event, about: about.clone() };
        if line.text().len() > LONGEST_LINE {
            return Err(Error::new(Kind::Internal, "a line of the journal would be longer than 1,024 bytes"));
        }
        Ok(line)
    });
    numbered.collect()
}

pub(crate) fn text(lines: &[Line]) -> String {
    lines.iter().map(|line| line.text() + "\n").collect()
}
