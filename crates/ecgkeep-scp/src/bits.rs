//! Bits of Huffman coded samples: bit 7 of a byte is the first (5.5).

/// The most bits that [`BitReader::peek`] shows at once after a refill.
const SHOWN_BITS: u32 = 56;

/// Bits from the front of some bytes; behind their end come zeros, which [`BitReader::take`] does not give.
pub(crate) struct BitReader<'a> {
    bytes: &'a [u8],
    next: usize,
    /// Bits already fetched, the next one at the top.
    window: u64,
    /// How many bits of the window are valid.
    valid: u32,
    /// Bits that may still be taken.
    left: u64,
}

impl<'a> BitReader<'a> {
    /// At the first bit.
    pub(crate) fn new(bytes: &'a [u8]) -> BitReader<'a> {
        BitReader { bytes, next: 0, window: 0, valid: 0, left: bytes.len() as u64 * 8 }
    }

    /// Fetches bits until at least 56 are shown.
    #[inline]
    pub(crate) fn refill(&mut self) {
        if let Some(chunk) = self.bytes.get(self.next..).and_then(|rest| rest.first_chunk::<8>()) {
            self.window |= u64::from_be_bytes(*chunk) >> self.valid;
            let bytes = (63 - self.valid) / 8;
            self.next += bytes as usize;
            self.valid += bytes * 8;
        } else {
            while self.valid <= SHOWN_BITS {
                let byte = self.bytes.get(self.next).copied().unwrap_or(0);
                self.window |= u64::from(byte) << (SHOWN_BITS - self.valid);
                self.next += 1;
                self.valid += 8;
            }
        }
    }

    /// The next bits, the first one at the top.
    #[inline]
    pub(crate) fn peek(&self) -> u64 {
        self.window
    }

    /// Bits that may still be taken.
    pub(crate) fn left(&self) -> u64 {
        self.left
    }

    /// Passes over `count` bits, at most those shown; `None` where fewer are left.
    #[inline]
    pub(crate) fn take(&mut self, count: u32) -> Option<()> {
        self.left = self.left.checked_sub(u64::from(count))?;
        self.window <<= count;
        self.valid -= count;
        Some(())
    }
}

/// Bits one behind the other.
#[derive(Default)]
pub(crate) struct BitWriter {
    bytes: Vec<u8>,
    window: u64,
    waiting: u32,
}

impl BitWriter {
    /// Room for so many bits.
    pub(crate) fn with_bits(bits: u64) -> BitWriter {
        let bytes = usize::try_from(bits / 8).unwrap_or(0) + 8;
        BitWriter { bytes: Vec::with_capacity(bytes), ..BitWriter::default() }
    }

    /// Appends the lowest `count` bits of `value`, at most 32.
    #[inline]
    pub(crate) fn push(&mut self, value: u32, count: u32) {
        self.window = (self.window << count) | (u64::from(value) & ((1 << count) - 1));
        self.waiting += count;
        if self.waiting >= 32 {
            self.waiting -= 32;
            let [.., a, b, c, d] = (self.window >> self.waiting).to_be_bytes();
            self.bytes.extend([a, b, c, d]);
        }
    }

    /// The bytes, the last one filled with zeros.
    pub(crate) fn finish(mut self) -> Vec<u8> {
        let bytes = self.waiting.div_ceil(8);
        let rest = (self.window << (32 - self.waiting)).to_be_bytes();
        self.bytes.extend(&rest[4..4 + bytes as usize]);
        self.bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_come_back_as_written_and_no_more() {
        let mut writer = BitWriter::default();
        for index in 0..100 {
            writer.push(index, index % 32 + 1);
        }
        let bytes = writer.finish();
        let mut reader = BitReader::new(&bytes);
        let mut taken = 0;
        for index in 0..100u32 {
            let count = index % 32 + 1;
            reader.refill();
            assert_eq!(reader.peek() >> (64 - count), u64::from(index) & ((1 << count) - 1));
            reader.take(count).unwrap();
            taken += count;
        }
        let filler = bytes.len() * 8 - taken as usize;
        assert!(filler < 8);
        assert!(reader.take(8).is_none());
    }
}
