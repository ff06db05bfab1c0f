//! What was damaged, brought back from a copy that is whole.

use std::path::Path;

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::act::Commit;
use crate::archive::{self, Archive, kept_sizes};
use crate::checkpoint::Checkpoint;
use crate::commit::Move;
use crate::fault::{cannot_read, cannot_write, shown};
use crate::journal::{latest, split};
use crate::layout::{self, SEGMENT_LINES, Shelved};
use crate::line::{About, Event, Line};
use crate::note::Signer;
use crate::settle::pending_lines;
use crate::storage::{Hold, Storage, write_whole};
use crate::tree::{Frontier, leaf};
use crate::verify::{Level, Trouble, VerifyArgs};
use crate::word::Digest;

/// How many bundles go into one batch.
const BATCH: usize = 64;

/// What a repair came to.
#[derive(Clone, Debug, Default)]
pub struct Repaired {
    /// Replaced by an identical copy.
    pub repaired: Vec<Shelved>,
    /// Damaged or missing, and the copy has no whole one; or not to be read by whoever repairs.
    pub left: Vec<Trouble>,
}

impl Archive {
    /// Replaces damaged and missing bundles and quarantined sources by those of another copy of this archive, each
    /// only after its bytes were found to be the ones in the journal.
    /// # Errors
    /// [`Kind::Altered`] where journal and checkpoints do not fit each other: nothing is changed. [`Kind::Io`]; what was
    /// repaired before stays so.
    pub fn repair(&mut self, from: &Path, commit: &Commit<'_>) -> Result<Repaired> {
        let args = VerifyArgs { level: Level::Full, part: None, against: None };
        let report = self.verify(&args, &|_| Vec::new(), &|_, _| ())?;
        let is_about_the_journal = |trouble: &&Trouble| {
            [layout::JOURNAL, layout::CHECKPOINTS].iter().any(|folder| trouble.place.starts_with(folder))
        };
        if let Some(trouble) = report.altered.iter().find(is_about_the_journal) {
            return Err(not_led_to(trouble.to_string()));
        }
        // What may not be read may be whole: it is left as it is.
        let mut result = Repaired { left: report.unreadable, ..Repaired::default() };
        let mut whole = Vec::new();
        for trouble in report.damaged.into_iter().chain(report.missing) {
            let (Some(of), Some(line)) = (trouble.of, trouble.line) else {
                result.left.push(trouble);
                continue;
            };
            let line = self.line(line)?;
            match self.whole_copy(from, of, &line) {
                Some(bytes) => whole.push((of, line, bytes)),
                None => result.left.push(trouble),
            }
        }
        for batch in whole.chunks(BATCH) {
            self.put_back(batch, commit)?;
            result.repaired.extend(batch.iter().map(|(of, ..)| *of));
        }
        Ok(result)
    }

    fn whole_copy(&self, from: &Path, of: Shelved, line: &Line) -> Option<Vec<u8>> {
        if matches!(of, Shelved::Tombstone(_)) {
            return None;
        }
        let bytes = self.storage.read(&from.join(of.path())).ok()?;
        (line.about.sha256 == Some(Digest::of(&bytes))).then_some(bytes)
    }

    fn put_back(&mut self, batch: &[(Shelved, Line, Vec<u8>)], commit: &Commit<'_>) -> Result<()> {
        let (mut lines, mut moves) = (Vec::new(), Vec::new());
        for (of, line, bytes) in batch {
            let file = self.prepare(bytes)?;
            let about = About {
                key: line.about.key,
                revision: line.about.revision,
                sha256: Some(file.sha256()),
                bytes: Some(file.bytes()),
                by: Some(commit.by.clone()),
                of: Some(line.index),
                ..About::default()
            };
            lines.push((Event::Repaired, about));
            moves.push(Move { file, to: of.path(), over: true });
        }
        let _alone = self.lock_and_settle(commit.signer)?;
        self.check_signer(commit, &[])?;
        self.write_batch(&lines, &mut moves, commit.at, commit.signer).map(drop)
    }

