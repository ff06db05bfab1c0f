//! The journal as far as its newest checkpoint goes, and the tree over it.

use std::cell::RefCell;
use std::ops::Range;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::checkpoint::Checkpoint;
use crate::fault::{cannot_read, shown};
use crate::layout::{self, SEGMENT_LEVEL, SEGMENT_LINES};
use crate::line::Line;
use crate::note::Note;
use crate::storage::Storage;
use crate::tree::{self, Frontier, Hash, Subtrees};
use crate::word::{Digest, Moment};

/// What is known of the journal without holding it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Journal {
    pub frontier: Frontier,
    /// Roots of the full segments.
    roots: Vec<Hash>,
    /// Bytes of the lines in the segment that is being filled.
    pub offset: u64,
    /// The time of the last line.
    pub last_at: Option<Moment>,
}

/// The newest checkpoint of an archive.
pub(crate) fn latest(storage: &dyn Storage, folder: &Path) -> Result<(Checkpoint, Note)> {
    let path = folder.join(layout::LATEST);
    let bytes = storage.read(&path).map_err(|error| cannot_read(&path, error))?;
    let remedy = "`archive repair` makes it anew from the journal and the checkpoints that were kept";
    let damaged =
        |error: Error| Error::new(Kind::Altered, error.what()).at(Place::file(shown(&path))).remedy(remedy);
    let text = String::from_utf8(bytes)
        .map_err(|_| damaged(Error::new(Kind::Altered, "the newest checkpoint is not text")))?;
    Checkpoint::parse(&text).map_err(damaged)
}

impl Journal {
    /// The first `checkpoint.size` lines.
    /// # Errors
    /// [`Kind::Altered`] where they do not lead to the checkpoint's root; [`Kind::Io`].
    pub fn load(storage: &dyn Storage, folder: &Path, checkpoint: &Checkpoint) -> Result<Journal> {
        for caches in [true, false] {
            let mut journal = Journal::default();
            if caches {
                journal.take_caches(storage, folder, checkpoint.size / SEGMENT_LINES);
            }
            journal.read_on(storage, folder, checkpoint.size)?;
            if journal.frontier.root() == checkpoint.root {
                return Ok(journal);
            }
        }
        Err(Error::new(Kind::Altered, "the journal does not lead to the root of the newest checkpoint")
            .at(Place::file(layout::JOURNAL))
            .remedy("`archive verify` says more; bring back the journal from a copy"))
    }

    /// Takes the lines up to a later checkpoint.
    /// # Errors
    /// As [`Journal::load`].
    pub fn refresh(&mut self, storage: &dyn Storage, folder: &Path, checkpoint: &Checkpoint) -> Result<()> {
        let mut journal = self.clone();
        let is_on = journal.size() <= checkpoint.size
            && journal.read_on(storage, folder, checkpoint.size).is_ok()
            && journal.frontier.root() == checkpoint.root;
        *self = if is_on { journal } else { Journal::load(storage, folder, checkpoint)? };
        Ok(())
    }

    pub fn size(&self) -> u64 {
        self.frontier.size()
    }

    /// The segment that is being filled.
    pub fn segment(&self) -> u64 {
        self.size() / SEGMENT_LINES
    }

    pub fn push(&mut self, line: &[u8]) {
        self.frontier.push(tree::leaf(line));
        self.offset += line.len() as u64 + 1;
        if self.size().is_multiple_of(SEGMENT_LINES) {
            self.offset = 0;
        }
    }

    /// Notes the root of the segment that was just filled.
    pub fn fill(&mut self, root: Hash) {
        self.roots.push(root);
    }

    /// Where a line is and what it says, without its line feed.
    pub fn text(&self, storage: &dyn Storage, folder: &Path, index: u64) -> Result<Vec<u8>> {
        if index >= self.size() {
            return Err(Error::new(
                Kind::Usage,
                format!("the journal has {} lines, no line {index}", self.size()),
            ));
        }
        let segment = read_segment(storage, folder, index / SEGMENT_LINES)?;
        let nth = usize::try_from(index % SEGMENT_LINES).unwrap_or(usize::MAX);
        let line = split(&segment).nth(nth);
        line.map(<[u8]>::to_vec).ok_or_else(|| shorter(index / SEGMENT_LINES))
    }

    pub fn line(&self, storage: &dyn Storage, folder: &Path, index: u64) -> Result<Line> {
        let text = self.text(storage, folder, index)?;
        Line::parse_at(&text, index, &shown(&layout::segment(index / SEGMENT_LINES)))
    }

