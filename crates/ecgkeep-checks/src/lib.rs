//! Technical and identity checks of a resting 12-lead ECG recording.
//!
//! They look at the technique of a recording: the right patient's identifiers, a tracing on every lead, leads
//! that fit together, about ten still seconds. They are no diagnosis and no medical interpretation: a recording
//! without a finding is not thereby a normal ECG. Local policy decides what is accepted; every threshold is in
//! [`Policy`], every rule with its source and its limits in [`RULES`].

mod assessment;
mod beats;
mod constants;
mod evidence;
mod finding;
mod identity;
mod interchange;
mod median_beat;
mod noise;
mod polarity;
mod policy;
mod quality;
mod relations;
mod rhythm;
mod rounded;
mod rule;
mod signal;
mod spikes;
mod statistics;
mod strip;
mod structure;
mod waves;

pub use assessment::{Assessment, CAUTIONS, run};
pub use finding::{Finding, Place, Verdict};
pub use identity::test_recording::test_recording;
pub use policy::faults::PolicyFault;
pub use policy::{Policy, Term};
pub use quality::{Grade, LeadQuality};
pub use rhythm::{RhythmFigures, rhythm, states_rhythm};
pub use rule::{RULES, Rule, rule};
