//! Numbers of the standard, the clause beside each. Clauses are those of EN 1064:2005+A1:2007.
//!
//! The text of the standard was not at hand: clause titles were read in its table of contents, values are from
//! memory unless a source is named.

use crc::{CRC_16_IBM_3740, Crc, Table};

/// CRC-CCITT with start value 0xFFFF, most significant bit first, no final exclusive-or (5.2).
pub(crate) static CRC: Crc<u16, Table<16>> = Crc::<u16, Table<16>>::new(&CRC_16_IBM_3740);

/// Bytes before section 0: record CRC and record size (5.2).
pub(crate) const RECORD_HEADER_BYTES: usize = 6;
/// Bytes of every section header (5.2).
pub(crate) const SECTION_HEADER_BYTES: usize = 16;
/// The text in the reserved bytes of section 0's header, since version 2 (5.3).
pub(crate) const SIGNATURE: &[u8; 6] = b"SCPECG";
/// Where [`SIGNATURE`] stands, counted from the first byte of the file.
pub(crate) const SIGNATURE_AT: usize = 16;
/// Bytes of one row of section 0 (5.3).
pub(crate) const POINTER_BYTES: usize = 10;
/// Rows of section 0 that version 2 always has, present or not (5.3).
pub(crate) const POINTER_ROWS: u16 = 12;
/// More rows than there are section numbers to point to; further ones are not read.
pub(crate) const MOST_POINTERS: usize = 2048;
/// More fields than any section 1 has (5.4 has 35 different ones); further ones are not read.
pub(crate) const MOST_TAGS: usize = 10_000;
/// The last section number that a maker may use (5.2).
pub(crate) const LAST_SECTION: u16 = 1023;
/// The version written, times ten.
pub(crate) const VERSION: u8 = 20;
/// The first version, times ten, whose texts are all UTF-8.
pub(crate) const UTF8_VERSION: u8 = 30;

/// Clauses, for notes and errors.
pub(crate) mod clause {
    pub(crate) const RECORD: &str = "EN 1064:2005, 5.2";
    pub(crate) const POINTERS: &str = "EN 1064:2005, 5.3";
    pub(crate) const HEADER: &str = "EN 1064:2005, 5.4";
    pub(crate) const HUFFMAN: &str = "EN 1064:2005, 5.5";
    pub(crate) const LEADS: &str = "EN 1064:2005, 5.6";
    pub(crate) const BEATS: &str = "EN 1064:2005, 5.7";
    pub(crate) const REFERENCE_BEAT: &str = "EN 1064:2005, 5.8";
    pub(crate) const RHYTHM: &str = "EN 1064:2005, 5.9";
    pub(crate) const GLOBAL: &str = "EN 1064:2005, 5.10";
    pub(crate) const STATEMENTS: &str = "EN 1064:2005, 5.11";
    pub(crate) const OPAQUE: &str = "EN 1064:2005, 5.12";
    pub(crate) const PER_LEAD: &str = "EN 1064:2005, 5.13";
    pub(crate) const CODES: &str = "EN 1064:2005, 5.14";

    /// The clause of a section.
    pub(crate) fn of(section: u16) -> &'static str {
        match section {
            0 => POINTERS,
            1 => HEADER,
            2 => HUFFMAN,
            3 => LEADS,
            4 => BEATS,
            5 => REFERENCE_BEAT,
            6 => RHYTHM,
            7 => GLOBAL,
            8 => STATEMENTS,
            9 => OPAQUE,
            10 => PER_LEAD,
            11 => CODES,
            _ => RECORD,
        }
    }
}

