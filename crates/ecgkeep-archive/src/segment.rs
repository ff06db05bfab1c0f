//! One segment of the journal, read piece by piece: it can be 64 MiB long, and nothing needs all of it at once.

use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::fault::{cannot_read, shown};
use crate::layout::{self, SEGMENT_LINES};
use crate::line::{LONGEST_LINE, Line};
use crate::storage::Storage;

/// Bytes read at a time: some three hundred lines.
const PIECE: usize = 1 << 16;

/// The longest line and its line feed.
const LONGEST: usize = LONGEST_LINE + 1;

/// A segment, and how far it has been read.
pub(crate) struct Segment<'a> {
    storage: &'a dyn Storage,
    folder: &'a Path,
    path: PathBuf,
    /// Where in the file the next piece begins.
    offset: u64,
    piece: Vec<u8>,
    /// How much of the piece was given out.
    given: usize,
}

impl<'a> Segment<'a> {
    /// The segment from an offset on, where a line begins.
    pub fn from_offset(storage: &'a dyn Storage, folder: &'a Path, number: u64, offset: u64) -> Segment<'a> {
        let path = layout::segment(number);
        Segment { storage, folder, path, offset, piece: Vec::new(), given: 0 }
    }

    /// The segment from the line `index` on. What is left is halved until it is a piece: each line begins with its
    /// index. Whether the line found there is that line is for [`Segment::parse`] to say.
    /// # Errors
    /// [`Kind::Io`]; [`Kind::Altered`] where the segment is too short.
    pub fn from_line(storage: &'a dyn Storage, folder: &'a Path, index: u64) -> Result<Segment<'a>> {
        let number = index / SEGMENT_LINES;
        let mut segment = Segment::from_offset(storage, folder, number, 0);
        let size = storage.size(&folder.join(&segment.path));
        let size = size.map_err(|error| cannot_read(&segment.path, error))?.unwrap_or(0);
        let (mut from, mut first, mut to) = (0, number * SEGMENT_LINES, size);
        while to - from > PIECE as u64 {
            let middle = from + (to - from) / 2;
            match segment.first_line_after(middle)? {
                Some((offset, found)) if (first..=index).contains(&found) => (from, first) = (offset, found),
                // It lies behind, or is no line: what is in front of it is counted.
                _ => to = middle,
            }
        }
        segment.offset = from;
        for _ in first..index {
            segment.text()?;
        }
        Ok(segment)
    }

    /// The next line without its line feed. What has none is no line.
    /// # Errors
    /// [`Kind::Io`]; [`Kind::Altered`] where the segment ends before it.
    pub fn text(&mut self) -> Result<&[u8]> {
        let length = loop {
            match end_of_line(&self.piece[self.given..]) {
                Some(length) => break length,
                None if self.read_on()? => {}
                None => return Err(self.shorter()),
            }
        };
        let start = self.given;
        self.given += length + 1;
        Ok(&self.piece[start..start + length])
    }

    /// The next line, which is the line `index`.
    /// # Errors
    /// As [`Segment::text`]; [`Kind::Malformed`].
    pub fn parse(&mut self, index: u64) -> Result<Line> {
        let name = shown(&self.path);
        Line::parse_at(self.text()?, index, &name)
    }

    /// Reads a piece more behind what was not given out yet; whether there was one.
    fn read_on(&mut self) -> Result<bool> {
        self.piece.drain(..self.given);
        self.given = 0;
        if self.piece.len() > LONGEST {
            return Err(Error::new(Kind::Altered, "a line of the journal is longer than 1,024 bytes")
                .at(Place::file(shown(&self.path)))
                .remedy("`archive verify` says more; bring back the journal from a copy"));
        }
        let more = self.read_at(self.offset, PIECE)?;
        self.offset += more.len() as u64;
        self.piece.extend_from_slice(&more);
        Ok(!more.is_empty())
    }

    /// Where the first line that begins behind `offset` begins, and the index that it says it has; `None` where there
    /// is none that says one.
    fn first_line_after(&self, offset: u64) -> Result<Option<(u64, u64)>> {
        let bytes = self.read_at(offset, 2 * LONGEST)?;
        let Some(start) = end_of_line(&bytes).map(|end| end + 1) else { return Ok(None) };
        Ok(index_of(&bytes[start..]).map(|index| (offset + start as u64, index)))
    }

    fn read_at(&self, offset: u64, length: usize) -> Result<Vec<u8>> {
        let bytes = self.storage.read_part(&self.folder.join(&self.path), offset, length);
        bytes.map_err(|error| cannot_read(&self.path, error))
    }

    fn shorter(&self) -> Error {
        Error::new(Kind::Altered, "the journal is shorter than its newest checkpoint says")
            .at(Place::file(shown(&self.path)))
            .remedy("`archive verify` says more; bring back the journal from a copy")
    }
}

