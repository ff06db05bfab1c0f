//! The HDF5 file format, read without the C library: HDF5 File Format Specification, version 3.0.
//!
//! Only what files of this layout need: superblocks 0 to 3, object headers 1 and 2, groups by symbol table or link message,
//! attributes in the header, compact, contiguous and chunked data, deflate, shuffle and fletcher32. Everything is bounded by
//! the bytes there are, addresses are checked before they are followed, and checksums before they are believed. What newer
//! forms of the file may have besides (dense storage, other chunk indexes) is refused with what to do.

mod attribute;
mod checksum;
mod chunks;
mod data;
mod filters;
mod header;
mod heap;
mod kind;
mod links;
mod space;
mod superblock;

use ecgkeep_format::{Cursor, Error, Kind as Fault, Note, Place, Result};

pub(crate) use attribute::Attribute;
pub(crate) use data::{Dataset, Values, floating, whole};
pub(crate) use header::Object;
pub(crate) use kind::Kind;
pub(crate) use links::Link;
pub(crate) use space::Space;

/// The address that stands for none.
const UNDEFINED: u64 = u64::MAX;

/// A file, its superblock checked.
pub(crate) struct File<'a> {
    name: &'a str,
    bytes: &'a [u8],
    root: u64,
}

impl<'a> File<'a> {
    /// Looks at the superblock.
    /// # Errors
    /// [`Fault::Malformed`] for what is no HDF5, [`Fault::Truncated`] for less than it says, [`Fault::Unsupported`] for
    /// a form that is not read.
    pub(crate) fn open(name: &'a str, bytes: &'a [u8], notes: &mut Vec<Note>) -> Result<File<'a>> {
        Ok(File { name, bytes, root: superblock::root(name, bytes, notes)? })
    }

    /// The root group.
    pub(crate) fn root(&self) -> Result<Object<'_>> {
        Object::at(self, self.root, "")
    }

    /// Bytes of the file.
    pub(crate) fn length(&self) -> u64 {
        self.bytes.len() as u64
    }

    /// A place in the file.
    pub(crate) fn place(&self, path: &str) -> Place {
        let place = Place::file(self.name);
        if path.is_empty() { place } else { place.part(path) }
    }

    /// A cursor over so many bytes from an address on.
    fn cursor(&self, address: u64, length: u64, path: &str, clause: &'static str) -> Result<Cursor<'a>> {
        let mut cursor = Cursor::new(self.name, self.bytes).in_part(path, clause);
        let end = address.checked_add(length).filter(|end| *end <= self.length());
        let (Some(_), Ok(before), Ok(length)) = (end, usize::try_from(address), usize::try_from(length))
        else {
            let what =
                format!("points to {length} bytes at byte {address}, the file has {}", self.bytes.len());
            return Err(Error::malformed(self.place(path), what).clause(clause));
        };
        cursor.take(before)?;
        cursor.part(length)
    }

    /// A cursor over everything from an address on.
    fn cursor_from(&self, address: u64, path: &str, clause: &'static str) -> Result<Cursor<'a>> {
        self.cursor(address, self.length().saturating_sub(address), path, clause)
    }
}

/// What is allowed, and not read here.
fn unsupported(place: Place, what: impl Into<String>) -> Error {
    Error::new(Fault::Unsupported, what)
        .at(place)
        .remedy("write the file again in the form that HDF5 libraries write by default (h5py without libver; h5repack)")
}

/// A number of 64 bits.
fn u64_of(cursor: &mut Cursor) -> Result<u64> {
    Ok(u64::from(cursor.u32()?) | u64::from(cursor.u32()?) << 32)
}

/// A number of so many bytes, at most 8.
fn number_of(cursor: &mut Cursor, bytes: usize) -> Result<u64> {
    Ok(cursor.take(bytes)?.iter().rev().fold(0, |number, byte| number << 8 | u64::from(*byte)))
}

/// A signature of four bytes.
fn expect_signature(cursor: &mut Cursor, signature: &[u8; 4], what: &str) -> Result<()> {
    let place = cursor.place();
    if cursor.take(4)? == signature {
        return Ok(());
    }
    Err(Error::malformed(place, format!("no {what}: its signature is missing")))
}