/// Tags of section 1 (5.4).
pub(crate) mod tag {
    pub(crate) const LAST_NAME: u8 = 0;
    pub(crate) const FIRST_NAME: u8 = 1;
    pub(crate) const PATIENT_ID: u8 = 2;
    pub(crate) const SECOND_LAST_NAME: u8 = 3;
    pub(crate) const AGE: u8 = 4;
    pub(crate) const BIRTH_DATE: u8 = 5;
    pub(crate) const HEIGHT: u8 = 6;
    pub(crate) const WEIGHT: u8 = 7;
    pub(crate) const SEX: u8 = 8;
    pub(crate) const RACE: u8 = 9;
    pub(crate) const DRUG: u8 = 10;
    pub(crate) const SYSTOLIC: u8 = 11;
    pub(crate) const DIASTOLIC: u8 = 12;
    pub(crate) const INDICATION: u8 = 13;
    pub(crate) const ACQUIRING_DEVICE: u8 = 14;
    pub(crate) const ANALYSING_DEVICE: u8 = 15;
    pub(crate) const INSTITUTION: u8 = 16;
    pub(crate) const ANALYSING_INSTITUTION: u8 = 17;
    pub(crate) const DEPARTMENT: u8 = 18;
    pub(crate) const ANALYSING_DEPARTMENT: u8 = 19;
    pub(crate) const REFERRING: u8 = 20;
    pub(crate) const CONFIRMING: u8 = 21;
    pub(crate) const TECHNICIAN: u8 = 22;
    pub(crate) const ROOM: u8 = 23;
    pub(crate) const STAT_CODE: u8 = 24;
    pub(crate) const DATE: u8 = 25;
    pub(crate) const TIME: u8 = 26;
    pub(crate) const HIGH_PASS: u8 = 27;
    pub(crate) const LOW_PASS: u8 = 28;
    pub(crate) const FILTERS: u8 = 29;
    pub(crate) const FREE_TEXT: u8 = 30;
    pub(crate) const SEQUENCE_NUMBER: u8 = 31;
    pub(crate) const HISTORY: u8 = 32;
    pub(crate) const PLACEMENT: u8 = 33;
    pub(crate) const TIME_ZONE: u8 = 34;
    pub(crate) const HISTORY_TEXT: u8 = 35;
    pub(crate) const END: u8 = 255;
    /// Tags that may stand more than once.
    pub(crate) const REPEATABLE: &[u8] = &[DRUG, INDICATION, FREE_TEXT, HISTORY, HISTORY_TEXT];
}

/// The unit of a quantity whose unit byte is 0, "unspecified" (5.4.3.1).
pub(crate) const UNSPECIFIED_UNIT: &str = "unspecified";
/// Age units, tag 4 (5.4.3.1): code and UCUM unit.
pub(crate) const AGE_UNITS: &[(u8, &str)] =
    &[(0, UNSPECIFIED_UNIT), (1, "a"), (2, "mo"), (3, "wk"), (4, "d"), (5, "h")];
/// Height units, tag 6 (5.4.3.1).
pub(crate) const HEIGHT_UNITS: &[(u8, &str)] = &[(0, UNSPECIFIED_UNIT), (1, "cm"), (2, "[in_i]"), (3, "mm")];
/// Weight units, tag 7 (5.4.3.1).
pub(crate) const WEIGHT_UNITS: &[(u8, &str)] =
    &[(0, UNSPECIFIED_UNIT), (1, "kg"), (2, "g"), (3, "[lb_av]"), (4, "[oz_av]")];
/// Exact changes of unit that a writer may need: from, to, how many of the second make the first.
pub(crate) const FINER_UNITS: &[(&str, &str, i64)] =
    &[("m", "cm", 100), ("m", "mm", 1000), ("cm", "mm", 10), ("kg", "g", 1000)];
/// The unit of tags 11 and 12 (5.4.3.1).
pub(crate) const PRESSURE_UNIT: &str = "mm[Hg]";

/// Sex, tag 8: the numbers of ISO 5218 (5.4.3.1).
pub(crate) const SEX_UNKNOWN: u8 = 0;
pub(crate) const SEX_MALE: u8 = 1;
pub(crate) const SEX_FEMALE: u8 = 2;
pub(crate) const SEX_UNSPECIFIED: u8 = 9;
/// The word for [`SEX_UNSPECIFIED`], which says less than "undifferentiated".
pub(crate) const SEX_UNSPECIFIED_WORD: &str = "unspecified";

