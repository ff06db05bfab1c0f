//! Samples and the bytes that hold them, both directions side by side (signal(5)).

use crate::constants::{FLAC_BASE, Packing};

impl Packing {
    /// The bits of a sample where the file is a FLAC stream.
    pub(crate) fn flac_bits(&self) -> Option<u32> {
        self.number.checked_sub(FLAC_BASE).map(u32::from)
    }

    /// The fewest bytes that hold so many samples; `None` where the number does not fit.
    ///
    /// signal(5) packs on over frame borders; an odd sample at the end of format 212 takes two bytes.
    pub(crate) fn bytes_for(&self, samples: u64) -> Option<u64> {
        let (in_unit, unit_bytes) = (self.unit.0 as u64, self.unit.1 as u64);
        let tail = match (self.number, samples % in_unit) {
            (0, _) => return Some(0),
            (_, 0) => 0,
            (310, 2) => 4,
            (311, 2) => 3,
            _ => 2,
        };
        (samples / in_unit).checked_mul(unit_bytes)?.checked_add(tail)
    }

    /// The most samples that so many bytes hold.
    pub(crate) fn samples_in(&self, bytes: u64) -> u64 {
        let (in_unit, unit_bytes) = (self.unit.0 as u64, self.unit.1 as u64);
        let tail = match (self.number, bytes % unit_bytes) {
            (212 | 310, 2..) | (311, 2) => 1,
            (311, 3) => 2,
            _ => 0,
        };
        bytes / unit_bytes * in_unit + tail
    }

    /// Fills `samples` from `bytes`, which hold at least [`Packing::bytes_for`] so many; format 8 gives the
    /// differences. Not for FLAC.
    pub(crate) fn unpack(&self, bytes: &[u8], samples: &mut [i32]) {
        match self.number {
            24 => {
                for (sample, b) in samples.iter_mut().zip(bytes.chunks_exact(3)) {
                    *sample = i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8;
                }
            }
            32 => {
                for (sample, b) in samples.iter_mut().zip(bytes.chunks_exact(4)) {
                    *sample = i32::from_le_bytes([b[0], b[1], b[2], b[3]]);
                }
            }
            80 => {
                for (sample, b) in samples.iter_mut().zip(bytes) {
                    *sample = i32::from(*b) - 128;
                }
            }
            212 => unpack_212(bytes, samples),
            8 => {
                for (sample, b) in samples.iter_mut().zip(bytes) {
                    *sample = i32::from(b.cast_signed());
                }
            }
            61 => {
                for (sample, b) in samples.iter_mut().zip(bytes.chunks_exact(2)) {
                    *sample = i32::from(i16::from_be_bytes([b[0], b[1]]));
                }
            }
            160 => {
                for (sample, b) in samples.iter_mut().zip(bytes.chunks_exact(2)) {
                    *sample = i32::from(u16::from_le_bytes([b[0], b[1]])) - 32_768;
                }
            }
            310 => unpack_310(bytes, samples),
            311 => unpack_311(bytes, samples),
            _ => {
                for (sample, b) in samples.iter_mut().zip(bytes.chunks_exact(2)) {
                    *sample = i32::from(i16::from_le_bytes([b[0], b[1]]));
                }
            }
        }
    }

    /// Appends samples that lie within [`Packing::range`] or are the invalid code; unused bits are 0.
    pub(crate) fn pack(&self, samples: &[i32], bytes: &mut Vec<u8>) {
        match self.number {
            24 => samples.iter().for_each(|sample| bytes.extend_from_slice(&sample.to_le_bytes()[..3])),
            32 => samples.iter().for_each(|sample| bytes.extend_from_slice(&sample.to_le_bytes())),
            80 => bytes.extend(samples.iter().map(|sample| (sample + 128).to_le_bytes()[0])),
            212 => pack_212(samples, bytes),
            _ => {
                let start = bytes.len();
                bytes.resize(start + samples.len() * 2, 0);
                for (sample, b) in samples.iter().zip(bytes[start..].chunks_exact_mut(2)) {
                    b.copy_from_slice(&sample.to_le_bytes()[..2]);
                }
            }
        }
    }
}

/// The low 12 bits as a signed number.
fn twelve_bits(value: u32) -> i32 {
    (value << 20).cast_signed() >> 20
}

/// Format 212: a = b0 + the low half of b1 x 256.
pub(crate) fn first_of_212(b: &[u8; 3]) -> i32 {
    twelve_bits(u32::from(b[0]) | u32::from(b[1]) << 8)
}

/// Format 212: b = b2 + the high half of b1 x 256.
pub(crate) fn second_of_212(b: &[u8; 3]) -> i32 {
    twelve_bits(u32::from(b[2]) | u32::from(b[1] >> 4) << 8)
}

fn unpack_212(bytes: &[u8], samples: &mut [i32]) {
    let (pairs, last) = samples.as_chunks_mut::<2>();
    let (triplets, _) = bytes.as_chunks::<3>();
    for (pair, b) in pairs.iter_mut().zip(triplets) {
        *pair = [first_of_212(b), second_of_212(b)];
    }
    if let ([last], [low, high, ..]) = (last, &bytes[pairs.len() * 3..]) {
        *last = twelve_bits(u32::from(*low) | u32::from(*high) << 8);
    }
}

/// The low 10 bits as a signed number.
fn ten_bits(value: u32) -> i32 {
    (value << 22).cast_signed() >> 22
}

