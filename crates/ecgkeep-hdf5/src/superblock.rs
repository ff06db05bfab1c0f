//! The first bytes of a file, looked at before the C library sees any: HDF5 File Format Specification 3.0, II.A.

use ecgkeep_format::{Cursor, Error, Kind, Note, Place, Result, Weight};

use crate::constants::{ABOUT, SIGNATURE, SIGNATURE_PLACES};

const CLAUSE: &str = "HDF5 File Format Specification 3.0, II.A";

/// Whether the file is as long as it says; what stands behind its end is noted.
/// # Errors
/// [`Kind::Malformed`] for what is no HDF5, [`Kind::Truncated`] for less than it says, [`Kind::Unsupported`] for a form
/// that nothing of this layout has.
pub(crate) fn check(file: &str, bytes: &[u8], notes: &mut Vec<Note>) -> Result<()> {
    if !bytes.starts_with(SIGNATURE) {
        let is_behind = |at: &&usize| bytes.get(**at..).is_some_and(|rest| rest.starts_with(SIGNATURE));
        return Err(match SIGNATURE_PLACES.iter().find(is_behind) {
            Some(at) => unsupported(file, format!("{at} bytes of something else in front (a user block)"))
                .remedy("take them off, for example with h5unjam"),
            None => Error::malformed(Place::file(file).byte(0), "no HDF5 file: its signature is missing")
                .clause(CLAUSE),
        });
    }
    let mut cursor = Cursor::new(file, bytes).in_part("superblock", CLAUSE);
    cursor.take(SIGNATURE.len())?;
    let version = cursor.u8()?;
    let (offset_bytes, base, end) = match version {
        0 | 1 => {
            cursor.take(4)?;
            let offset_bytes = cursor.u8()?;
            cursor.take(if version == 0 { 10 } else { 14 })?;
            let base = u64(&mut cursor)?;
            cursor.take(8)?;
            (offset_bytes, base, u64(&mut cursor)?)
        }
        2 | 3 => {
            let offset_bytes = cursor.u8()?;
            cursor.take(2)?;
            let base = u64(&mut cursor)?;
            cursor.take(8)?;
            (offset_bytes, base, u64(&mut cursor)?)
        }
        other => return Err(unsupported(file, format!("version {other} of the superblock"))),
    };
    if (offset_bytes, base) != (8, 0) {
        return Err(unsupported(file, format!("offsets of {offset_bytes} bytes from byte {base}")));
    }
    let length = bytes.len() as u64;
    if length < end {
        return Err(Error::new(Kind::Truncated, format!("needs {end} bytes, has {length}"))
            .at(Place::file(file).part("superblock"))
            .clause(CLAUSE)
            .remedy("get the whole file again"));
    }
    if length > end {
        let text = format!("{} bytes behind its end were not read", length - end);
        let place = Place::file(file).byte(end);
        notes.push(Note { clause: Some(CLAUSE), ..Note::new(Weight::Departure, place, text) });
    }
    Ok(())
}

fn unsupported(file: &str, what: String) -> Error {
    Error::new(Kind::Unsupported, what)
        .at(Place::file(file).part("superblock"))
        .clause(CLAUSE)
        .remedy(format!("write it again with a common HDF5 library ({} reads what these write)", ABOUT.id))
}

fn u64(cursor: &mut Cursor) -> Result<u64> {
    Ok(u64::from(cursor.u32()?) | u64::from(cursor.u32()?) << 32)
}
