//! The journal as far as its newest checkpoint goes, and the tree over it.

use std::cell::RefCell;
use std::io;
use std::ops::Range;
use std::path::Path;

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::checkpoint::Checkpoint;
use crate::fault::{cannot_read, shown};
use crate::layout::{self, SEGMENT_LEVEL, SEGMENT_LINES};
use crate::line::Line;
use crate::note::Note;
use crate::segment::Segment;
use crate::storage::Storage;
use crate::tree::{self, Frontier, Hash, Subtrees};
use crate::word::{Digest, Moment};

/// What is known of the journal without holding it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Journal {
    pub frontier: Frontier,
    /// The tree of the segment that is being filled, alone.
    filling: Frontier,
    /// Roots of the full segments.
    roots: Vec<Hash>,
    /// Bytes of the lines in the segment that is being filled.
    pub offset: u64,
    /// The time of the last line.
    pub last_at: Option<Moment>,
}

/// The newest checkpoint of an archive.
pub(crate) fn latest(storage: &dyn Storage, folder: &Path) -> Result<(Checkpoint, Note)> {
    let path = Path::new(layout::LATEST);
    let remedy = "`archive repair` makes it anew from the journal and the checkpoints that were kept";
    let lost = |what: &str| Error::new(Kind::Altered, what).at(Place::file(shown(path))).remedy(remedy);
    let bytes = storage.read(&folder.join(path)).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => lost("the newest checkpoint is not there"),
        _ => cannot_read(path, error),
    })?;
    let text = String::from_utf8(bytes).map_err(|_| lost("the newest checkpoint is not text"))?;
    Checkpoint::parse(&text).map_err(|error| lost(error.what()))
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

    /// Takes a line, without its line feed; the root of the segment that it fills.
    pub fn push(&mut self, line: &[u8]) -> Option<Hash> {
        let leaf = tree::leaf(line);
        self.frontier.push(leaf);
        self.filling.push(leaf);
        self.offset += line.len() as u64 + 1;
        if self.filling.size() < SEGMENT_LINES {
            return None;
        }
        let root = std::mem::take(&mut self.filling).root();
        self.roots.push(root);
        self.offset = 0;
        Some(root)
    }

    pub fn line(&self, storage: &dyn Storage, folder: &Path, index: u64) -> Result<Line> {
        if index >= self.size() {
            return Err(Error::new(
                Kind::Usage,
                format!("the journal has {} lines, no line {index}", self.size()),
            ));
        }
        Segment::from_line(storage, folder, index)?.parse(index)
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
            let mut segment = Segment::from_offset(storage, folder, number, self.offset);
            for index in self.size()..size.min((number + 1) * SEGMENT_LINES) {
                let text = segment.text()?;
                self.push(text);
                if index + 1 == size {
                    let name = shown(&layout::segment(number));
                    self.last_at = Some(Line::parse_at(text, index, &name)?.at);
                }
            }
        }
        if self.last_at.is_none() && size > 0 {
            self.last_at = Some(self.line(storage, folder, size - 1)?.at);
        }
        Ok(())
    }
}

/// The lines of a journal, one after the other, read as they are asked for.
pub struct Lines<'a> {
    storage: &'a dyn Storage,
    folder: &'a Path,
    range: Range<u64>,
    /// The segment being read.
    segment: Option<Segment<'a>>,
}

impl<'a> Lines<'a> {
    pub(crate) fn new(storage: &'a dyn Storage, folder: &'a Path, range: Range<u64>) -> Lines<'a> {
        Lines { storage, folder, range, segment: None }
    }

    fn read(&mut self, index: u64) -> Result<Line> {
        let segment = match &mut self.segment {
            Some(segment) if !index.is_multiple_of(SEGMENT_LINES) => segment,
            segment => segment.insert(Segment::from_line(self.storage, self.folder, index)?),
        };
        segment.parse(index)
    }
}

impl Iterator for Lines<'_> {
    type Item = Result<Line>;

    /// The next line; after an error nothing more.
    fn next(&mut self) -> Option<Result<Line>> {
        let index = self.range.next()?;
        let line = self.read(index);
        if line.is_err() {
            self.range.start = self.range.end;
        }
        Some(line)
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
                    *loaded = Some((number, leaves(self.storage, self.folder, self.journal, number)?));
                }
                Ok(loaded.as_ref().and_then(|(_, leaves)| leaves.get(within)).copied())
            }
            _ => Ok(None),
        }
    }
}

fn leaves(storage: &dyn Storage, folder: &Path, journal: &Journal, number: u64) -> Result<Vec<Hash>> {
    let first = number * SEGMENT_LINES;
    let mut segment = Segment::from_offset(storage, folder, number, 0);
    let wanted = first..journal.size().min(first + SEGMENT_LINES);
    wanted.map(|_| segment.text().map(tree::leaf)).collect()
}

/// The lines of a segment without their line feeds; what has none is no line.
pub(crate) fn split(segment: &[u8]) -> impl Iterator<Item = &[u8]> {
    segment.split_inclusive(|byte| *byte == b'\n').filter_map(|line| line.strip_suffix(b"\n"))
}
