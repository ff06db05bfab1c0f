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
    reads: "records of one or several segments in every storage format, FLAC included, and MIT annotation files",
    writes: "records of one segment in storage formats 16, 24 and 32 (80 and 212 on request), and annotation files",
    status: "read and written records agree with PyPI wfdb 4.3.1, sample for sample, on the recordings tested",
};

/// The clauses that notes and errors cite.
pub(crate) const RECORD_LINE: &str = "header(5), record line";
/// Signal specification lines.
pub(crate) const SIGNAL_LINE: &str = "header(5), signal specification lines";
/// Segment specification lines.
pub(crate) const SEGMENT_LINE: &str = "header(5), segment specification lines";
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
/// Samples of one signal in a frame where waveforms of several rates share a record: ours.
pub(crate) const MOST_SHARED_PER_FRAME: usize = 1_000;
/// A record that several waveforms share may be so many times their size, and so many samples: ours.
pub(crate) const MOST_PADDING: (usize, usize) = (16, 1 << 16);
/// Comment lines of one header: more than any published one, fewer than would fill the memory; ours.
pub(crate) const MOST_COMMENTS: usize = 1_000_000;
/// Segments of one record: published ones hold up to a few thousand; ours.
pub(crate) const MOST_SEGMENTS: usize = 10_000;
/// Samples that may stand in a record without a byte for them, in null signals, null segments and repeated segments: ours,
/// 64 MiB; a few bytes of text shall not ask for more.
pub(crate) const FREE_SAMPLES: u64 = 1 << 24;
/// Further samples for every byte of the record's files: ours; FLAC of a real tracing takes more than half a byte for one.
pub(crate) const SAMPLES_PER_BYTE: u64 = 256;
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

/// First differences, 8 bits, from the initial value of the signal line on.
pub(crate) const F8: Packing =
    Packing { number: 8, unit: (1, 1), range: (i32::MIN, i32::MAX), invalid: None };
/// Two's complement, 16 bits, high byte first.
pub(crate) const F61: Packing =
    Packing { number: 61, unit: (1, 2), range: (-32_767, 32_767), invalid: Some(-32_768) };
/// Offset binary, 16 bits, low byte first.
pub(crate) const F160: Packing =
    Packing { number: 160, unit: (1, 2), range: (-32_767, 32_767), invalid: Some(-32_768) };
/// Two's complement, 10 bits, three samples in two 16-bit words.
pub(crate) const F310: Packing =
    Packing { number: 310, unit: (3, 4), range: (-511, 511), invalid: Some(-512) };
/// Two's complement, 10 bits, three samples in one 32-bit word.
pub(crate) const F311: Packing =
    Packing { number: 311, unit: (3, 4), range: (-511, 511), invalid: Some(-512) };
/// A FLAC stream of up to 8 bits a sample. The formats from 500 on are that number and the bits.
pub(crate) const F508: Packing =
    Packing { number: 508, unit: (1, 1), range: (-127, 127), invalid: Some(-128) };
/// A FLAC stream of up to 16 bits a sample.
pub(crate) const F516: Packing =
    Packing { number: 516, unit: (1, 1), range: (-32_767, 32_767), invalid: Some(-32_768) };
/// A FLAC stream of up to 24 bits a sample.
pub(crate) const F524: Packing =
    Packing { number: 524, unit: (1, 1), range: (-8_388_607, 8_388_607), invalid: Some(-8_388_608) };
/// No samples at all: the format of a null signal (header(5), example 6).
pub(crate) const F0: Packing = Packing { number: 0, unit: (1, 1), range: (0, 0), invalid: None };

/// Every storage format that is read.
pub(crate) const PACKINGS: &[&Packing] =
    &[&F0, &F8, &F16, &F24, &F32, &F61, &F80, &F160, &F212, &F310, &F311, &F508, &F516, &F524];

/// The formats among which the writer chooses, smallest first.
pub(crate) const AUTOMATIC: &[&Packing] = &[&F16, &F24, &F32];
/// All that can be asked for.
pub(crate) const WRITTEN: &[&Packing] = &[&F16, &F24, &F32, &F80, &F212];

