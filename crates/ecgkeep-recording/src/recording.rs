//! The whole recording, and what a person supplied beside it.

use serde::{Deserialize, Serialize};

use crate::{Acquisition, CivilTime, Measurement, Person, Statement, Subject, Waveform, WaveformKind};

/// One resting ECG recording as a source holds it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Recording {
    /// The patient.
    pub subject: Subject,
    /// The making of the recording.
    pub acquisition: Acquisition,
    /// The signals: the rhythm first, then what the source adds, such as representative beats.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub waveforms: Vec<Waveform>,
    /// The source's measurements.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub measurements: Vec<Measurement>,
    /// The source's statements.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub statements: Vec<Statement>,
    /// What the source holds and the model does not name.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub extras: Vec<Extra>,
    /// Where the recording came from; not compared.
    pub origin: Origin,
}

impl Recording {
    /// The waveforms of the whole recording (as against representative beats), in order.
    pub fn rhythm(&self) -> impl Iterator<Item = &Waveform> {
        self.waveforms.iter().filter(|waveform| waveform.kind == WaveformKind::Rhythm)
    }
}

/// An item of the source that the model does not name, kept word for word so that writing the same format
/// again gives it back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Extra {
    /// The id of the format it came from.
    pub format: String,
    /// Where it stood: a tag, a path, a key.
    pub address: String,
    /// What stood there.
    pub value: ExtraValue,
}

/// The value of an [`Extra`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum ExtraValue {
    /// Text, word for word.
    Text(String),
    /// Bytes, as they stood.
    Bytes(Vec<u8>),
}

/// Where a recording came from.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Origin {
    /// The id of the format, such as `wfdb`.
    pub format: String,
    /// The edition or version that the source states.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
    /// The name by which the source calls the record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub record: Option<String>,
}

/// What a person supplied beside a source that cannot carry it: kept apart from the recording, never merged.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Filing {
    /// Who supplied it.
    pub supplied_by: Person,
    /// When it was supplied.
    #[serde(skip_serializing_if = "CivilTime::is_empty")]
    pub at: CivilTime,
    /// The patient.
    pub subject: Subject,
    /// The making of the recording.
    pub acquisition: Acquisition,
    /// Whether the recording is none of a patient, but a test of the machine or a demonstration.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub test_recording: bool,
}
