//! Baseline wander.

use super::{Level, Levels};
use crate::evidence::Evidence;
use crate::noise::Noise;
use crate::strip::{Strip, Tracing};
use crate::{Finding, Rule};

pub(crate) const RULE: Rule = Rule {
    code: "baseline-wander",
    title: "Baseline wander",
    word: "baseline wander",
    rule: "From the lowest to the highest point of the baseline below about 0.5 Hz, in each lead. Above the policy's limits: \
           NOTE or WARN.",
    source: "project choice; 1 mV is 10 mm on paper",
    threshold: |policy| {
        format!("NOTE from {} uV, WARN from {} uV", policy.wander_uv_note, policy.wander_uv_warn)
    },
    limits: "A high-pass filter of the source hides it. Single wide beats move this baseline a little.",
    what_to_do: "Clean the skin, renew dry electrodes, let the patient lie still and breathe quietly; record again.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    // Where the baseline lies further from its middle than half the range that is worth a note.
    let far = evidence.policy.wander_uv_note / 2.0;
    let level = |(strip, tracing, noise): (&Strip, &Tracing, &Noise)| {
        let seconds = strip.seconds_begun().zip(&noise.wander_by_second_uv);
        let spans = seconds.filter(|(_, uv)| **uv >= far).map(|(second, _)| second).collect();
        Level { place: strip.place(tracing).within(spans), uv: noise.wander_uv, detail: String::new() }
    };
    let values: Vec<Level> =
        evidence.leads().filter(|(_, _, noise)| noise.wander_uv.is_finite()).map(level).collect();
    if values.is_empty() {
        return vec![super::not_assessed(rule, evidence, "baseline wander")];
    }
    let (note_uv, warn_uv) = (evidence.policy.wander_uv_note, evidence.policy.wander_uv_warn);
    let words = |leads: &str, worst: &Level| format!("the baseline wanders by {:.0} uV in {leads}", worst.uv);
    Levels { values, note_uv, warn_uv }.findings(rule, words)
}
