//! The checksums of the format: of metadata Bob Jenkins' lookup3 (HDF5 File Format Specification 3.0, III: "Jenkins'
//! lookup3"; the algorithm is in the public domain), of data fletcher32 over 16-bit words, the high byte first.

use ecgkeep_format::{Error, Place, Result};

/// Whether bytes have this checksum.
/// # Errors
/// [`ecgkeep_format::Kind::Malformed`] where they have not.
pub(super) fn check(bytes: &[u8], stated: u32, place: &Place) -> Result<()> {
    if lookup3(bytes) == stated {
        return Ok(());
    }
    Err(Error::malformed(place.clone(), "its checksum does not match: the file is damaged")
        .remedy("get the file again, or take another copy"))
}

/// lookup3 with a start of 0.
pub(super) fn lookup3(bytes: &[u8]) -> u32 {
    let length = u32::try_from(bytes.len() & 0xffff_ffff).unwrap_or(0);
    let start = 0xdead_beef_u32.wrapping_add(length);
    let (mut a, mut b, mut c) = (start, start, start);
    let word =
        |bytes: &[u8]| bytes.iter().take(4).rev().fold(0u32, |word, byte| word << 8 | u32::from(*byte));
    let mut rest = bytes;
    while rest.len() > 12 {
        a = a.wrapping_add(word(rest));
        b = b.wrapping_add(word(&rest[4..]));
        c = c.wrapping_add(word(&rest[8..]));
        (a, b, c) = mix(a, b, c);
        rest = &rest[12..];
    }
    if rest.is_empty() {
        return c;
    }
    a = a.wrapping_add(word(rest));
    b = b.wrapping_add(rest.get(4..).map_or(0, word));
    c = c.wrapping_add(rest.get(8..).map_or(0, word));
    last(a, b, c)
}

fn mix(mut a: u32, mut b: u32, mut c: u32) -> (u32, u32, u32) {
    a = a.wrapping_sub(c) ^ c.rotate_left(4);
    c = c.wrapping_add(b);
    b = b.wrapping_sub(a) ^ a.rotate_left(6);
    a = a.wrapping_add(c);
    c = c.wrapping_sub(b) ^ b.rotate_left(8);
    b = b.wrapping_add(a);
    a = a.wrapping_sub(c) ^ c.rotate_left(16);
    c = c.wrapping_add(b);
    b = b.wrapping_sub(a) ^ a.rotate_left(19);
    a = a.wrapping_add(c);
    c = c.wrapping_sub(b) ^ b.rotate_left(4);
    b = b.wrapping_add(a);
    (a, b, c)
}

fn last(mut a: u32, mut b: u32, mut c: u32) -> u32 {
    c = (c ^ b).wrapping_sub(b.rotate_left(14));
    a = (a ^ c).wrapping_sub(c.rotate_left(11));
    b = (b ^ a).wrapping_sub(a.rotate_left(25));
    c = (c ^ b).wrapping_sub(b.rotate_left(16));
    a = (a ^ c).wrapping_sub(c.rotate_left(4));
    b = (b ^ a).wrapping_sub(a.rotate_left(14));
    (c ^ b).wrapping_sub(b.rotate_left(24))
}

/// fletcher32 as the filter of the same name stores it.
pub(super) fn fletcher32(bytes: &[u8]) -> u32 {
    let fold = |sum: u32| (sum & 0xffff) + (sum >> 16);
    let (mut first, mut second) = (0u32, 0u32);
    // 360 words are the most whose sums stay within 32 bits
    for block in bytes.chunks(720) {
        for pair in block.chunks(2) {
            let high = u32::from(pair[0]) << 8;
            first += high | pair.get(1).map_or(0, |low| u32::from(*low));
            second += first;
        }
        (first, second) = (fold(first), fold(second));
    }
    fold(second) << 16 | fold(first)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lookup3_gives_the_published_values() {
        // lookup3.c, Bob Jenkins, May 2006, driver5: hashlittle of "" and "Four score and seven years ago" from 0
        assert_eq!(lookup3(b""), 0xdead_beef);
        assert_eq!(lookup3(b"Four score and seven years ago"), 0x1777_0551);
    }

    #[test]
    fn fletcher32_sums_words() {
        // by hand: words 0x0102 and 0x0300; first 0x0402, second 0x0102 + 0x0402
        assert_eq!(fletcher32(&[1, 2, 3]), 0x0504_0402);
        assert_eq!(fletcher32(&[]), 0);
        assert_eq!(fletcher32(&[0xff; 2000]), 0xffff_ffff);
    }
}
