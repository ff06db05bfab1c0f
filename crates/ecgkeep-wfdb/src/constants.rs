//! Numbers and names of the WFDB formats, the clause beside each. One table serves both directions.
//!
//! header(5), signal(5) and annot(5) are the format descriptions of the WFDB Applications Guide.

use ecgkeep_format::About;

/// The id of the format, and of the extras that come from it.
pub(crate) const ID: &str = "wfdb";

/// What the format is.
pub(crate) const ABOUT: About = About {
    id: ID,
    title: "WFDB",
    standard: "WFDB Applications Guide, header(5), signal(5) and annot(5), 10.x",
    endings: &["hea"],
    reads: "single-segment records in storage formats 16, 24, 32, 80 and 212",
    writes: "single-segment records in storage formats 16, 24 and 32, and 80 and 212 on request",
    status: "read and written records agree with PyPI wfdb 4.3.1, sample for sample, on the recordings tested",
};

/// The clauses that notes and errors cite.
pub(crate) const RECORD_LINE: &str = "header(5), record line";
/// Signal specification lines.
pub(crate) const SIGNAL_LINE: &str = "header(5), signal specification lines";
/// Info strings (comment lines).
pub(crate) const INFO_STRINGS: &str = "header(5), info strings";
/// Storage formats.
pub(crate) const SIGNAL_FILE: &str = "signal(5)";

/// header(5), record line: the sampling frequency where none is given, frames per second.
pub(crate) const DEFAULT_RATE: i64 = 250;
/// header(5): a line has at most 255 characters, the line feed included.
pub(crate) const LINE_BYTES: usize = 255;
/// Our own lines stay below that.
pub(crate) const INFO_LINE_BYTES: usize = 250;
/// header(5): file name and description together have at most 80 characters.
pub(crate) const FILE_AND_DESCRIPTION: usize = 80;
/// WFDB record names: at most 50 letters, digits and underscores (public WFDB specification, RECORDS).
pub(crate) const STEM_BYTES: usize = 50;
/// The longest units field of a signal line (second-hand, weak).
pub(crate) const UNITS_BYTES: usize = 50;
/// More samples of one signal in a frame than any published record has (200 in the largest seen): ours.
pub(crate) const MOST_PER_FRAME: usize = 1 << 20;
/// The most digits of a second's fraction that PyPI wfdb 4.3.1 reads in a base time.
pub(crate) const FRACTION_DIGITS: usize = 6;
/// The longest word of a header that an error repeats.
pub(crate) const SHOWN: usize = 60;

/// Units of voltage and how many nanovolts each is. Case matters: `mV` is not `MV`.
pub(crate) const VOLTAGES: &[(&str, i64)] = &[
    ("mV", 1_000_000),
    ("uV", 1_000),
    ("V", 1_000_000_000),
    ("nV", 1),
    ("\u{b5}V", 1_000),
    ("\u{3bc}V", 1_000),
];

/// How one storage format packs samples (signal(5)).
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Packing {
    /// Its number in a signal line.
    pub(crate) number: u16,
    /// Samples packed together, and the bytes that hold them.
    pub(crate) unit: (usize, usize),
    /// The least and the most that a sample can be, the invalid code excluded.
    pub(crate) range: (i32, i32),
    /// The sample that stands for a missing one.
    pub(crate) invalid: Option<i32>,
}

/// Two's complement, 16 bits, low byte first.
pub(crate) const F16: Packing =
    Packing { number: 16, unit: (1, 2), range: (-32_767, 32_767), invalid: Some(-32_768) };
/// Two's complement, 24 bits, low byte first.
pub(crate) const F24: Packing =
    Packing { number: 24, unit: (1, 3), range: (-8_388_607, 8_388_607), invalid: Some(-8_388_608) };
/// Two's complement, 32 bits, low byte first.
pub(crate) const F32: Packing =
    Packing { number: 32, unit: (1, 4), range: (-i32::MAX, i32::MAX), invalid: Some(i32::MIN) };
/// Offset binary, 8 bits.
pub(crate) const F80: Packing = Packing { number: 80, unit: (1, 1), range: (-127, 127), invalid: Some(-128) };
/// Two's complement, 12 bits, two samples in three bytes.
pub(crate) const F212: Packing =
    Packing { number: 212, unit: (2, 3), range: (-2_047, 2_047), invalid: Some(-2_048) };

/// Every storage format that is read.
pub(crate) const PACKINGS: &[&Packing] = &[&F16, &F24, &F32, &F80, &F212];

/// MAT v4 files hold this many bytes before the samples: five 32-bit numbers and the name `val` with its zero.
pub(crate) const MAT4_HEADER: usize = 24;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_invalid_code_lies_just_below_the_range() {
        for packing in PACKINGS {
            if let Some(invalid) = packing.invalid {
                assert_eq!(invalid + 1, packing.range.0, "format {}", packing.number);
            }
        }
    }

    #[test]
    fn no_storage_format_stands_twice() {
        let mut numbers: Vec<u16> = PACKINGS.iter().map(|packing| packing.number).collect();
        numbers.sort_unstable();
        numbers.dedup();
        assert_eq!(numbers.len(), PACKINGS.len());
    }
}
