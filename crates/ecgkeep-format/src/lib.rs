//! What every waveform format of ecgkeep answers to, and what its answers are made of.
//!
//! A format is one [`Format`]: it recognises its own files ([`Format::probe`]), turns a [`Source`] into
//! recordings and [`Note`]s ([`Format::read`]), and recordings into files ([`Format::encode`]). [`write()`] is the
//! one way to write: it encodes, reads its own bytes back, and states every [`Loss`] it finds. This crate names
//! no format.

mod cursor;
mod error;
mod format;
mod limits;
mod loss;
mod note;
mod options;
mod source;

pub use cursor::Cursor;
pub use error::{Error, Kind, Place, Result};
pub use format::{About, Carries, File, Format, Match, PROBE_BYTES, Read, Written};
pub use limits::Limits;
pub use loss::{Loss, write};
pub use note::{Note, Weight};
pub use options::{OptionSpec, Options};
pub use source::{Folder, Listings, Memory, Recorded, Source, plain_name};
