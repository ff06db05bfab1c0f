//! One member's bytes, packed and unpacked.

use flate2::{Compress, Compression, Crc, Decompress, FlushCompress, FlushDecompress, Status};

use ecgkeep_format::{Error, Kind, Result};

use crate::constants::{CHUNK_BYTES, DEFLATE_LEVEL};
use crate::narrow::{Header, Packing};

/// CRC-32 as ZIP uses it (APPNOTE 4.4.7).
pub(crate) fn crc(bytes: &[u8]) -> u32 {
    let mut crc = Crc::new();
    crc.update(bytes);
    crc.sum()
}

/// One raw deflate stream of the bytes, whose CRC-32 is `crc`: without slack, or `None` where there is none that
/// is shorter than they are.
pub(crate) fn deflate(bytes: &[u8], crc: u32) -> Option<Vec<u8>> {
    let mut packed = Vec::with_capacity(bytes.len().saturating_sub(1));
    let mut compress = Compress::new(Compression::new(DEFLATE_LEVEL), false);
    // The output is never grown: a stream that does not end within it is no shorter than the bytes.
    let status = compress.compress_vec(bytes, &mut packed, FlushCompress::Finish);
    let shrank = matches!(status, Ok(Status::StreamEnd)) && packed.len() < bytes.len();
    (shrank && !has_slack(&packed, bytes.len() as u64, crc)).then_some(packed)
}

/// Whether the last byte of a deflate stream has a bit that could be cleared for the content to be `crc`'s.
///
/// The last code seldom ends with the last byte, and inflating ignores the bits after it (RFC 1951, 3.2.3): only
/// this tells that one of them was set. The writer leaves them clear, and stores the rare member whose last code
/// can itself be read in two ways, so in a bundle the answer is no.
pub(crate) fn has_slack(packed: &[u8], size: u64, crc: u32) -> bool {
    let Some((&last, before)) = packed.split_last() else { return false };
    let Some(highest) = last.checked_ilog2() else { return false };
    let mut sum = Crc::new();
    let mut take = |piece: &[u8]| {
        sum.update(piece);
        Ok(())
    };
    let ends = inflate_parts(&[before, &[last & !(1 << highest)]], size, &mut take).is_ok();
    ends && sum.sum() == crc
}

/// Pours the unpacked bytes of a member into `into`, piece by piece.
/// # Errors
/// [`Kind::Altered`] for a broken stream, one that does not end exactly with `packed`, another size or another
/// CRC-32 than the header says; what `into` answers.
pub(crate) fn unpack(
    header: &Header,
    packed: &[u8],
    into: &mut dyn FnMut(&[u8]) -> Result<()>,
) -> Result<()> {
    let mut sum = Crc::new();
    match header.packing {
        Packing::Stored => {
            sum.update(packed);
            into(packed)?;
        }
        Packing::Deflated => inflate(packed, u64::from(header.size), &mut |piece| {
            sum.update(piece);
            into(piece)
        })?,
    }
    if sum.sum() != header.crc {
        let text = format!("its CRC-32 is {:08x}, the headers say {:08x}", sum.sum(), header.crc);
        return Err(Error::new(Kind::Altered, text));
    }
    Ok(())
}

/// Inflates a stream that must end with `packed` and hold `size` bytes; stops as soon as it holds more.
fn inflate(packed: &[u8], size: u64, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
    inflate_parts(&[packed], size, into)
}

/// [`inflate`] of a stream that lies in several places.
fn inflate_parts(parts: &[&[u8]], size: u64, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
    let altered = |what: String| Err(Error::new(Kind::Altered, what));
    let packed: usize = parts.iter().map(|part| part.len()).sum();
    let mut stream = Decompress::new(false);
    let mut piece = vec![0; CHUNK_BYTES];
    let mut has_ended = false;
    for part in parts {
        let mut rest = *part;
        loop {
            let (taken, given) = (stream.total_in(), stream.total_out());
            let status = stream.decompress(rest, &mut piece, FlushDecompress::None).map_err(|_| {
                Error::new(Kind::Altered, format!("its deflate stream is broken after packed byte {taken}"))
            })?;
            let new = usize::try_from(stream.total_out() - given).unwrap_or(CHUNK_BYTES);
            let used = usize::try_from(stream.total_in() - taken).unwrap_or(rest.len());
            if stream.total_out() > size {
                return altered(format!("unpacks to more than the {size} bytes that the headers say"));
            }
            into(&piece[..new])?;
            rest = &rest[used..];
            has_ended = status == Status::StreamEnd;
            if has_ended || (new == 0 && used == 0) {
                break;
            }
        }
        if has_ended {
            break;
        }
    }
    if !has_ended {
        return altered(format!("its deflate stream does not end within its {packed} bytes"));
    }
    if stream.total_in() != packed as u64 {
        return altered(format!("its deflate stream ends after {} of {packed} bytes", stream.total_in()));
    }
    if stream.total_out() != size {
        return altered(format!("unpacks to {} bytes, the headers say {size}", stream.total_out()));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_bit_after_the_last_code_is_slack() {
        let bytes = [b'x'; 300];
        let packed = deflate(&bytes, crc(&bytes)).expect("300 times the same byte shrinks");
        assert!(!has_slack(&packed, 300, crc(&bytes)));
        let mut slack = 0;
        for bit in 0..8 {
            let mut flipped = packed.clone();
            *flipped.last_mut().expect("it is not empty") ^= 1 << bit;
            let is_same = inflate(&flipped, 300, &mut |_| Ok(())).is_ok();
            assert!(!is_same || has_slack(&flipped, 300, crc(&bytes)), "bit {bit}");
            slack += u32::from(is_same);
        }
        assert!(slack > 0);
    }

    #[test]
    fn a_stored_block_has_no_slack() {
        let packed = [1, 3, 0, 0xFC, 0xFF, b'a', b'b', b'c'];
        assert!(!has_slack(&packed, 3, crc(b"abc")));
    }
}