/// The number that a FLAC format's bits are added to.
pub(crate) const FLAC_BASE: u16 = 500;
/// Bits a sample that a WFDB FLAC stream may have.
pub(crate) const FLAC_BITS: &[u32] = &[8, 16, 24];
/// RFC 9639, 9.1.1: a frame holds at most 65535 samples of each channel; with its header, one subframe and its
/// checksum it takes at least 10 bytes.
pub(crate) const FLAC_FRAME: (u64, u64) = (65_535, 10);

/// The file of a null signal (header(5)).
pub(crate) const NO_FILE: &str = "~";

/// MAT v4 files hold this many bytes before the samples: five 32-bit numbers and the name `val` with its zero.
pub(crate) const MAT4_HEADER: usize = 24;

/// annot(5): the interval of the next annotation is in the next four bytes.
pub(crate) const SKIP: u8 = 59;
/// annot(5): the number of the annotation, from here on.
pub(crate) const NUM: u8 = 60;
/// annot(5): the subtype of the annotation, of this one only.
pub(crate) const SUB: u8 = 61;
/// annot(5): the channel of the annotation, from here on.
pub(crate) const CHN: u8 = 62;
/// annot(5): text of the annotation.
pub(crate) const AUX: u8 = 63;
/// The number of a word: ten bits.
pub(crate) const MOST_INTERVAL: u16 = 1023;
/// The last code that an annotation can have.
pub(crate) const LAST_CODE: u8 = 58;
/// The last code that is set apart for annotations (WFDB Programmer's Guide; the number from memory).
pub(crate) const LAST_DEFINED: u8 = 49;
/// WFDB Programmer's Guide: the most bytes of an annotation's text.
pub(crate) const MOST_AUX: usize = 255;
/// The code of a note.
pub(crate) const NOTE: u8 = 22;
/// A note at time 0 that begins so states the ticks per second (as PyPI wfdb 4.3.1 writes it).
pub(crate) const RESOLUTION: &str = "## time resolution: ";
/// Notes at time 0 between these two define codes (as PyPI wfdb 4.3.1 writes them).
pub(crate) const DEFINITIONS: &str = "## annotation type definitions";
/// The end of the definitions.
pub(crate) const END_OF_DEFINITIONS: &str = "## end of definitions";
/// Intervals of 32 bits that are written in a row; a mark farther away is spelled out in the header.
pub(crate) const MOST_SKIPS: i64 = 64;

/// Annotation codes, their mnemonics, and what they mean (WFDB Programmer's Guide; numbers as in PyPI wfdb 4.3.1).
pub(crate) const CODES: &[(u8, &str, &str)] = &[
    (1, "N", "normal beat"),
    (2, "L", "left bundle branch block beat"),
    (3, "R", "right bundle branch block beat"),
    (4, "a", "aberrated atrial premature beat"),
    (5, "V", "premature ventricular contraction"),
    (6, "F", "fusion of ventricular and normal beat"),
    (7, "J", "nodal (junctional) premature beat"),
    (8, "A", "atrial premature beat"),
    (9, "S", "supraventricular premature or ectopic beat"),
    (10, "E", "ventricular escape beat"),
    (11, "j", "nodal (junctional) escape beat"),
    (12, "/", "paced beat"),
    (13, "Q", "unclassifiable beat"),
    (14, "~", "change in signal quality"),
    (16, "|", "isolated QRS-like artifact"),
    (18, "s", "ST change"),
    (19, "T", "T-wave change"),
    (20, "*", "systole"),
    (21, "D", "diastole"),
    (22, "\"", "note"),
    (23, "=", "measurement"),
    (24, "p", "P-wave peak"),
    (25, "B", "bundle branch block beat"),
    (26, "^", "pacer spike, not captured"),
    (27, "t", "T-wave peak"),
    (28, "+", "rhythm change"),
    (29, "u", "U-wave peak"),
    (30, "?", "beat not classified during learning"),
    (31, "!", "ventricular flutter wave"),
    (32, "[", "start of ventricular flutter or fibrillation"),
    (33, "]", "end of ventricular flutter or fibrillation"),
    (34, "e", "atrial escape beat"),
    (35, "n", "supraventricular escape beat"),
    (36, "@", "link to other data"),
    (37, "x", "P wave that is not conducted"),
    (38, "f", "fusion of paced and normal beat"),
    (39, "(", "start of a wave"),
    (40, ")", "end of a wave"),
    (41, "r", "R-on-T premature ventricular contraction"),
];

