//! The recording model as JSON (RFC 8259), for storing beside the original and for programs in any language.
//!
//! Shape, version 1: `{"schema": "ecgkeep-recording/1", "recordings": [ ... ]}`, each recording the serde form
//! of [`Recording`]; exact numbers are texts (`"62.4725"`, `"1/3"`), samples plain integers, one line per array.
//! What the model is silent about is left out. `schemas/recording.schema.json` describes it; a later version
//! gets another schema name and this one stays readable.

mod constants;
mod document;
mod layout;
mod read;
mod scan;
mod write;

use ecgkeep_format::{About, Carries, File, Format, Limits, Match, Options, Read, Result, Source};
use ecgkeep_recording::{Field, Recording};

pub use constants::SCHEMA;
pub use write::to_string;

/// The JSON form of the model.
#[derive(Clone, Copy, Debug, Default)]
pub struct Json;

/// The JSON form of the model, as an entry of a list of formats.
pub static JSON: Json = Json;

impl Format for Json {
    fn about(&self) -> &'static About {
        &constants::ABOUT
    }

    fn probe(&self, name: &str, head: &[u8]) -> Match {
        read::probe(name, head)
    }

    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read> {
        read::read(source, limits)
    }

    fn holds_many(&self) -> bool {
        true
    }

    fn encode(&self, recordings: &[Recording], stem: &str, _options: &Options) -> Result<Vec<File>> {
        write::encode(recordings, stem)
    }

    /// Every field: the form is that of the model itself, so a new field of the model is carried at once.
    fn carries(&self, _field: Field) -> Carries {
        Carries::Exact
    }
}
