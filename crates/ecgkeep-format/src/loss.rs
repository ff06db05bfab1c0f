//! Writing, and measuring what writing loses.

use std::fmt;
use std::sync::Arc;

use ecgkeep_recording::{Change, Field, Recording, differences};

use crate::format::main_file;
use crate::source::not_there;
use crate::{Carries, Error, File, Format, Kind, Limits, Options, Result, Source, Written, plain_name};

/// Something of a recording that a written file does not give back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loss {
    /// Which of the recordings that were written, counted from 0.
    pub recording: usize,
    /// Which field.
    pub field: Field,
    /// Where: a list position, a part, a lead.
    pub at: String,
    /// How it differs.
    pub change: Change,
    /// Why the format cannot carry it.
    pub why: &'static str,
    /// The clause of the format's standard.
    pub clause: &'static str,
}

impl fmt::Display for Loss {
    /// `fraction of the acquisition second: lost: 0.25 - whole seconds only (EN 1064, 5.4.5)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.field)?;
        if !self.at.is_empty() {
            write!(f, ", {}", self.at)?;
        }
        write!(f, ": {} - {} ({})", self.change, self.why, self.clause)
    }
}

/// Encodes, reads the result back, and states every difference as a [`Loss`].
/// # Errors
/// Those of [`Format::encode`]; [`Kind::Internal`] where the bytes cannot be read back or differ in a field that
/// the format says it carries exactly: then nothing is returned to be written.
pub fn write(
    format: &dyn Format,
    recordings: &[Recording],
    stem: &str,
    options: &Options,
) -> Result<Written> {
    options.check(format.about().id, format.options())?;
    let files = format.encode(recordings, stem, options)?;
    let source = Encoded { main: main_file(&files)?.name.as_str(), files: &files };
    let limits = Limits { file_bytes: u64::MAX, samples: u64::MAX, ..Limits::default() };
    let own_fault = |what: String| {
        Error::new(Kind::Internal, format!("{}: {what}", format.about().id))
            .remedy("nothing was written; this is a fault of ecgkeep, please report it")
    };
    let back = format
        .read(&source, &limits)
        .map_err(|error| own_fault(format!("own output cannot be read back: {error}")))?;
    if back.recordings.len() != recordings.len() {
        let (was, is) = (recordings.len(), back.recordings.len());
        return Err(own_fault(format!("{was} recordings were written, {is} come back")));
    }
    let mut losses = Vec::new();
    for (number, (recording, back)) in recordings.iter().zip(&back.recordings).enumerate() {
        for difference in differences(recording, back) {
            match format.carries_with(difference.field, options) {
                Carries::Exact => {
                    return Err(own_fault(format!("does not come back as written: {difference}")));
                }
                Carries::Limited { why, clause } | Carries::No { why, clause } => {
                    losses.push(Loss {
                        recording: number,
                        field: difference.field,
                        at: difference.at,
                        change: difference.change,
                        why,
                        clause,
                    });
                }
            }
        }
    }
    Ok(Written { files, losses })
}

/// What an encoder made, as a source for reading it back.
struct Encoded<'a> {
    main: &'a str,
    files: &'a [File],
}

impl Source for Encoded<'_> {
    fn main(&self) -> &str {
        self.main
    }

    fn names(&self) -> Result<Vec<String>> {
        let mut names: Vec<String> = self.files.iter().map(|file| file.name.clone()).collect();
        names.sort();
        Ok(names)
    }

    fn bytes(&self, name: &str, _limit: u64) -> Result<Arc<[u8]>> {
        let name = plain_name(name)?;
        let file = self.files.iter().find(|file| file.name == name);
        file.map(|file| file.bytes.as_slice().into()).ok_or_else(|| not_there(name))
    }
}
