//! The quality of the signal, lead by lead.

use ecgkeep_recording::Lead;

use crate::evidence::Evidence;
use crate::finding::Finding;
use crate::rounded::quantity;
use crate::strip::Strip;
use crate::{Rule, Verdict};

pub(crate) mod clipped;
pub(crate) mod duplicate;
pub(crate) mod heart_rate;
pub(crate) mod low_voltage;
pub(crate) mod mains;
pub(crate) mod muscle;
pub(crate) mod range;
pub(crate) mod step;
pub(crate) mod wander;

/// A value in microvolts for each lead, held against a limit for a NOTE and one for a WARN.
struct Levels {
    values: Vec<(Lead, f64)>,
    note_uv: f64,
    warn_uv: f64,
}

impl Levels {
    /// At most one WARN and one NOTE, each naming its leads and the worst of them; `words` takes the leads and the
    /// worst value.
    fn findings(&self, rule: &Rule, words: impl Fn(&str, f64) -> String) -> Vec<Finding> {
        let above = |low: f64, high: f64| {
            let within = |value: f64| value >= low && (value < high || high.is_nan());
            self.values.iter().filter(|(_, value)| within(*value)).collect::<Vec<_>>()
        };
        let groups = [
            (Verdict::Warn, self.warn_uv, above(self.warn_uv, f64::NAN)),
            (Verdict::Note, self.note_uv, above(self.note_uv, self.warn_uv)),
        ];
        let finding = |(verdict, limit, leads): (Verdict, f64, Vec<&(Lead, f64)>)| {
            let (worst, value) = leads.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
            let named = names(&leads.iter().map(|(lead, _)| lead).collect::<Vec<_>>());
            let also = if leads.len() > 1 { format!(" (most in {worst})") } else { String::new() };
            Some(Finding {
                lead: (leads.len() == 1).then(|| worst.clone()),
                measured: quantity(*value, 1, "uV"),
                threshold: quantity(limit, 1, "uV"),
                ..rule.finding(verdict, format!("{}{also}; limit {limit:.0} uV", words(&named, *value)))
            })
        };
        groups.into_iter().filter_map(finding).collect()
    }
}

/// `lead V3`, `leads V1, V2 and V3`, `all 12 leads`.
fn names(leads: &[&Lead]) -> String {
    let names: Vec<String> = leads.iter().map(|lead| lead.name()).collect();
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
