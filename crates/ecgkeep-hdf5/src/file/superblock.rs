//! The first bytes: II.A.

use ecgkeep_format::{Cursor, Error, Kind, Note, Place, Result, Weight};

use super::{checksum, u64_of, unsupported};
use crate::constants::{SIGNATURE, SIGNATURE_PLACES};

const CLAUSE: &str = "HDF5 File Format Specification 3.0, II.A";

/// The address of the root group's header; what stands behind the end of the file is noted.
pub(super) fn root(file: &str, bytes: &[u8], notes: &mut Vec<Note>) -> Result<u64> {
    if !bytes.starts_with(SIGNATURE) {
        let is_behind = |at: &&usize| bytes.get(**at..).is_some_and(|rest| rest.starts_with(SIGNATURE));
        return Err(match SIGNATURE_PLACES.iter().find(is_behind) {
            Some(at) => {
                Error::new(Kind::Unsupported, format!("{at} bytes of something else in front (a user block)"))
                    .at(Place::file(file))
                    .remedy("take them off, for example with h5unjam")
            }
            None => Error::malformed(Place::file(file).byte(0), "no HDF5 file: its signature is missing")
                .clause(CLAUSE),
        });
    }
    let place = Place::file(file).part("superblock");
    let mut cursor = Cursor::new(file, bytes).in_part("superblock", CLAUSE);
    cursor.take(SIGNATURE.len())?;
    let version = cursor.u8()?;
    let (sizes, base, end, root) = match version {
        0 | 1 => {
            cursor.take(4)?;
            let sizes = (cursor.u8()?, cursor.u8()?);
            cursor.take(if version == 0 { 9 } else { 13 })?;
            let base = u64_of(&mut cursor)?;
            cursor.take(8)?;
            let end = u64_of(&mut cursor)?;
            cursor.take(16)?;
            (sizes, base, end, u64_of(&mut cursor)?)
        }
        2 | 3 => {
            let sizes = (cursor.u8()?, cursor.u8()?);
            cursor.take(1)?;
            let base = u64_of(&mut cursor)?;
            cursor.take(8)?;
            let (end, root) = (u64_of(&mut cursor)?, u64_of(&mut cursor)?);
            checksum::check(&bytes[..cursor.position()], cursor.u32()?, &place)?;
            (sizes, base, end, root)
        }
        other => return Err(unsupported(place, format!("version {other} of the superblock"))),
    };
    if sizes != (8, 8) || base != 0 {
        return Err(unsupported(place, format!("addresses of {} bytes from byte {base}", sizes.0)));
    }
    let length = bytes.len() as u64;
    if length < end {
        return Err(Error::new(Kind::Truncated, format!("needs {end} bytes, has {length}"))
            .at(place)
            .clause(CLAUSE)
            .remedy("get the whole file again"));
    }
    if length > end {
        let text = format!("{} bytes behind its end were not read", length - end);
        let place = Place::file(file).byte(end);
        notes.push(Note { clause: Some(CLAUSE), ..Note::new(Weight::Departure, place, text) });
    }
    Ok(root)
}
