//! Recordings in HDF5 files: one file holds one or many, laid out so that a researcher with h5py or any other HDF5
//! reader understands it unaided, and so that every field of the model comes back exactly.
//!
//! The layout, `ecgkeep-hdf5/1`, is documented in `schemas/hdf5-layout.md`. Per recording there is a group with
//! attributes for what is single, datasets of rows for marks, measurements, statements and extras, and per waveform one
//! integer dataset `[lead, sample]`. With the option `stack`, equal recordings make one dataset
//! `[recording, lead, sample]` and tables beside it, for loading straight into an array.
//!
//! HDF5 is read and written by its C library, behind the cargo feature `hdf5`; without it files are still recognised,
//! and reading says how to get it. The library wants a file, so bytes pass through a private temporary one. It is C, and
//! a file from outside is hostile until proven: texts have a fixed length, and link, rank, size, type, chunks and
//! filters are checked before anything is read. A file of ours ends with a digest, which is checked before all that.

mod constants;
mod probe;

#[cfg(feature = "hdf5")]
mod attributes;
#[cfg(feature = "hdf5")]
mod cell;
#[cfg(feature = "hdf5")]
mod digest;
#[cfg(feature = "hdf5")]
mod flat;
#[cfg(feature = "hdf5")]
mod node;
#[cfg(feature = "hdf5")]
mod number;
#[cfg(feature = "hdf5")]
mod read;
#[cfg(feature = "hdf5")]
mod recording;
#[cfg(feature = "hdf5")]
mod rows;
#[cfg(feature = "hdf5")]
mod scratch;
#[cfg(feature = "hdf5")]
mod signals;
#[cfg(feature = "hdf5")]
mod stack;
#[cfg(feature = "hdf5")]
mod superblock;
#[cfg(feature = "hdf5")]
mod tables;
#[cfg(feature = "hdf5")]
mod values;
#[cfg(feature = "hdf5")]
mod waveform;
#[cfg(feature = "hdf5")]
mod words;
#[cfg(feature = "hdf5")]
mod write;

mod carries;

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

    #[cfg(feature = "hdf5")]
    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read> {
        read::read(source, limits)
    }

    #[cfg(not(feature = "hdf5"))]
    fn read(&self, source: &dyn Source, _limits: &Limits) -> Result<Read> {
        Err(constants::not_in_this_build().at(ecgkeep_format::Place::file(source.main())))
    }

    fn options(&self) -> &'static [OptionSpec] {
        &[constants::STACK]
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
