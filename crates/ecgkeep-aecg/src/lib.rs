//! HL7 annotated ECG (aECG): reads what is met with, writes the published element tree as far as it is known.
//!
//! Followed: HL7 V3 Annotated ECG Release 1 (ANSI/HL7 V3 ECG, R1-2004), by what public sources tell of its element
//! tree, data types and vocabularies. The schema itself is not at hand: what is written is well-formed and follows
//! the published element tree, and validates against our own description of it (`schemas/aecg-written.rng`); it is
//! not claimed to be valid against the standard's schema.
//!
//! One document is one recording. Every sequence set is one waveform, whatever series it stands in, and every
//! waveform is written as a series of its own; a representative beat is a derived series. Numbers are exact
//! decimals throughout. What the model does not name is kept as extras with its path, and goes back there. Nothing
//! is invented: an identifier of trial or site that the recording does not state is a `nullFlavor`.

mod annotations;
mod attributes;
mod authors;
mod carries;
mod conditions;
mod constants;
mod demographics;
mod digits;
mod document;
mod emit;
mod encoding;
mod extras;
mod leads;
mod marks;
mod node;
mod notes;
mod probe;
mod read;
mod regions;
mod sequences;
mod series;
mod text;
mod time;
mod timeline;
mod values;
mod write;

use ecgkeep_format::{About, Carries, File, Format, Limits, Match, Options, Read, Result, Source};
use ecgkeep_recording::{Field, Recording};

/// HL7 annotated ECG.
#[derive(Clone, Copy, Debug, Default)]
pub struct Aecg;

/// The format, for a list of formats.
pub static AECG: Aecg = Aecg;

pub(crate) const ABOUT: About = About {
    id: "aecg",
    title: "HL7 annotated ECG",
    standard: "ANSI/HL7 V3 ECG R1-2004 (reaffirmed 2009), by its published element tree",
    endings: &["xml", "aecg"],
    reads: "rhythm and derived series, annotations, subject, trial and device of one document",
    writes: "one well-formed document that follows the published element tree",
    status: "tested against an independent writer and checker in Python; the standard's own schema is not at hand",
};

impl Format for Aecg {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn probe(&self, name: &str, head: &[u8]) -> Match {
        probe::probe(name, head)
    }

    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read> {
        read::read(source, limits)
    }

    fn encode(&self, recordings: &[Recording], stem: &str, _options: &Options) -> Result<Vec<File>> {
        write::encode(recordings, stem)
    }

    fn carries(&self, field: Field) -> Carries {
        carries::carries(field)
    }
}