/// Code systems of the model under which numbers of section 1 are kept.
pub(crate) mod system {
    /// Tag 9, one number.
    pub(crate) const RACE: &str = "SCP-ECG race";
    /// Tag 10, `table/class/drug`.
    pub(crate) const DRUG: &str = "SCP-ECG drug";
    /// Tag 24, one number: 0 routine, 1 to 10 rising urgency.
    pub(crate) const STAT_CODE: &str = "SCP-ECG stat code";
    /// Tag 32, `table/code`.
    pub(crate) const HISTORY: &str = "SCP-ECG medical history";
    /// Tag 33, first byte.
    pub(crate) const TWELVE_LEAD: &str = "SCP-ECG electrode configuration, 12 leads";
    /// Tag 33, second byte.
    pub(crate) const XYZ: &str = "SCP-ECG electrode configuration, XYZ";
    /// Section 4, the type of a QRS complex.
    pub(crate) const BEAT_TYPE: &str = "SCP-ECG beat type";
    /// Section 7, a pacing spike: time where it lies between two samples.
    pub(crate) const SPIKE_TIME: &str = "SCP-ECG spike time, ms";
    /// Section 7, a pacing spike: amplitude.
    pub(crate) const SPIKE_AMPLITUDE: &str = "SCP-ECG spike amplitude, uV";
    /// Section 7, a pacing spike: what it triggers.
    pub(crate) const SPIKE_TYPE: &str = "SCP-ECG spike type";
    /// Section 7, a pacing spike: where the pacemaker is.
    pub(crate) const SPIKE_SOURCE: &str = "SCP-ECG spike source";
    /// Section 7, a pacing spike: number of the QRS complex it triggers.
    pub(crate) const SPIKE_QRS: &str = "SCP-ECG spike QRS number";
    /// Section 7, a pacing spike: pulse width.
    pub(crate) const SPIKE_WIDTH: &str = "SCP-ECG spike width, us";
    /// Section 11, a code of the universal list with its modifiers.
    pub(crate) const STATEMENT: &str = "SCP-ECG";
    /// Section 11, the type byte of a statement that is no code.
    pub(crate) const STATEMENT_TYPE: &str = "SCP-ECG statement type";
}

/// 12-lead electrode configurations, tag 33 (5.4.5). Codes 0 to 6 agree with DICOM CID 3263 as carried by
/// pydicom; further ones are kept as numbers.
pub(crate) const TWELVE_LEAD_PLACEMENTS: &[(u8, &str)] = &[
    (1, "standard positions, electrodes placed one by one"),
    (2, "Mason-Likar limb positions, electrodes placed one by one"),
    (3, "Mason-Likar limb positions, V1 to V6 in one pad"),
    (4, "all electrodes in one pad"),
    (5, "12 leads derived from Frank XYZ"),
    (6, "12 leads derived from non-standard leads"),
];
/// XYZ electrode configurations, tag 33 (5.4.5). They agree with DICOM CID 3264 as carried by pydicom.
pub(crate) const XYZ_PLACEMENTS: &[(u8, &str)] = &[
    (1, "Frank"),
    (2, "McFee-Parungao"),
    (3, "cube"),
    (4, "bipolar uncorrected XYZ"),
    (5, "pseudo-orthogonal XYZ"),
    (6, "XYZ derived from the standard 12 leads"),
];

/// Filter bits, tag 29 (5.4.3.4): bit and mains frequency of the notch.
pub(crate) const NOTCH_BITS: &[(u8, i64)] = &[(0x02, 50), (0x01, 60)];
/// Filter bits, tag 29, that are words in the model.
pub(crate) const FILTER_WORD_BITS: &[(u8, &str)] = &[(0x04, "artifact filter"), (0x08, "baseline filter")];
/// Mains frequency, tag 14 byte 19 (5.4.3.1): code and hertz.
pub(crate) const MAINS: &[(u8, i64)] = &[(1, 50), (2, 60)];
/// The offset of tag 34 that means "unknown" (from memory, weak).
pub(crate) const UNKNOWN_OFFSET: i16 = 0x7FFF;

