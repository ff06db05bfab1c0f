//! Baseline wander.

use super::Levels;
use crate::evidence::Evidence;
use crate::{Finding, Rule};

pub(crate) const RULE: Rule = Rule {
    code: "baseline-wander",
    title: "Baseline wander",
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
    let values: Vec<_> = evidence
        .leads()
        .filter(|(_, _, noise)| noise.wander_uv.is_finite())
        .map(|(_, tracing, noise)| (tracing.signal.lead.clone(), noise.wander_uv))
        .collect();
    if values.is_empty() {
        return vec![super::not_assessed(rule, evidence, "baseline wander")];
    }
    let (note_uv, warn_uv) = (evidence.policy.wander_uv_note, evidence.policy.wander_uv_warn);
    let words = |leads: &str, worst: f64| format!("the baseline wanders by {worst:.0} uV in {leads}");
    Levels { values, note_uv, warn_uv }.findings(rule, words)
}