/// The codes that stand for a beat (WFDB Programmer's Guide).
pub(crate) const BEATS: &[u8] = &[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 25, 30, 34, 35, 38, 41];

/// The codes of waves: P peak, T peak, U peak, onset, end.
pub(crate) const P_PEAK: u8 = 24;
/// T peak.
pub(crate) const T_PEAK: u8 = 27;
/// U peak.
pub(crate) const U_PEAK: u8 = 29;
/// Where a wave begins.
pub(crate) const WAVE_ON: u8 = 39;
/// Where a wave ends.
pub(crate) const WAVE_OFF: u8 = 40;
/// A pacing pulse.
pub(crate) const PACE: u8 = 26;
/// A change of rhythm.
pub(crate) const RHYTHM: u8 = 28;
/// A change of signal quality.
pub(crate) const QUALITY: u8 = 14;
/// A beat of no stated class.
pub(crate) const UNCLASSIFIED: u8 = 13;

/// Our own annotation file for marks that came from no annotation file and are on all leads.
pub(crate) const OWN: &str = "marks";
/// And for those on one lead: the channel is the signal.
pub(crate) const OWN_LEADS: &str = "leadmarks";
/// In our own files: the beat has no label, or one that no code has.
pub(crate) const SUB_NO_LABEL: i8 = 1;
/// In our own files: the peak of the QRS complex, for which there is no code.
pub(crate) const SUB_QRS_PEAK: i8 = 2;

/// Names by which published data sets call annotation files; a file of another name beside the record is read only
/// where every word of it is sound.
pub(crate) const ANNOTATORS: &[&str] = &[
    "atr", "qrs", "wqrs", "gqrs", "ecg", "ari", "ann", "man", "pu", "pu0", "pu1", "q1c", "q2c", "qt1", "st",
    "sta", "stb", "stc", "stf", "apn",
];

/// A file of another name is not looked into where it is longer: two million annotations; ours.
pub(crate) const MOST_UNKNOWN: u64 = 8 << 20;

/// Endings that are never an annotation file: the record's own, and those of everyday files.
pub(crate) const NOT_ANNOTATORS: &[&str] = &[
    "hea", "dat", "mat", "xws", "edf", "bdf", "scp", "dcm", "h5", "hdf5", "xml", "json", "jsonl", "txt",
    "md", "csv", "tsv", "toml", "yaml", "yml", "ini", "html", "htm", "svg", "pdf", "png", "jpg", "jpeg",
    "gif", "tif", "tiff", "zip", "gz", "tar", "7z", "log", "bak", "tmp", "part", "npy", "npz", "py", "m",
    "doc", "docx", "xls", "xlsx", "wav", "flac", "sha256", "sha512", "md5", "sig",
];

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
    fn annotation_codes_are_sorted_and_no_mnemonic_stands_twice() {
        assert!(CODES.is_sorted_by(|a, b| a.0 < b.0));
        let mut mnemonics: Vec<&str> = CODES.iter().map(|row| row.1).collect();
        mnemonics.sort_unstable();
        mnemonics.dedup();
        assert_eq!(mnemonics.len(), CODES.len());
        assert!(BEATS.iter().all(|code| CODES.iter().any(|row| row.0 == *code)));
    }

    #[test]
    fn no_storage_format_stands_twice() {
        let mut numbers: Vec<u16> = PACKINGS.iter().map(|packing| packing.number).collect();
        numbers.sort_unstable();
        numbers.dedup();
        assert_eq!(numbers.len(), PACKINGS.len());
    }
}
