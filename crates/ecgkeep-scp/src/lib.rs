//! SCP-ECG, the standard communications protocol for resting electrocardiograms: EN 1064:2005+A1:2007 (the text
//! of ISO 11073-91064:2009), read in versions 1.x, 2.x and, as far as its sections keep their shape, 3.x; written in
//! version 2.
//!
//! The layout followed is largely from memory of the standard, and no file of another maker has been compared yet:
//! see the crate's README for what is read, written and carried as bytes. A file written here is never to be the
//! only copy of a recording.

mod beats;
mod bits;
mod carries;
mod constants;
mod device;
mod expansion;
mod extras;
mod global;
mod header;
mod huffman;
mod lead_values;
mod leads;
mod making;
mod patient;
mod probe;
mod read;
mod reading;
mod record;
mod reference_beat;
mod rhythm;
mod scaling;
mod signals;
mod statements;
mod tags;
mod text;
mod write;

use ecgkeep_format::{
    About, Carries, File, Format, Limits, Match, OptionSpec, Options, Read, Result, Source,
};
use ecgkeep_recording::{Field, Recording};

/// The format SCP-ECG.
#[derive(Clone, Copy, Debug)]
pub struct Scp;

/// The one value of [`Scp`], for lists of formats.
pub static SCP: Scp = Scp;

const ABOUT: About = About {
    id: extras::FORMAT,
    title: "SCP-ECG",
    standard: "EN 1064:2005+A1:2007 (ISO 11073-91064:2009), largely from memory of the text",
    endings: &["scp"],
    reads: "versions 1, 2 and (resting sections) 3, every compression; sections 9 and 12 up as bytes",
    writes: "version 2, lossless: Huffman coded differences or plain samples",
    status: "agrees with an independent encoder and a strict checker in Python; no file of another maker is compared",
};

impl Format for Scp {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn probe(&self, name: &str, head: &[u8]) -> Match {
        probe::probe(name, head)
    }

    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read> {
        read::read(source, limits)
    }

    fn options(&self) -> &'static [OptionSpec] {
        &[write::COMPRESSION]
    }

    fn encode(&self, recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>> {
        write::encode(recordings, stem, options)
    }

    fn carries(&self, field: Field) -> Carries {
        carries::carries(field)
    }
}
