//! The filters of a dataset: IV.A.2.l. They run in order when written, and backwards when read.

use std::io::Read as _;

use ecgkeep_format::{Cursor, Error, Kind as Fault, Place, Result};
use flate2::read::ZlibDecoder;

use super::checksum::fletcher32;

/// Filters of one dataset: the format allows 32, this layout needs three.
const MOST_FILTERS: u8 = 32;

/// A filter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Filter {
    Deflate,
    Shuffle,
    Fletcher32,
}

/// The filters of a pipeline message.
pub(super) fn read(cursor: &mut Cursor, place: &Place) -> Result<Vec<Filter>> {
    let (version, count) = (cursor.u8()?, cursor.u8()?);
    if !matches!(version, 1 | 2) || count > MOST_FILTERS {
        return Err(Error::malformed(place.clone(), format!("{count} filters, in version {version}")));
    }
    cursor.take(if version == 1 { 6 } else { 0 })?;
    let mut filters = Vec::new();
    for _ in 0..count {
        let number = cursor.u16()?;
        let name = if version == 1 || number >= 256 { cursor.u16()? } else { 0 };
        cursor.take(2)?;
        let values = usize::from(cursor.u16()?);
        let name = if version == 1 { usize::from(name).next_multiple_of(8) } else { usize::from(name) };
        cursor.take(name)?;
        cursor.take(values * 4)?;
        cursor.take(if version == 1 && values % 2 == 1 { 4 } else { 0 })?;
        filters.push(match number {
            1 => Filter::Deflate,
            2 => Filter::Shuffle,
            3 => Filter::Fletcher32,
            other => {
                let what =
                    format!("has filter {other}; 1 (deflate), 2 (shuffle) and 3 (fletcher32) are read");
                return Err(Error::new(Fault::Unsupported, what)
                    .at(place.clone())
                    .remedy("write it with one of these, for example with h5repack -f GZIP=6"));
            }
        });
    }
    Ok(filters)
}

/// The bytes of a chunk as they were before the filters, of which `mask` names those that were left out.
pub(super) fn undo(
    stored: &[u8],
    filters: &[Filter],
    mask: u32,
    element_bytes: usize,
    chunk_bytes: usize,
    place: &Place,
) -> Result<Vec<u8>> {
    let malformed = |what: String| Error::malformed(place.clone(), what);
    let mut bytes = stored.to_vec();
    for (number, filter) in filters.iter().enumerate().rev() {
        if mask >> number & 1 == 1 {
            continue;
        }
        match filter {
            Filter::Fletcher32 => {
                let at = bytes
                    .len()
                    .checked_sub(4)
                    .ok_or_else(|| malformed("a chunk without checksum".to_owned()))?;
                let stated: [u8; 4] = std::array::from_fn(|index| bytes[at + index]);
                bytes.truncate(at);
                if fletcher32(&bytes) != u32::from_le_bytes(stated) {
                    return Err(malformed(
                        "a chunk's checksum does not match: the file is damaged".to_owned(),
                    ));
                }
            }
            Filter::Deflate => {
                let mut inflated = Vec::with_capacity(chunk_bytes);
                // what a fletcher32 before it may have added
                let most = chunk_bytes as u64 + 4;
                ZlibDecoder::new(bytes.as_slice())
                    .take(most + 1)
                    .read_to_end(&mut inflated)
                    .map_err(|error| malformed("a chunk cannot be inflated".to_owned()).because(error))?;
                if inflated.len() as u64 > most {
                    return Err(malformed(format!("a chunk is inflated beyond its {chunk_bytes} bytes")));
                }
                bytes = inflated;
            }
            Filter::Shuffle => bytes = unshuffled(&bytes, element_bytes),
        }
    }
    if bytes.len() != chunk_bytes {
        return Err(malformed(format!("a chunk of {} bytes, not {chunk_bytes}", bytes.len())));
    }
    Ok(bytes)
}

/// The inverse of shuffle: first bytes of all elements, then the second ones ...; what is left over stands at the end.
fn unshuffled(bytes: &[u8], element_bytes: usize) -> Vec<u8> {
    let count = bytes.len() / element_bytes;
    let mut elements = bytes.to_vec();
    for (place, plane) in bytes[..count * element_bytes].chunks_exact(count.max(1)).enumerate() {
        for (element, byte) in plane.iter().enumerate() {
            elements[element * element_bytes + place] = *byte;
        }
    }
    elements
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shuffle_is_undone() {
        assert_eq!(unshuffled(&[1, 3, 5, 2, 4, 6, 7], 2), [1, 2, 3, 4, 5, 6, 7]);
        assert_eq!(unshuffled(&[], 2), [0u8; 0]);
        assert_eq!(unshuffled(&[9], 2), [9]);
    }

    #[test]
    fn a_chunk_that_is_inflated_beyond_its_length_is_refused() {
        // RFC 1950 and 1951: a stored block of five bytes
        let five = [0x78, 1, 1, 5, 0, 0xfa, 0xff, b'a', b'b', b'c', b'd', b'e', 0x05, 0xc8, 0x01, 0xf0];
        let undo = |bytes: usize| undo(&five, &[Filter::Deflate], 0, 1, bytes, &Place::file("x"));
        assert_eq!(undo(5).expect("five bytes"), b"abcde");
        assert!(undo(6).is_err() && undo(4).is_err() && undo(0).is_err());
    }
}
