//! One member's bytes, packed and unpacked.

use flate2::{Compress, Compression, Crc, Decompress, FlushCompress, FlushDecompress, Status};

use ecgkeep_format::{Error, Kind, Result};

use crate::constants::DEFLATE_LEVEL;
use crate::narrow::{Header, Packing};

/// Bytes that are inflated at a time.
const CHUNK_BYTES: usize = 32 << 10;

/// CRC-32 as ZIP uses it (APPNOTE 4.4.7).
pub(crate) fn crc(bytes: &[u8]) -> u32 {
    let mut crc = Crc::new();
    crc.update(bytes);
    crc.sum()
}

/// One raw deflate stream of the bytes, or `None` where it would not be shorter than they are.
pub(crate) fn deflate(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut packed = Vec::with_capacity(bytes.len().saturating_sub(1));
    let mut compress = Compress::new(Compression::new(DEFLATE_LEVEL), false);
    // The output is never grown: a stream that does not end within it is no shorter than the bytes.
    let status = compress.compress_vec(bytes, &mut packed, FlushCompress::Finish);
    let shrank = matches!(status, Ok(Status::StreamEnd)) && packed.len() < bytes.len();
    shrank.then_some(packed)
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
    let altered = |what: String| Error::new(Kind::Altered, what);
    let mut stream = Decompress::new(false);
    let mut piece = vec![0; CHUNK_BYTES];
    loop {
        let (taken, given) = (stream.total_in(), stream.total_out());
        let rest = usize::try_from(taken).map_or(&[][..], |taken| &packed[taken..]);
        let status = stream.decompress(rest, &mut piece, FlushDecompress::None).map_err(|error| {
            altered(format!("its deflate stream is broken at packed byte {taken}")).because(error)
        })?;
        let new = usize::try_from(stream.total_out() - given).unwrap_or(CHUNK_BYTES);
        if stream.total_out() > size {
            return Err(altered(format!("unpacks to more than the {size} bytes that the headers say")));
        }
        into(&piece[..new])?;
        match status {
            Status::StreamEnd => break,
            _ if new == 0 && stream.total_in() == taken => {
                return Err(altered(format!(
                    "its deflate stream does not end within its {} bytes",
                    packed.len()
                )));
            }
            _ => {}
        }
    }
    if stream.total_in() != packed.len() as u64 {
        let text = format!("its deflate stream ends after {} of {} bytes", stream.total_in(), packed.len());
        return Err(altered(text));
    }
    if stream.total_out() != size {
        let text = format!("unpacks to {} bytes, the headers say {size}", stream.total_out());
        return Err(altered(text));
    }
    Ok(())
}
