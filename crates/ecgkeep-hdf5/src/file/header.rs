//! Object headers: IV.A. Both versions are read into one list of messages.

use std::collections::VecDeque;

use ecgkeep_format::{Cursor, Error, Place, Result};

use super::{File, checksum, expect_signature, number_of, u64_of, unsupported};

const CLAUSE: &str = "HDF5 File Format Specification 3.0, IV.A.1";

/// Messages of one object. A recording has some hundred attributes; a header that says more than this is no header.
const MOST_MESSAGES: usize = 1_000_000;
/// Blocks of one header.
const MOST_BLOCKS: usize = 100_000;

/// A message of a header.
#[derive(Clone)]
pub(super) struct Message<'a> {
    /// What it is: 0x01 dataspace, 0x03 datatype, 0x0c attribute ...
    pub(super) kind: u16,
    /// Its content.
    pub(super) body: Cursor<'a>,
}

/// Message types of IV.A.2.
pub(super) mod message {
    pub(in crate::file) const DATASPACE: u16 = 0x01;
    pub(in crate::file) const LINK_INFO: u16 = 0x02;
    pub(in crate::file) const DATATYPE: u16 = 0x03;
    pub(in crate::file) const LINK: u16 = 0x06;
    pub(in crate::file) const EXTERNAL_FILES: u16 = 0x07;
    pub(in crate::file) const LAYOUT: u16 = 0x08;
    pub(in crate::file) const FILTERS: u16 = 0x0b;
    pub(in crate::file) const ATTRIBUTE: u16 = 0x0c;
    pub(in crate::file) const CONTINUATION: u16 = 0x10;
    pub(in crate::file) const SYMBOL_TABLE: u16 = 0x11;
    pub(in crate::file) const ATTRIBUTE_INFO: u16 = 0x15;
}

/// The flag of a message that stands elsewhere, shared by several objects.
const SHARED: u8 = 0x02;

/// A group or dataset: the messages of its header.
pub(crate) struct Object<'a> {
    pub(super) file: &'a File<'a>,
    /// Its path, without a slash in front.
    pub(crate) path: String,
    /// Where it is.
    pub(crate) place: Place,
    pub(super) messages: Vec<Message<'a>>,
}

impl<'a> Object<'a> {
    /// The object whose header stands at an address.
    pub(super) fn at(file: &'a File<'a>, address: u64, path: &str) -> Result<Object<'a>> {
        let place = file.place(path);
        let mut object = Object { file, path: path.to_owned(), place, messages: Vec::new() };
        let mut cursor = file.cursor_from(address, path, CLAUSE)?;
        match cursor.clone().u8()? {
            1 => object.read_version_1(&mut cursor)?,
            b'O' => object.read_version_2(&mut cursor, address)?,
            other => return Err(cursor.malformed("the version of an object header", other, "1 or 2")),
        }
        Ok(object)
    }

    /// The one message of this kind.
    pub(super) fn message(&self, kind: u16) -> Option<Cursor<'a>> {
        self.messages.iter().find(|message| message.kind == kind).map(|message| message.body.clone())
    }

    fn read_version_1(&mut self, cursor: &mut Cursor<'a>) -> Result<()> {
        cursor.take(2)?;
        let count = cursor.u16()?;
        cursor.take(4)?;
        let length = cursor.u32()?;
        cursor.take(4)?;
        let mut blocks = VecDeque::from([cursor.part(usize::try_from(length).unwrap_or(usize::MAX))?]);
        let (mut left, mut read) = (usize::from(count), 0);
        while let Some(mut block) = blocks.pop_front() {
            read += 1;
            while left > 0 && block.left() >= 8 {
                left -= 1;
                let (kind, length, flags) = (block.u16()?, block.u16()?, block.u8()?);
                block.take(3)?;
                let body = block.part(usize::from(length))?;
                self.add(kind, flags, body, &mut blocks, 0)?;
            }
            self.check_blocks(read + blocks.len())?;
        }
        Ok(())
    }

    fn read_version_2(&mut self, cursor: &mut Cursor<'a>, address: u64) -> Result<()> {
        let from = cursor.clone();
        expect_signature(cursor, b"OHDR", "object header")?;
        let version = cursor.u8()?;
        if version != 2 {
            return Err(unsupported(self.place.clone(), format!("version {version} of an object header")));
        }
        let flags = cursor.u8()?;
        if flags & 0x20 != 0 {
            cursor.take(16)?;
        }
        if flags & 0x10 != 0 {
            cursor.take(4)?;
        }
        let length = number_of(cursor, 1 << (flags & 3))?;
        let length = usize::try_from(length).unwrap_or(usize::MAX);
        let block = cursor.part(length)?;
        let bytes = from.clone().take(cursor.position())?;
        checksum::check(bytes, cursor.u32()?, &self.place.clone().byte(address))?;
        // with an order of creation each message has two bytes more
        let more = if flags & 0x04 == 0 { 0 } else { 2 };
        let mut blocks = VecDeque::from([block]);
        let mut read = 0;
        while let Some(mut block) = blocks.pop_front() {
            read += 1;
            while block.left() >= 4 + more {
                let (kind, length, flags) = (u16::from(block.u8()?), block.u16()?, block.u8()?);
                block.take(more)?;
                let body = block.part(usize::from(length))?;
                self.add(kind, flags, body, &mut blocks, 8)?;
            }
            self.check_blocks(read + blocks.len())?;
        }
        Ok(())
    }

    /// Takes a message; one that names a further block of messages adds it. In version 2 a block has a signature in front
    /// and a checksum behind, `framing` bytes together.
    fn add(
        &mut self,
        kind: u16,
        flags: u8,
        mut body: Cursor<'a>,
        blocks: &mut VecDeque<Cursor<'a>>,
        framing: usize,
    ) -> Result<()> {
        if kind == message::CONTINUATION {
            let (address, length) = (u64_of(&mut body)?, u64_of(&mut body)?);
            let mut block = self.file.cursor(address, length, &self.path, CLAUSE)?;
            if framing > 0 {
                let whole = block.clone().rest();
                let Some(inner) = whole.len().checked_sub(framing) else {
                    return Err(Error::malformed(block.place(), "a block of messages that is too short"));
                };
                expect_signature(&mut block, b"OCHK", "block of messages")?;
                let messages = block.part(inner)?;
                let stated = block.u32()?;
                checksum::check(&whole[..inner + 4], stated, &messages.place())?;
                block = messages;
            }
            blocks.push_back(block);
            return Ok(());
        }
        let matters = matches!(
            kind,
            message::DATASPACE | message::DATATYPE | message::FILTERS | message::LAYOUT | message::ATTRIBUTE
        );
        if flags & SHARED != 0 && matters {
            return Err(unsupported(body.place(), "a type or shape that is stored elsewhere and shared"));
        }
        if self.messages.len() >= MOST_MESSAGES {
            return Err(Error::malformed(self.place.clone(), format!("more than {MOST_MESSAGES} messages")));
        }
        self.messages.push(Message { kind, body });
        Ok(())
    }

    fn check_blocks(&self, blocks: usize) -> Result<()> {
        if blocks <= MOST_BLOCKS {
            return Ok(());
        }
        Err(Error::malformed(self.place.clone(), format!("more than {MOST_BLOCKS} blocks of messages")))
    }
}
