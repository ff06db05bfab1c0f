//! What a broken-off commit left, brought to an end.
//!
//! Nothing of it was ever said to be done, or all of it is under the newest checkpoint. In the first case nothing that
//! it wrote to the journal is trusted, whether it can be read or not: after a flush that failed the pages in
//! memory say nothing of the medium. The journal is cut back to its checkpoint and written anew.

use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::archive::Archive;
use crate::commit::text;
use crate::fault::{cannot_read, cannot_write, names_in, shown};
use crate::journal::split;
use crate::layout;
use crate::line::{Event, Line};
use crate::note::Signer;
use crate::word::Digest;

impl Archive {
    /// Under the lock: the journal is exactly as long as its newest checkpoint says, and nothing is pending.
    pub(crate) fn settle_pending(&mut self, signer: Option<&Signer>) -> Result<()> {
        self.refresh()?;
        let Some(bytes) = self.read_pending()? else { return self.check_tail() };
        // One that is not whole was broken off before anything else was touched.
        let Some(lines) = pending_lines(&bytes) else {
            self.check_tail()?;
            self.remove_pending();
            return Ok(());
        };
        let (first, size) = (lines[0].index, self.size());
        if first < size {
            self.check_done(&lines)?;
            self.check_tail()?;
            // The checkpoint was replaced; that its name lasts may not have been reached.
            self.sync_folders(&BTreeSet::from([layout::CHECKPOINTS.into()]))?;
        } else if first == size {
            let in_place = self.in_place(&lines)?;
            self.cut_tail()?;
            if !in_place.is_empty() {
                // A cut from here on must not find lines that were numbered otherwise.
                if in_place != lines {
                    self.replace_pending(&in_place)?;
                }
                self.append(&in_place, signer)?;
            }
        } else {
            return Err(Error::new(
                Kind::Altered,
                "the journal lacks lines that were there when a commit began",
            )
            .at(Place::file(layout::JOURNAL))
            .remedy("`archive verify` says more; bring back journal and checkpoints from a copy"));
        }
        self.remove_pending();
        Ok(())
    }

