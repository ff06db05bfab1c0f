//! Points in time that a source marks on a waveform.

use serde::{Deserialize, Serialize};

use crate::{Code, Lead};

/// One mark.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Mark {
    /// Sample number counted from 0 at the waveform's first sample; may lie outside the waveform.
    pub sample: i64,
    /// The lead it is made on; `None` for all leads.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead: Option<Lead>,
    /// What is marked.
    pub kind: MarkKind,
    /// The source's short label, such as `N` for a normal beat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub label: Option<String>,
    /// Text that goes with it, word for word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// The source's own codes, so that the same format can give them back.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub codes: Vec<Code>,
}

impl Mark {
    /// A mark on all leads without label, text or codes.
    #[must_use]
    pub fn new(sample: i64, kind: MarkKind) -> Mark {
        Mark { sample, lead: None, kind, label: None, text: None, codes: Vec::new() }
    }
}

/// What a [`Mark`] marks.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum MarkKind {
    /// A beat (its reference point), of the class the label says.
    Beat,
    /// Where a wave begins.
    Onset(Wave),
    /// The peak of a wave.
    Peak(Wave),
    /// Where a wave ends.
    Offset(Wave),
    /// A pacing pulse.
    PacingPulse,
    /// The rhythm changes here.
    Rhythm,
    /// The signal quality changes here.
    Quality,
    /// A remark.
    Note,
    /// Anything else, under the source's own name.
    Other(String),
}

/// A wave of the ECG.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Wave {
    /// P wave.
    P,
    /// QRS complex.
    Qrs,
    /// T wave.
    T,
    /// U wave.
    U,
    /// The source does not say which.
    Unstated,
    /// Another one, under the source's own name.
    Other(String),
}
