//! What the reader carries along: the file, its limits, and what it noticed.

use ecgkeep_format::{Cursor, Limits, Note, Place, Weight};

use crate::constants::{SECTION_HEADER_BYTES, clause};

/// One file while it is read.
pub(crate) struct Reading<'a> {
    /// The file's name.
    pub(crate) file: &'a str,
    /// All its bytes.
    pub(crate) bytes: &'a [u8],
    /// What may be taken.
    pub(crate) limits: &'a Limits,
    /// What was noticed.
    pub(crate) notes: Vec<Note>,
}

/// One section of the record, its header read.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Section<'a> {
    /// The section's number.
    pub(crate) number: u16,
    /// The section's version, times ten.
    pub(crate) version: u8,
    /// The byte of the file at which its header begins.
    pub(crate) start: usize,
    /// The bytes after the header; a pad byte may be the last.
    pub(crate) body: &'a [u8],
    /// Whether all its bytes are there.
    pub(crate) is_whole: bool,
    /// Whether its checksum is right.
    pub(crate) is_verified: bool,
}

impl Section<'_> {
    /// The byte of the file at which the body begins.
    pub(crate) fn body_start(&self) -> usize {
        self.start + SECTION_HEADER_BYTES
    }
}

impl<'a> Reading<'a> {
    /// Notes something about a section at a byte of the file.
    pub(crate) fn note(&mut self, weight: Weight, section: u16, byte: usize, text: impl Into<String>) {
        let place = Place::file(self.file).part(format!("section {section}")).byte(byte as u64);
        self.notes.push(Note { clause: Some(clause::of(section)), ..Note::new(weight, place, text) });
    }

    /// Notes something about the record as a whole.
    pub(crate) fn note_record(&mut self, weight: Weight, byte: usize, text: impl Into<String>) {
        let place = Place::file(self.file).byte(byte as u64);
        self.notes.push(Note { clause: Some(clause::RECORD), ..Note::new(weight, place, text) });
    }

    /// A cursor at the start of a section's body.
    pub(crate) fn cursor(&self, section: &Section<'a>) -> Cursor<'a> {
        self.cursor_at(section.number, section.body_start(), section.body.len())
    }

    /// A cursor over `length` bytes of a section, from a byte of the file on; fewer where the file ends before.
    pub(crate) fn cursor_at(&self, section: u16, byte: usize, length: usize) -> Cursor<'a> {
        let start = byte.min(self.bytes.len());
        let end = start.saturating_add(length).min(self.bytes.len());
        let mut whole = Cursor::new(self.file, &self.bytes[..end])
            .in_part(format!("section {section}"), clause::of(section));
        whole
            .take(start)
            .and_then(|_| whole.part(end - start))
            .expect("both ends lie within the bytes by the two lines above")
    }
}