/// Tag 14 byte 8 (5.4.3.1): the manufacturer is named by the text at the end.
pub(crate) const MANUFACTURER_IN_TEXT: u8 = 255;
/// Tag 14 byte 16 (annex B): demographics and rhythm. From memory, weak: written, never decided by.
pub(crate) const CATEGORY_RHYTHM: u8 = 0xD0;
/// Tag 14 byte 16 (annex B): with reference beats. From memory, weak.
pub(crate) const CATEGORY_BEATS: u8 = 0xE0;

/// Section 2 (5.5): the number of tables that stands for the default table.
pub(crate) const DEFAULT_TABLE: u16 = 19_999;
/// Default table (annex C.2.7.4): the largest magnitude with a code of its own.
pub(crate) const LARGEST_CODED: u32 = 8;
/// Default table: bits of the prefix before an 8-bit or 16-bit value.
pub(crate) const ESCAPE_PREFIX_BITS: u32 = 10;
/// Default table: prefix before an 8-bit value, as sent.
pub(crate) const ESCAPE_8: u32 = 0b11_1111_1110;
/// Default table: prefix before a 16-bit value, as sent.
pub(crate) const ESCAPE_16: u32 = 0b11_1111_1111;
/// More tables than any record needs; each costs memory.
pub(crate) const MOST_TABLES: usize = 256;

/// Section 3 flags (5.6.2).
pub(crate) const FLAG_SUBTRACTION: u8 = 0x01;
pub(crate) const FLAG_SIMULTANEOUS: u8 = 0x04;
/// Section 3 flags: where the number of simultaneous leads starts.
pub(crate) const SIMULTANEOUS_SHIFT: u8 = 3;
/// The first lead number that versions 1 and 2 leave to the maker (from memory, weak).
pub(crate) const FIRST_MAKER_LEAD: u8 = 128;
/// How a lead is called that versions 1 and 2 leave to the maker.
pub(crate) const MAKER_LEAD: &str = "SCP-ECG lead ";

/// Sections 5 and 6 (5.8.3, 5.9.3): bytes before the lengths of the leads.
pub(crate) const SIGNAL_HEADER_BYTES: usize = 6;
/// Bimodal compression (5.9): samples per stored value where the record does not tell.
pub(crate) const DECIMATION: u32 = 4;
/// The largest factor taken: 1000 samples per second stored at 31.25.
pub(crate) const MOST_DECIMATION: u32 = 32;
/// Subtraction zones may cover a lead at most this many times over.
pub(crate) const MOST_OVERLAP: u64 = 4;

/// Sections 7 and 10 (5.10, 5.13): not computed.
pub(crate) const NOT_COMPUTED: i16 = 29_999;
/// Section 10: the lead was rejected.
pub(crate) const REJECTED: i16 = 29_998;
/// Section 10: the wave is not present in this lead.
pub(crate) const NOT_PRESENT: i16 = 19_999;
/// Section 7: an axis that is not defined.
pub(crate) const NO_AXIS: i16 = 999;
/// Section 7 (5.10.5): QTc formulas.
pub(crate) const FORMULAS: &[(u8, &str)] = &[(1, "Bazett"), (2, "Hodges")];
/// Section 7: the formula is not available.
pub(crate) const NO_FORMULA: u8 = 255;
/// How a formula is called that has no name here.
pub(crate) const FORMULA_CODE: &str = "SCP-ECG code ";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_checksum_has_the_published_check_value() {
        // CRC catalogue, CRC-16/IBM-3740 (also called CCITT-FALSE): check value of "123456789".
        assert_eq!(CRC.checksum(b"123456789"), 0x29B1);
        assert_eq!(CRC.checksum(b""), 0xFFFF);
    }

    #[test]
    fn tables_of_codes_are_sorted() {
        for table in [AGE_UNITS, HEIGHT_UNITS, WEIGHT_UNITS, TWELVE_LEAD_PLACEMENTS, XYZ_PLACEMENTS, FORMULAS]
        {
            assert!(table.is_sorted_by(|a, b| a.0 < b.0));
        }
    }
}
