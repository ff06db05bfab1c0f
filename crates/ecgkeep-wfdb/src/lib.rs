//! WFDB records: a text header that describes signal files beside it.
//!
//! Followed are header(5), signal(5) and annot(5) of the WFDB Applications Guide. What WFDB has no field for is
//! carried in comment lines of the header, `#<key>: value` (schemas/wfdb-info-strings.md).

use ecgkeep_format::{
    About, Carries, File, Format, Limits, Match, OptionSpec, Options, Read, Result, Source,
};
use ecgkeep_recording::{Field, Recording};

mod annotations;
mod annotators;
mod as_text;
mod carries;
mod comments;
mod constants;
mod flac;
mod header;
mod info;
mod keys;
mod line;
mod marks;
mod packing;
mod plan;
mod read;
mod record_line;
mod samples;
mod scale;
mod segments;
mod signal_files;
mod signal_line;
mod waveforms;
mod write;

/// The format.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wfdb;

/// The format, ready to be listed.
pub static WFDB: Wfdb = Wfdb;

impl Format for Wfdb {
    fn about(&self) -> &'static About {
        &constants::ABOUT
    }

    fn probe(&self, name: &str, head: &[u8]) -> Match {
        let is_named = name.to_ascii_lowercase().ends_with(".hea");
        match (header::looks_like_one(head), is_named) {
            (true, _) => Match::Certain,
            (false, true) => Match::ByName,
            (false, false) => Match::No,
        }
    }

    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read> {
        read::read(source, limits)
    }

    fn options(&self) -> &'static [OptionSpec] {
        &[write::STORAGE]
    }

    fn takes_stem(&self, stem: &str) -> bool {
        write::check_stem(stem).is_ok()
    }

    fn encode(&self, recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>> {
        write::encode_record(recordings, stem, options)
    }

    fn carries(&self, field: Field) -> Carries {
        carries::carries(field)
    }
}