    fn read_pending(&self) -> Result<Option<Vec<u8>>> {
        match self.storage.read(&self.folder.join(layout::PENDING)) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(cannot_read(Path::new(layout::PENDING), error)),
        }
    }

    fn replace_pending(&self, lines: &[Line]) -> Result<()> {
        let path = Path::new(layout::PENDING);
        let mut file = self.prepare(text(lines).as_bytes())?;
        file.put(&self.folder.join(path), true).map_err(|error| cannot_write(path, error))?;
        self.sync_folders(&BTreeSet::from([layout::TMP.into()]))
    }

    /// The lines whose file is in place and whole, numbered anew. The folders of all of them are synced, also where
    /// the file is not there: a folder that was made and not synced would never be synced by those who find it there.
    fn in_place(&self, lines: &[Line]) -> Result<Vec<Line>> {
        let mut found = Vec::new();
        let mut folders = BTreeSet::new();
        for line in lines {
            if let Some(sha256) = line.about.sha256 {
                let places = self.places(line, sha256)?;
                folders.extend(places.iter().flat_map(|path| path.ancestors().skip(1)).map(Path::to_owned));
            }
            if self.place_of(line)?.is_some() {
                found.push(Line { index: self.size() + found.len() as u64, ..line.clone() });
            }
        }
        let mut there = BTreeSet::new();
        for folder in folders {
            if self.is_there(&folder)? {
                there.insert(folder);
            }
        }
        self.sync_folders(&there)?;
        Ok(found)
    }

    /// Where the whole file of a line stands.
    pub(crate) fn place_of(&self, line: &Line) -> Result<Option<PathBuf>> {
        let (Some(sha256), Some(bytes)) = (line.about.sha256, line.about.bytes) else { return Ok(None) };
        for path in self.places(line, sha256)? {
            if self.is_whole(&path, bytes, sha256)? {
                return Ok(Some(path));
            }
        }
        Ok(None)
    }

    /// Where the file of a line can stand.
    fn places(&self, line: &Line, sha256: Digest) -> Result<Vec<PathBuf>> {
        let about = &line.about;
        Ok(match (line.event, about.key, about.revision) {
            (Event::Filed | Event::Corrected | Event::Repaired, Some(key), Some(revision)) => {
                vec![layout::bundle(key, revision)]
            }
            (Event::Quarantined | Event::Repaired, Some(key), _) => vec![layout::quarantined(key)],
            (Event::Acknowledged, Some(key), Some(revision)) => vec![layout::answer(key, revision, sha256)],
            (Event::Destroying, ..) => vec![layout::open_request(sha256), layout::request(sha256)],
            (Event::Destroyed, Some(key), _) => vec![layout::tombstone(key)],
            (Event::Schedule, ..) => vec![layout::schedule(sha256)],
            (Event::Key, ..) => {
                let at = Path::new(layout::KEYS);
                let names = names_in(&*self.storage, &self.folder, at)?;
                names.iter().map(|name| at.join(name)).collect()
            }
            _ => Vec::new(),
        })
    }

    /// A pending file that came back after its removal: all its lines are in the journal.
    fn check_done(&self, lines: &[Line]) -> Result<()> {
        let written = self.lines(lines[0].index).take(lines.len()).collect::<Result<Vec<Line>>>()?;
        if written == lines {
            return Ok(());
        }
        Err(Error::new(Kind::Altered, "the lines of a broken-off commit do not fit the journal")
            .at(Place::file(layout::PENDING))
            .remedy("`archive verify` says whether the journal is sound; then move this file away"))
    }

    /// The journal ends where its checkpoint says; a last line without a line feed is cut off.
    fn check_tail(&self) -> Result<()> {
        let tail = self.tail()?;
        if tail.is_empty() {
            return Ok(());
        }
        if split(&tail).next().is_some() {
            return Err(Error::new(
                Kind::Altered,
                "the journal has lines that its newest checkpoint does not cover",
            )
            .at(Place::file(shown(&layout::segment(self.journal.segment()))))
            .remedy("`archive verify` says more; bring back journal and checkpoints from a copy"));
        }
        self.cut_tail()
    }

    /// The bytes after the last line under the checkpoint.
    fn tail(&self) -> Result<Vec<u8>> {
        let path = layout::segment(self.journal.segment());
        let full = self.folder.join(&path);
        let offset = self.journal.offset;
        let size = self.storage.size(&full).map_err(|error| cannot_read(&path, error))?.unwrap_or(0);
        if size < offset {
            return Err(Error::new(Kind::Altered, "the journal is shorter than its newest checkpoint says")
                .at(Place::file(shown(&path)))
                .remedy("`archive verify` says more; bring back the journal from a copy"));
        }
        if size == offset {
            return Ok(Vec::new());
        }
        self.storage.read_from(&full, offset).map_err(|error| cannot_read(&path, error))
    }

    /// Cuts the journal back to its checkpoint.
    fn cut_tail(&self) -> Result<()> {
        let current = layout::segment(self.journal.segment());
        let at = Path::new(layout::JOURNAL);
        let names = names_in(&*self.storage, &self.folder, at)?;
        for name in names.iter().filter(|name| name.ends_with(".jsonl")) {
            let path = at.join(name);
            if path > current {
                self.storage.remove(&self.folder.join(&path)).map_err(|error| cannot_write(&path, error))?;
            }
        }
        if self.tail()?.is_empty() {
            return Ok(());
        }
        let full = self.folder.join(&current);
        let cut = self.storage.truncate(&full, self.journal.offset).and_then(|()| self.storage.sync(&full));
        cut.map_err(|error| cannot_write(&current, error))
    }
}

/// The lines of a pending file; `None` where it is not whole.
pub(crate) fn pending_lines(bytes: &[u8]) -> Option<Vec<Line>> {
    if !bytes.ends_with(b"\n") {
        return None;
    }
    let lines: Vec<Line> = split(bytes).map(|text| Line::parse(text).ok()).collect::<Option<_>>()?;
    let first = lines.first()?.index;
    let counts_up = lines.iter().zip(first..).all(|(line, index)| line.index == index);
    counts_up.then_some(lines)
}
