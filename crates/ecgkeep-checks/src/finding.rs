//! What one rule found.

use std::fmt;

use ecgkeep_recording::{Lead, Quantity, Span};
use serde::Serialize;

/// How grave a [`Finding`] is; ordered from the least to the gravest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Verdict {
    /// Worth knowing; nothing need be done.
    Note,
    /// The rule could not be judged; the text says why. Never a silent pass.
    NotAssessed,
    /// Look at the recording, and at the patient and the electrodes if still there.
    Warn,
    /// A fact that makes the recording unfit to be filed as it is, under the policy used.
    Fail,
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Verdict::Note => "NOTE",
            Verdict::NotAssessed => "NOT ASSESSED",
            Verdict::Warn => "WARN",
            Verdict::Fail => "FAIL",
        })
    }
}

/// One finding of one rule.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The code of the rule, such as `lead-flat`; see [`crate::rule`].
    pub code: &'static str,
    /// How grave it is.
    pub verdict: Verdict,
    /// The lead it concerns; `None` for the whole recording or several leads (the text names them).
    pub lead: Option<Lead>,
    /// Where, in samples of the waveform that holds the lead, half-open; `None` for all of it.
    pub span: Option<Span>,
    /// The finding in words, with the measured value and the threshold.
    pub text: String,
    /// What was measured, rounded for reading.
    pub measured: Option<Quantity>,
    /// The threshold it was held against.
    pub threshold: Option<Quantity>,
    /// Where the rule comes from.
    pub source: &'static str,
}