/// Two words: a and b in bits 1 to 10 of each, c in bits 11 to 15 of both, the low half first; bit 0 is unused.
fn unpack_310(bytes: &[u8], samples: &mut [i32]) {
    let word = |b: &[u8]| u32::from(u16::from_le_bytes([b[0], b[1]]));
    for (group, b) in samples.chunks_mut(3).zip(bytes.chunks(4)) {
        let first = word(b);
        group[0] = ten_bits(first >> 1);
        if group.len() > 1 {
            let second = word(&b[2..]);
            group[1] = ten_bits(second >> 1);
            if let Some(c) = group.get_mut(2) {
                *c = ten_bits(first >> 11 | second >> 11 << 5);
            }
        }
    }
}

/// One word: bits 0 to 9, 10 to 19, 20 to 29; the top two are unused.
fn unpack_311(bytes: &[u8], samples: &mut [i32]) {
    for (group, b) in samples.chunks_mut(3).zip(bytes.chunks(4)) {
        let word = b.iter().rev().fold(0u32, |word, byte| word << 8 | u32::from(*byte));
        for (sample, shift) in group.iter_mut().zip([0, 10, 20]) {
            *sample = ten_bits(word >> shift);
        }
    }
}

fn pack_212(samples: &[i32], bytes: &mut Vec<u8>) {
    for pair in samples.chunks(2) {
        let a = pair[0].to_le_bytes();
        match pair.get(1).map(|b| b.to_le_bytes()) {
            Some(b) => bytes.extend([a[0], a[1] & 15 | b[1] << 4, b[0]]),
            None => bytes.extend([a[0], a[1] & 15]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::constants::{F16, F24, F32, F61, F80, F160, F212, F310, F311};

    fn round_trip(packing: &Packing, bytes: &[u8], samples: &[i32]) {
        let mut read = vec![0; samples.len()];
        packing.unpack(bytes, &mut read);
        assert_eq!(read, samples, "format {}", packing.number);
        let mut packed = Vec::new();
        packing.pack(samples, &mut packed);
        assert_eq!(packed, bytes, "format {}", packing.number);
        assert_eq!(packing.bytes_for(samples.len() as u64), Some(bytes.len() as u64));
        assert_eq!(packing.samples_in(bytes.len() as u64), samples.len() as u64);
    }

    // Bytes by hand from signal(5); PyPI wfdb 4.3.1 reads the same numbers.
    #[test]
    fn samples_are_packed_as_signal_5_says() {
        round_trip(&F16, &[1, 0, 0xff, 0xff, 0xff, 0x7f, 0, 0x80], &[1, -1, 32_767, -32_768]);
        round_trip(&F24, &[1, 0, 0, 0xff, 0xff, 0xff, 0, 0, 0x80], &[1, -1, -8_388_608]);
        round_trip(&F32, &[1, 0, 0, 0, 0xff, 0xff, 0xff, 0xff, 0, 0, 0, 0x80], &[1, -1, i32::MIN]);
        round_trip(&F80, &[0x80, 0x81, 0x7f, 0xff, 0], &[0, 1, -1, 127, -128]);
        // the first pair of record 100 of the MIT-BIH Arrhythmia Database
        round_trip(&F212, &[0xe3, 0x33, 0xf3], &[995, 1011]);
        round_trip(&F212, &[1, 0xf0, 0xff, 0xff, 0x87, 0], &[1, -1, 2047, -2048]);
    }

    fn reads(packing: &Packing, bytes: &[u8], samples: &[i32]) {
        let mut read = vec![0; samples.len()];
        packing.unpack(bytes, &mut read);
        assert_eq!(read, samples, "format {}", packing.number);
        assert!(packing.bytes_for(samples.len() as u64) <= Some(bytes.len() as u64));
        assert_eq!(
            packing.samples_in(bytes.len() as u64).max(samples.len() as u64) / 4,
            samples.len() as u64 / 4
        );
    }

    // Bytes by hand from signal(5); PyPI wfdb 4.3.1 reads the same numbers, but for the unused bits of 311.
    #[test]
    fn formats_that_are_only_read_are_unpacked_as_signal_5_says() {
        reads(&F61, &[0, 1, 0xff, 0xff, 0x7f, 0xff, 0x80, 0], &[1, -1, 32_767, -32_768]);
        reads(&F160, &[0, 0x80, 1, 0x80, 0xff, 0x7f, 0xff, 0xff, 0, 0], &[0, 1, -1, 32_767, -32_768]);
        reads(&F310, &[2, 0xa8, 0xfe, 0x57], &[1, -1, 341]);
        reads(&F310, &[3, 0xa8, 0xff, 0x57], &[1, -1, 341]);
        reads(&F310, &[2, 0x18, 4, 0, 8, 0], &[1, 2, 3, 4]);
        reads(&F310, &[2, 0x18, 4, 0, 8, 0, 10, 0], &[1, 2, 3, 4, 5]);
        reads(&F311, &[1, 0xfc, 0x5f, 0x15], &[1, -1, 341]);
        reads(&F311, &[1, 0xfc, 0xff, 0xff], &[1, -1, -1]);
        reads(&F311, &[1, 8, 0x30, 0, 4, 0], &[1, 2, 3, 4]);
        reads(&F311, &[1, 8, 0x30, 0, 4, 0x14, 0], &[1, 2, 3, 4, 5]);
    }

    #[test]
    fn an_odd_last_sample_of_format_212_takes_two_bytes_and_may_be_padded() {
        round_trip(&F212, &[1, 0xf0, 0xfe, 3, 0], &[1, -2, 3]);
        let mut read = [0; 3];
        F212.unpack(&[1, 0xf0, 0xfe, 3, 0, 0], &mut read);
        assert_eq!(read, [1, -2, 3]);
    }
}
