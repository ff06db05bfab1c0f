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
    /// The leads it concerns, and when; empty for the whole recording.
    pub places: Vec<Place>,
    /// The finding in words, complete in itself: what was measured and the limit stand in it, each once.
    pub text: String,
    /// What was measured, rounded for reading.
    pub measured: Option<Quantity>,
    /// The threshold it was held against.
    pub threshold: Option<Quantity>,
    /// Where the rule comes from.
    pub source: &'static str,
}

/// Stretches named one by one (project choice: as many as anybody reads).
const SPANS_AT_MOST: usize = 100;

/// One lead that a finding concerns, and when.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Place {
    /// The lead.
    pub lead: Lead,
    /// The index of the waveform that holds it; `None` for a lead that no waveform holds.
    pub waveform: Option<usize>,
    /// Stretches in samples of that waveform, half-open, ascending; empty for all of it.
    pub spans: Vec<Span>,
}

impl Place {
    /// The same lead, in these stretches only, ascending; of very many the last ones are taken as one.
    pub(crate) fn within(self, mut spans: Vec<Span>) -> Place {
        if let Some(last) = spans.last().copied().filter(|_| spans.len() > SPANS_AT_MOST) {
            spans.truncate(SPANS_AT_MOST);
            spans[SPANS_AT_MOST - 1].end = last.end;
        }
        Place { spans, ..self }
    }
}

impl Finding {
    /// The lead, where it concerns exactly one.
    #[must_use]
    pub fn lead(&self) -> Option<&Lead> {
        match self.places.as_slice() {
            [place] => Some(&place.lead),
            _ => None,
        }
    }
}