    /// Makes checkpoints/latest.note anew where it was lost or damaged: over all lines of the journal, which must
    /// be whole and lead to every checkpoint that was kept, to the newest one of a copy of the archive's folder, and to what
    /// can still be read of the newest one here, unless that of the copy covers as many lines.
    /// # Errors
    /// [`Kind::Altered`] where the journal does not: nothing is changed. [`Kind::Refused`] for a copy of another
    /// archive. [`Kind::Io`].
    pub fn mend_checkpoint(
        storage: &dyn Storage,
        folder: &Path,
        copy: Option<&Path>,
        signer: Option<&Signer>,
    ) -> Result<Checkpoint> {
        let lock = storage.lock(&folder.join(layout::COMMIT_LOCK), Hold::Alone);
        let _alone = lock.map_err(|error| cannot_write(Path::new(layout::COMMIT_LOCK), error))?;
        let identity = archive::identity(storage, folder)?;
        let mut known = Vec::new();
        for size in kept_sizes(storage, folder)? {
            let path = Path::new(layout::CHECKPOINTS).join(format!("{size}.note"));
            let bytes = storage.read(&folder.join(&path)).map_err(|error| cannot_read(&path, error))?;
            let read = Checkpoint::parse(&String::from_utf8_lossy(&bytes));
            known.push(read.map_err(|error| error.at(Place::file(shown(&path))))?.0);
        }
        let newest = |folder: &Path| latest(storage, folder).ok().map(|(newest, _)| newest);
        let copied = copy.and_then(newest);
        if copied.as_ref().is_some_and(|copied| copied.origin != identity.origin) {
            return Err(Error::new(Kind::Refused, "the copy is of another archive")
                .remedy("name the folder of a copy of this archive"));
        }
        let is_outdone = |own: &Checkpoint| copied.as_ref().is_some_and(|copied| copied.size >= own.size);
        known.extend(newest(folder).filter(|own| !is_outdone(own)));
        known.extend(copied);
        let frontier = whole_journal(storage, folder, &known)?;
        let checkpoint = Checkpoint { origin: identity.origin, size: frontier.size(), root: frontier.root() };
        let note = checkpoint.note(signer).written();
        write_whole(storage, &folder.join(layout::LATEST), note.as_bytes(), true)
            .map_err(|error| cannot_write(Path::new(layout::LATEST), error))?;
        Ok(checkpoint)
    }
}

/// The tree over every line, each of them read and in its place; lines of a broken-off commit are left out.
fn whole_journal(storage: &dyn Storage, folder: &Path, known: &[Checkpoint]) -> Result<Frontier> {
    let pending = storage.read(&folder.join(layout::PENDING)).ok();
    let pending = pending.and_then(|bytes| pending_lines(&bytes));
    let end = pending.map_or(u64::MAX, |lines| lines[0].index);
    let mut frontier = Frontier::default();
    let mut fitting = 0;
    while frontier.size() < end {
        let number = frontier.size() / SEGMENT_LINES;
        let path = layout::segment(number);
        if !frontier.size().is_multiple_of(SEGMENT_LINES) {
            break;
        }
        let Ok(bytes) = storage.read(&folder.join(&path)) else { break };
        for text in split(&bytes) {
            if frontier.size() == end {
                break;
            }
            Line::parse_at(text, frontier.size(), &shown(&path))?;
            frontier.push(leaf(text));
            let here = known.iter().filter(|known| known.size == frontier.size());
            fitting += here.filter(|known| known.root == frontier.root()).count();
        }
    }
    if fitting == known.len() && frontier.size() > 0 {
        return Ok(frontier);
    }
    Err(not_led_to("the journal does not lead to every checkpoint that is known"))
}

/// A journal that cannot say what was filed: nothing may be repaired by it.
fn not_led_to(what: impl Into<String>) -> Error {
    Error::new(Kind::Altered, what).at(Place::file(layout::JOURNAL)).remedy(
        "nothing was changed: keep this folder as it is; in a second copy of it put journal and checkpoints of a copy that \
         archive verify finds sound in the place of these, and verify that",
    )
}
