//! The in-memory model of one resting ECG recording.
//!
//! It knows no file format, touches no disk and reads no clock. Every number that is not a count is an
//! [`Exact`] fraction; `Option` and an empty list mean that the source is silent, never zero; codes that are
//! not known are kept as `Other`. [`differences`] compares two recordings field by field and voltage by
//! voltage, [`Recording::fingerprint`] names the waveform whatever format it came from.
//!
//! # Features
//! * `schema`: JSON Schema (2020-12) of every part.

mod acquisition;
mod differences;
mod exact;
mod fingerprint;
mod lead;
mod mark;
mod measurement;
mod person;
mod recording;
#[cfg(feature = "schema")]
mod schema;
mod subject;
mod time;
mod waveform;

pub use acquisition::{Acquisition, Device, Filters};
pub use differences::{Change, Difference, Field, differences};
pub use exact::{Exact, MOST_DIGITS, NotExact};
pub use fingerprint::Fingerprint;
pub use lead::Lead;
pub use mark::{Mark, MarkKind, Wave};
pub use measurement::{Measurement, MeasurementKind, Scope, Statement, StatementStatus};
pub use person::{Code, Coded, Identifier, Person, PersonName, Quantity};
pub use recording::{Extra, ExtraValue, Filing, Origin, Recording};
pub use subject::{Sex, Subject};
pub use time::{CivilTime, NotATime, PartialDate, TimeOfDay};
pub use waveform::{NotAWaveform, Rate, Signal, SignalUnit, Span, Step, Waveform, WaveformKind};
