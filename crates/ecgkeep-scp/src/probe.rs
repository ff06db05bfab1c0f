//! Recognising a record by its first bytes.

use ecgkeep_format::{Match, PROBE_BYTES};

use crate::constants::{POINTER_BYTES, RECORD_HEADER_BYTES, SECTION_HEADER_BYTES, SIGNATURE, SIGNATURE_AT};

/// The index of section 0, which its own first row gives: the record's first byte is 1.
const OWN_INDEX: u32 = 7;

/// Certain with the signature of version 2 or with a first row that points to section 0 itself, as version 1 has
/// it; likely where only header and size agree.
pub(crate) fn probe(name: &str, head: &[u8]) -> Match {
    let by_name = || {
        let is_ours = name.rsplit_once('.').is_some_and(|(_, ending)| ending.eq_ignore_ascii_case("scp"));
        if is_ours { Match::ByName } else { Match::No }
    };
    let Some(facts) = Facts::of(head) else { return by_name() };
    if facts.section != 0 {
        return by_name();
    }
    if facts.has_signature {
        return Match::Certain;
    }
    let has_rows = facts.length >= SECTION_HEADER_BYTES + POINTER_BYTES
        && (facts.length - SECTION_HEADER_BYTES).is_multiple_of(POINTER_BYTES);
    let is_all = head.len() < PROBE_BYTES;
    let fits = facts.size >= RECORD_HEADER_BYTES + facts.length && (!is_all || facts.size == head.len());
    match has_rows && facts.row == (0, facts.length, OWN_INDEX) {
        true if fits => Match::Certain,
        true => Match::Likely,
        false if has_rows && fits && (facts.row.0, facts.row.1) == (0, facts.length) => Match::Likely,
        false => by_name(),
    }
}

/// What the first bytes say.
struct Facts {
    size: usize,
    section: u16,
    length: usize,
    has_signature: bool,
    /// Number, length and index of the first pointer.
    row: (u16, usize, u32),
}

impl Facts {
    /// `None` where there are too few bytes.
    fn of(head: &[u8]) -> Option<Facts> {
        let u16_at = |at: usize| head.get(at..at + 2).map(|bytes| u16::from_le_bytes([bytes[0], bytes[1]]));
        let u32_at = |at: usize| Some(u32::from(u16_at(at)?) | (u32::from(u16_at(at + 2)?) << 16));
        let row = RECORD_HEADER_BYTES + SECTION_HEADER_BYTES;
        Some(Facts {
            size: u32_at(2)? as usize,
            section: u16_at(RECORD_HEADER_BYTES + 2)?,
            length: u32_at(RECORD_HEADER_BYTES + 4)? as usize,
            has_signature: head.get(SIGNATURE_AT..SIGNATURE_AT + SIGNATURE.len())? == SIGNATURE,
            row: (u16_at(row)?, u32_at(row + 2)? as usize, u32_at(row + 6)?),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn head(signature: &[u8; 6], index: u8, size: u8) -> Vec<u8> {
        let mut head = vec![0, 0, size, 0, 0, 0, 0, 0, 0, 0, 26, 0, 0, 0, 13, 0];
        head.extend(signature);
        head.extend([0, 0, 26, 0, 0, 0, index, 0, 0, 0]);
        head
    }

    #[test]
    fn a_record_is_recognised_by_signature_pointer_or_name() {
        assert_eq!(probe("x", &head(SIGNATURE, 0, 0)), Match::Certain);
        assert_eq!(probe("x", &head(&[0; 6], 7, 32)), Match::Certain);
        assert_eq!(probe("x", &head(&[0; 6], 7, 99)), Match::Likely);
        assert_eq!(probe("x", &head(&[0; 6], 6, 32)), Match::Likely);
        assert_eq!(probe("x.SCP", &head(&[0; 6], 6, 99)), Match::ByName);
        assert_eq!(probe("x.dat", &[0; 4096]), Match::No);
        assert_eq!(probe("a.scp", b""), Match::ByName);
        assert_eq!(probe("scp", b"SCPECG"), Match::No);
    }
}
