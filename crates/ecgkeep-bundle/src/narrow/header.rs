//! What the local header and the directory entry of a member say, field by field.

use ecgkeep_format::{Cursor, Error, Kind, Result};

use crate::constants::{
    ATTRIBUTES, DATE, DEFLATED, DIRECTORY_SIGNATURE, FLAGS, LOCAL_SIGNATURE, MADE_BY, STORED, TIME,
    VERSION_NEEDED,
};

/// How a member's bytes are packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Packing {
    /// As they are.
    Stored,
    /// One raw deflate stream (RFC 1951).
    Deflated,
}

/// What both headers of a member must say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Header {
    /// The whole path, top directory first. As read, not yet checked.
    pub(crate) name: Vec<u8>,
    /// How it is packed.
    pub(crate) packing: Packing,
    /// CRC-32 of the unpacked bytes.
    pub(crate) crc: u32,
    /// Packed bytes.
    pub(crate) packed: u32,
    /// Unpacked bytes.
    pub(crate) size: u32,
}

impl Header {
    /// Reads a local header (APPNOTE 4.3.7).
    pub(crate) fn read_local(cursor: &mut Cursor) -> Result<Header> {
        signature(cursor, LOCAL_SIGNATURE, "a local header")?;
        let (mut header, name_bytes) = read_common(cursor)?;
        header.name = cursor.take(name_bytes)?.to_vec();
        Ok(header)
    }

    /// Writes a local header.
    pub(crate) fn write_local(&self, out: &mut Vec<u8>) {
        out.extend(LOCAL_SIGNATURE.to_le_bytes());
        self.write_common(out);
        out.extend(&self.name);
    }

    /// Reads a directory entry and the offset of the local header it points to (APPNOTE 4.3.12).
    pub(crate) fn read_directory(cursor: &mut Cursor) -> Result<(Header, u32)> {
        signature(cursor, DIRECTORY_SIGNATURE, "a directory entry")?;
        fixed(cursor, "version made by", MADE_BY)?;
        let (mut header, name_bytes) = read_common(cursor)?;
        fixed(cursor, "length of the comment", 0)?;
        fixed(cursor, "disk", 0)?;
        fixed(cursor, "internal attributes", 0)?;
        fixed_32(cursor, "external attributes", ATTRIBUTES)?;
        let offset = cursor.u32()?;
        header.name = cursor.take(name_bytes)?.to_vec();
        Ok((header, offset))
    }

    /// Writes a directory entry that points to the local header at `offset`.
    pub(crate) fn write_directory(&self, offset: u32, out: &mut Vec<u8>) {
        out.extend(DIRECTORY_SIGNATURE.to_le_bytes());
        out.extend(MADE_BY.to_le_bytes());
        self.write_common(out);
        for nothing in [0_u16, 0, 0] {
            out.extend(nothing.to_le_bytes()); // comment, disk, internal attributes
        }
        out.extend(ATTRIBUTES.to_le_bytes());
        out.extend(offset.to_le_bytes());
        out.extend(&self.name);
    }

    /// The 26 bytes from the version to the length of the extra field, which both headers have.
    fn write_common(&self, out: &mut Vec<u8>) {
        let method = match self.packing {
            Packing::Stored => STORED,
            Packing::Deflated => DEFLATED,
        };
        for number in [VERSION_NEEDED, FLAGS, method, TIME, DATE] {
            out.extend(number.to_le_bytes());
        }
        for number in [self.crc, self.packed, self.size] {
            out.extend(number.to_le_bytes());
        }
        let name_bytes = u16::try_from(self.name.len()).expect("a checked path has at most 200 bytes");
        for number in [name_bytes, 0] {
            out.extend(number.to_le_bytes());
        }
    }
}

/// The 26 bytes that both headers have, and the length of the name that follows.
fn read_common(cursor: &mut Cursor) -> Result<(Header, usize)> {
    fixed(cursor, "version needed to extract", VERSION_NEEDED)?;
    fixed(cursor, "flags", FLAGS)?;
    let at = cursor.position();
    let packing = match cursor.u16()? {
        STORED => Packing::Stored,
        DEFLATED => Packing::Deflated,
        other => return Err(wrong(cursor, at, "compression method", other.into(), "0 or 8")),
    };
    fixed(cursor, "time", TIME)?;
    fixed(cursor, "date", DATE)?;
    let (crc, packed, size) = (cursor.u32()?, cursor.u32()?, cursor.u32()?);
    let name_bytes = usize::from(cursor.u16()?);
    fixed(cursor, "length of the extra field", 0)?;
    Ok((Header { name: Vec::new(), packing, crc, packed, size }, name_bytes))
}

/// The four bytes that start a record.
pub(crate) fn signature(cursor: &mut Cursor, expected: u32, what: &str) -> Result<()> {
    let at = cursor.position();
    let found = cursor.u32()?;
    if found == expected {
        return Ok(());
    }
    Err(wrong(cursor, at, &format!("the signature of {what}"), found, &format!("{expected:#010x}")))
}

/// A 16-bit field that has one value in every bundle.
pub(crate) fn fixed(cursor: &mut Cursor, what: &str, expected: u16) -> Result<()> {
    let at = cursor.position();
    let found = cursor.u16()?;
    if found == expected {
        return Ok(());
    }
    Err(wrong(cursor, at, what, found.into(), &format!("{expected:#06x}")))
}

fn fixed_32(cursor: &mut Cursor, what: &str, expected: u32) -> Result<()> {
    let at = cursor.position();
    let found = cursor.u32()?;
    if found == expected {
        return Ok(());
    }
    Err(wrong(cursor, at, what, found, &format!("{expected:#010x}")))
}

/// [`Kind::Malformed`] at a field that was just read from position `at` of the cursor.
fn wrong(cursor: &Cursor, at: usize, what: &str, found: u32, expected: &str) -> Error {
    let place = cursor.place();
    let back = (cursor.position() - at) as u64;
    let byte = place.byte.map_or(0, |byte| byte - back);
    Error::new(Kind::Malformed, format!("{what} is {found:#x}, a bundle has {expected}")).at(place.byte(byte))
}
