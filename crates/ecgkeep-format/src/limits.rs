//! How much of an input is taken before it is refused.

/// Limits on what one `read` may take; reaching one is [`Kind::Limit`](crate::Kind::Limit).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of one file. 1 GiB: a day of 12 leads at 500 Hz in 16 bits is 1.04 GB.
    pub file_bytes: u64,
    /// Samples of one read over all signals. 2^29 (2 GiB as `i32`): the same day.
    pub samples: u64,
    /// Signals of one recording. 256: more than any published ECG record carries.
    pub signals: usize,
    /// Marks of one recording. 10 million: a week of beats with four boundaries each.
    pub marks: usize,
    /// Bytes of one text item. 1 MiB: a long report is 10 kB.
    pub text_bytes: usize,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits { file_bytes: 1 << 30, samples: 1 << 29, signals: 256, marks: 10_000_000, text_bytes: 1 << 20 }
    }
}