fn end_of_line(bytes: &[u8]) -> Option<usize> {
    bytes.iter().position(|byte| *byte == b'\n')
}

/// The index that a line begins with: `{"i":7,`
fn index_of(line: &[u8]) -> Option<u64> {
    let rest = line.strip_prefix(br#"{"i":"#)?;
    let digits = &rest[..rest.iter().position(|byte| *byte == b',')?];
    std::str::from_utf8(digits).ok()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::{About, Event};
    use crate::storage::{Disk, Readers};
    use crate::word::Moment;

    /// A segment of so many lines, and where each begins.
    fn written(folder: &Path, count: u64) -> (PathBuf, Vec<u8>, Vec<usize>) {
        let at: Moment = "2026-03-02T09:30:00Z".parse().unwrap();
        let about = |index: u64| About { by: format!("reader-{index}").parse().ok(), ..About::default() };
        let (mut bytes, mut begin) = (Vec::new(), Vec::new());
        for index in 0..count {
            begin.push(bytes.len());
            let about = About { key: "3f9c0000000000000000000000000a01".parse().ok(), ..about(index) };
            let about = About { authority: "court".parse().ok(), ..about };
            bytes.extend_from_slice(Line { index, at, event: Event::Held, about }.text().as_bytes());
            bytes.push(b'\n');
        }
        let path = folder.join(layout::segment(0));
        Disk.make_folder(&folder.join(layout::JOURNAL)).unwrap();
        (path, bytes, begin)
    }

    fn line(folder: &Path, index: u64) -> Result<Line> {
        Segment::from_line(&Disk, folder, index)?.parse(index)
    }

    #[test]
    fn every_line_is_found_whatever_stands_behind_the_last() {
        let folder = tempfile::tempdir().unwrap();
        let (path, bytes, begin) = written(folder.path(), 3000);
        assert!(bytes.len() > 4 * PIECE);
        // Lines of a commit that was broken off, pages that never reached the medium, half a line.
        let uncommitted = bytes[begin[2000]..].to_vec();
        for (name, behind) in [
            ("nothing", Vec::new()),
            ("lines", uncommitted),
            ("zeros", vec![0; 5 * PIECE]),
            ("half a line", b"{\"i\":3000,\"t\":".to_vec()),
        ] {
            Disk.create(&path, &[bytes.as_slice(), &behind].concat(), Readers::All).unwrap();
            for index in (0..3000).step_by(7).chain([2999]) {
                let by = line(folder.path(), index).unwrap().about.by.unwrap();
                assert_eq!(by.as_str(), format!("reader-{index}"), "{name} behind");
            }
            Disk.remove(&path).unwrap();
        }
    }

    #[test]
    fn damage_hides_no_line_but_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let (path, bytes, begin) = written(folder.path(), 3000);
        for damaged in [0, 1, 1499, 1500, 1501, 2250, 2999_usize] {
            let mut bytes = bytes.clone();
            bytes[begin[damaged]..][..9].fill(b'#');
            Disk.create(&path, &bytes, Readers::All).unwrap();
            for index in (0..3000).step_by(50).map(|n| n.min(2999)).chain([damaged, 2999]) {
                let found = line(folder.path(), index as u64);
                assert_eq!(found.is_ok(), index != damaged, "line {index}, damaged {damaged}");
            }
            Disk.remove(&path).unwrap();
        }
    }

    #[test]
    fn what_is_too_short_or_has_a_line_without_end_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let (path, bytes, _) = written(folder.path(), 3000);
        Disk.create(&path, &bytes, Readers::All).unwrap();
        assert_eq!(line(folder.path(), 3000).unwrap_err().kind(), Kind::Altered);
        Disk.remove(&path).unwrap();
        Disk.create(&path, &vec![b'x'; 8 * PIECE], Readers::All).unwrap();
        let error = line(folder.path(), 5).unwrap_err();
        assert_eq!(error.kind(), Kind::Altered);
        assert!(error.to_string().contains("longer than 1,024 bytes"), "{error}");
    }
}