    /// The hashes of its subtrees, read as they are needed.
    pub fn subtrees<'a>(&'a self, storage: &'a dyn Storage, folder: &'a Path) -> impl Subtrees + 'a {
        Leaves { journal: self, storage, folder, loaded: RefCell::new(None) }
    }

    fn take_caches(&mut self, storage: &dyn Storage, folder: &Path, full: u64) {
        for number in 0..full {
            let text = storage.read(&folder.join(layout::segment_root(number))).unwrap_or_default();
            let text = String::from_utf8_lossy(&text);
            let Ok(Digest(root)) = text.trim_end_matches('\n').parse() else { return };
            self.frontier.push_full(root, SEGMENT_LEVEL);
            self.roots.push(root);
        }
    }

    fn read_on(&mut self, storage: &dyn Storage, folder: &Path, size: u64) -> Result<()> {
        while self.size() < size {
            let number = self.segment();
            let path = folder.join(layout::segment(number));
            let bytes = storage.read_from(&path, self.offset).map_err(|error| cannot_read(&path, error))?;
            let wanted = size.min((number + 1) * SEGMENT_LINES) - self.size();
            let lines: Vec<&[u8]> =
                split(&bytes).take(usize::try_from(wanted).unwrap_or(usize::MAX)).collect();
            if (lines.len() as u64) < wanted {
                return Err(shorter(number));
            }
            let begins_it = self.size().is_multiple_of(SEGMENT_LINES);
            let fills_it = (self.size() + wanted).is_multiple_of(SEGMENT_LINES);
            lines.iter().for_each(|line| self.push(line));
            if fills_it {
                let hashes = if begins_it {
                    lines.iter().map(|line| tree::leaf(line)).collect()
                } else {
                    leaves(storage, folder, number)?
                };
                self.fill(tree::root(&hashes[..], 0..SEGMENT_LINES)?);
            }
            if self.size() == size {
                let last = lines.last().copied().unwrap_or_default();
                let segment = shown(&layout::segment(number));
                self.last_at = Some(Line::parse_at(last, size - 1, &segment)?.at);
            }
        }
        if self.last_at.is_none() && size > 0 {
            self.last_at = Some(self.line(storage, folder, size - 1)?.at);
        }
        Ok(())
    }
}

/// The lines of a journal, one after the other.
pub struct Lines<'a> {
    storage: &'a dyn Storage,
    folder: PathBuf,
    range: Range<u64>,
    /// What is left of the segment being read.
    rest: std::vec::IntoIter<Line>,
}

impl<'a> Lines<'a> {
    pub(crate) fn new(storage: &'a dyn Storage, folder: &Path, range: Range<u64>) -> Lines<'a> {
        Lines { storage, folder: folder.to_owned(), range, rest: Vec::new().into_iter() }
    }

    fn load(&mut self) -> Result<()> {
        let start = self.range.start;
        let number = start / SEGMENT_LINES;
        let bytes = read_segment(self.storage, &self.folder, number)?;
        let until = self.range.end.min((number + 1) * SEGMENT_LINES);
        let segment = shown(&layout::segment(number));
        let texts = (number * SEGMENT_LINES..until).zip(split(&bytes));
        let texts = texts.filter(|(index, _)| *index >= start);
        let lines: Vec<Line> =
            texts.map(|(index, text)| Line::parse_at(text, index, &segment)).collect::<Result<_>>()?;
        if (lines.len() as u64) < until - start {
            return Err(shorter(number));
        }
        self.range.start = until;
        self.rest = lines.into_iter();
        Ok(())
    }
}

impl Iterator for Lines<'_> {
    type Item = Result<Line>;

    /// The next line; after an error nothing more.
    fn next(&mut self) -> Option<Result<Line>> {
        if let Some(line) = self.rest.next() {
            return Some(Ok(line));
        }
        if self.range.is_empty() {
            return None;
        }
        if let Err(error) = self.load() {
            self.range.start = self.range.end;
            return Some(Err(error));
        }
        self.rest.next().map(Ok)
    }
}

struct Leaves<'a> {
    journal: &'a Journal,
    storage: &'a dyn Storage,
    folder: &'a Path,
    /// The leaves of the segment that was asked for last.
    loaded: RefCell<Option<(u64, Vec<Hash>)>>,
}

impl Subtrees for Leaves<'_> {
    fn known(&self, range: &Range<u64>) -> Result<Option<Hash>> {
        let number = range.start / SEGMENT_LINES;
        let within = usize::try_from(range.start % SEGMENT_LINES).unwrap_or(usize::MAX);
        match range.end - range.start {
            SEGMENT_LINES if within == 0 => {
                Ok(usize::try_from(number).ok().and_then(|number| self.journal.roots.get(number)).copied())
            }
            1 => {
                let mut loaded = self.loaded.borrow_mut();
                if loaded.as_ref().is_none_or(|(of, _)| *of != number) {
                    *loaded = Some((number, leaves(self.storage, self.folder, number)?));
                }
                Ok(loaded.as_ref().and_then(|(_, leaves)| leaves.get(within)).copied())
            }
            _ => Ok(None),
        }
    }
}

fn leaves(storage: &dyn Storage, folder: &Path, number: u64) -> Result<Vec<Hash>> {
    Ok(split(&read_segment(storage, folder, number)?).map(tree::leaf).collect())
}

fn read_segment(storage: &dyn Storage, folder: &Path, number: u64) -> Result<Vec<u8>> {
    let path = folder.join(layout::segment(number));
    storage.read(&path).map_err(|error| cannot_read(&path, error))
}

/// The lines of a segment without their line feeds; what has none is no line.
pub(crate) fn split(segment: &[u8]) -> impl Iterator<Item = &[u8]> {
    segment.split_inclusive(|byte| *byte == b'\n').filter_map(|line| line.strip_suffix(b"\n"))
}

fn shorter(number: u64) -> Error {
    Error::new(Kind::Altered, "the journal is shorter than its newest checkpoint says")
        .at(Place::file(shown(&layout::segment(number))))
        .remedy("`archive verify` says more; bring back the journal from a copy")
}
