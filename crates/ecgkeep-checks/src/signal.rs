//! The quality of the signal, lead by lead.

use ecgkeep_recording::Lead;

use crate::evidence::Evidence;
use crate::finding::Finding;
use crate::rounded::quantity;
use crate::strip::Strip;
use crate::{Place, Rule, Verdict};

pub(crate) mod clipped;
pub(crate) mod duplicate;
pub(crate) mod heart_rate;
pub(crate) mod low_voltage;
pub(crate) mod mains;
pub(crate) mod muscle;
pub(crate) mod pacing;
pub(crate) mod range;
pub(crate) mod spikes;
pub(crate) mod step;
pub(crate) mod wander;

/// A value in microvolts for each lead, held against a limit for a NOTE and one for a WARN.
struct Levels {
    values: Vec<Level>,
    note_uv: f64,
    warn_uv: f64,
}

/// What one lead has, and where.
struct Level {
    place: Place,
    uv: f64,
    /// What else is to be said of it.
    detail: String,
}

impl Levels {
    /// At most one WARN and one NOTE, each naming its leads and the worst of them; `words` takes the leads and the
    /// worst value.
    fn findings(&self, rule: &Rule, words: impl Fn(&str, &Level) -> String) -> Vec<Finding> {
        let above = |low: f64, high: f64| {
            let within = |value: f64| value >= low && (value < high || high.is_nan());
            self.values.iter().filter(|level| within(level.uv)).collect::<Vec<_>>()
        };
        let groups = [
            (Verdict::Warn, self.warn_uv, above(self.warn_uv, f64::NAN)),
            (Verdict::Note, self.note_uv, above(self.note_uv, self.warn_uv)),
        ];
        let finding = |(verdict, limit, levels): (Verdict, f64, Vec<&Level>)| {
            let worst = levels.iter().copied().max_by(|a, b| a.uv.total_cmp(&b.uv))?;
            let places: Vec<Place> = levels.iter().map(|level| level.place.clone()).collect();
            let mut named = names(&places);
            if levels.len() > 1 {
                named.push_str(&format!(" (most in {})", worst.place.lead));
            }
            Some(Finding {
                places,
                measured: quantity(worst.uv, 1, "uV"),
                threshold: quantity(limit, 1, "uV"),
                ..rule.finding(verdict, format!("{}; limit {limit} uV", words(&named, worst)))
            })
        };
        groups.into_iter().filter_map(finding).collect()
    }
}

/// `lead V3`, `leads V1, V2 and V3`, `all 12 leads`.
fn names(places: &[Place]) -> String {
    let names: Vec<String> = places.iter().map(|place| place.lead.name()).collect();
    match names.as_slice() {
        [one] => format!("lead {one}"),
        all if all.len() >= Lead::TWELVE.len() => format!("all {} leads", all.len()),
        [some @ .., last] => format!("leads {} and {last}", some.join(", ")),
        [] => "no lead".to_owned(),
    }
}

/// NOT ASSESSED, with the reason that holds for all rules on voltages.
fn not_assessed(rule: &Rule, evidence: &Evidence, what: &str) -> Finding {
    let tracings =
        evidence.strips.iter().filter(|strip| strip.length() > 0).flat_map(|strip| &strip.tracings);
    let why = if evidence.strips.iter().any(Strip::is_too_long) {
        "the recording is longer than any resting strip"
    } else if tracings.count() == 0 {
        "there is no lead with samples of known voltage"
    } else {
        "too few samples, or too few in a second"
    };
    rule.finding(Verdict::NotAssessed, format!("{what} not assessed: {why}"))
}
