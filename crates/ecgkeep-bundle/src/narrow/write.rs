//! Writing a ZIP under the narrow grammar.

use ecgkeep_format::{Error, Kind, Place, Result};

use super::header::{Header, Packing};
use crate::constants::{END_SIGNATURE, MAX_MEMBER_BYTES, MAX_RATIO, MAX_TOTAL_BYTES, RATIO_FREE_BYTES};
use crate::stream;

/// A ZIP being written: members one after another, then [`Writer::finish`].
#[derive(Default)]
pub(crate) struct Writer {
    out: Vec<u8>,
    directory: Vec<u8>,
    count: u16,
    total: u64,
}

impl Writer {
    /// Adds a member under its whole path, which is checked already.
    /// # Errors
    /// [`Kind::Limit`] for more bytes than a reader would take.
    pub(crate) fn add(&mut self, path: &str, bytes: &[u8]) -> Result<()> {
        let size = bytes.len() as u64;
        self.total += size;
        if size > MAX_MEMBER_BYTES || self.total > MAX_TOTAL_BYTES {
            let text = format!(
                "{size} bytes, {} with the members before it; the limits are {MAX_MEMBER_BYTES} and {MAX_TOTAL_BYTES}",
                self.total
            );
            return Err(Error::new(Kind::Limit, text).at(Place::file(path)));
        }
        let crc = stream::crc(bytes);
        let deflated = stream::deflate(bytes, crc).filter(|packed| {
            size <= RATIO_FREE_BYTES || size <= (packed.len() as u64).saturating_mul(MAX_RATIO)
        });
        let (packing, packed) = match &deflated {
            Some(packed) => (Packing::Deflated, packed.as_slice()),
            None => (Packing::Stored, bytes),
        };
        let offset = small(self.out.len());
        let header = Header {
            name: path.as_bytes().to_vec(),
            packing,
            crc,
            packed: small(packed.len()),
            size: small(bytes.len()),
        };
        header.write_local(&mut self.out);
        self.out.extend_from_slice(packed);
        header.write_directory(offset, &mut self.directory);
        self.count += 1;
        Ok(())
    }

    /// The directory and the end record after the last member.
    pub(crate) fn finish(mut self) -> Vec<u8> {
        let directory = small(self.out.len());
        let directory_bytes = small(self.directory.len());
        self.out.append(&mut self.directory);
        self.out.extend(END_SIGNATURE.to_le_bytes());
        for number in [0, 0, self.count, self.count] {
            self.out.extend(number.to_le_bytes());
        }
        self.out.extend(directory_bytes.to_le_bytes());
        self.out.extend(directory.to_le_bytes());
        self.out.extend([0, 0]); // no comment
        self.out
    }
}

fn small(number: usize) -> u32 {
    u32::try_from(number)
        .expect("all members together have at most 512 MiB, their headers 256 times 476 bytes")
}
