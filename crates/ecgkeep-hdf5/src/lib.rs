//! Recordings in HDF5 files: one file holds one or many, laid out so that a researcher with h5py or any other HDF5
//! reader understands it unaided, and so that every field of the model comes back exactly.
//!
//! The layout, `ecgkeep-hdf5/1`, is documented in `schemas/hdf5-layout.md`. Per recording there is a group with
//! attributes for what is single, datasets of rows for marks, measurements, statements and extras, and per waveform one
//! integer dataset `[lead, sample]`. With the option `stack`, equal recordings make one dataset
//! `[recording, lead, sample]` and tables beside it, for loading straight into an array.
//!
//! HDF5 is written by its C library, behind the cargo feature `hdf5`; it wants a file, so bytes come through a private
//! temporary one. HDF5 is read here, without it: a file from outside is hostile until proven, and the library of Debian 12
//! (1.10.8) was ended by a memory fault by one of 70 files in which a few bytes were changed. A file of ours ends with a digest,
//! which is checked before anything else.

mod attributes;
mod carries;
mod cell;
mod constants;
mod digest;
mod file;
mod flat;
mod node;
mod number;
mod probe;
mod read;
mod recording;
mod rows;
mod signals;
mod stack;
mod tables;
mod values;
mod waveform;
mod words;
#[cfg(feature = "hdf5")]
mod write;

use ecgkeep_format::{
    About, Carries, File, Format, Limits, Match, OptionSpec, Options, Read, Result, Source,
};
use ecgkeep_recording::{Field, Recording};

/// HDF5.
#[derive(Clone, Copy, Debug, Default)]
pub struct Hdf5;

/// HDF5, as an entry of a list of formats.
pub static HDF5: Hdf5 = Hdf5;

impl Format for Hdf5 {
    fn about(&self) -> &'static About {
        &constants::ABOUT
    }

    fn available(&self) -> Result<()> {
        if cfg!(feature = "hdf5") { Ok(()) } else { Err(constants::not_in_this_build()) }
    }

    fn probe(&self, name: &str, head: &[u8]) -> Match {
        probe::probe(name, head)
    }

    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read> {
        read::read(source, limits)
    }

    fn options(&self) -> &'static [OptionSpec] {
        &[constants::STACK]
    }

    fn holds_many(&self) -> bool {
        true
    }

    #[cfg(feature = "hdf5")]
    fn joins(&self, first: &Recording, other: &Recording, options: &Options) -> Result<()> {
        write::joins(first, other, options)
    }

    #[cfg(feature = "hdf5")]
    fn encode(&self, recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>> {
        write::encode(recordings, stem, options)
    }

    #[cfg(not(feature = "hdf5"))]
    fn encode(&self, _recordings: &[Recording], _stem: &str, _options: &Options) -> Result<Vec<File>> {
        Err(constants::not_in_this_build())
    }

    /// Every field: what is single is laid out as the model's own form says, so that a new field is carried at once;
    /// the rest is taken apart field by field.
    fn carries(&self, _field: Field) -> Carries {
        Carries::Exact
    }

    fn carries_with(&self, field: Field, options: &Options) -> Carries {
        carries::carries(field, options)
    }
}
