//! Voltages beyond what an electrocardiograph takes.

use super::Levels;
use crate::evidence::Evidence;
use crate::{Finding, Rule};

pub(crate) const RULE: Rule = Rule {
    code: "amplitude-range",
    title: "Voltages within the range of an ECG",
    rule: "The largest distance of a sample from the median of its lead. Above the policy's limit: WARN.",
    source: "input range of 5 mV to either side: EC11 and IEC 60601-2-25 (from memory)",
    threshold: |policy| format!("WARN from {} uV", policy.farthest_uv_at_most),
    limits: "Very large complexes of the young or of hypertrophy can exceed it; so does a wrong gain.",
    what_to_do: "Check the gain and the scale that the file declares; look for a moved electrode; record again.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let values: Vec<_> = evidence
        .leads()
        .map(|(_, tracing, noise)| (tracing.signal.lead.clone(), noise.farthest_uv))
        .collect();
    if values.is_empty() {
        return vec![super::not_assessed(rule, evidence, "the range of the voltages")];
    }
    let limit = evidence.policy.farthest_uv_at_most;
    let words = |leads: &str, worst: f64| format!("samples up to {worst:.0} uV from the median in {leads}");
    Levels { values, note_uv: limit, warn_uv: limit }.findings(rule, words)
}
