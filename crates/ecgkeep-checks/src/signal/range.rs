//! Voltages beyond what an electrocardiograph takes.

use super::Levels;
use crate::evidence::Evidence;
use crate::noise::Noise;
use crate::statistics::median;
use crate::strip::Tracing;
use crate::{Finding, Rule};

pub(crate) const RULE: Rule = Rule {
    code: "amplitude-range",
    title: "Range of voltages",
    rule: "The largest distance of a sample from the median of its lead. Above the policy's limit: WARN.",
    source: "input range of 5 mV to either side: EC11 and IEC 60601-2-25 (from memory)",
    threshold: |policy| format!("WARN from {} uV", policy.farthest_uv_at_most),
    limits: "Very large complexes of the young or of hypertrophy can exceed it; so does a wrong gain.",
    what_to_do: "Check the gain and the scale that the file declares; look for a moved electrode; record again.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let limit = evidence.policy.farthest_uv_at_most;
    let farthest = |(_, tracing, noise): (_, &Tracing, &Noise)| {
        // What spans less cannot lie so far from its median.
        let value = if noise.range_uv < limit { 0.0 } else { farthest(&tracing.microvolts) };
        (tracing.signal.lead.clone(), value)
    };
    let values: Vec<_> = evidence.leads().map(farthest).collect();
    if values.is_empty() {
        return vec![super::not_assessed(rule, evidence, "the range of the voltages")];
    }
    let words = |leads: &str, worst: f64| format!("samples up to {worst:.0} uV from the median in {leads}");
    Levels { values, note_uv: limit, warn_uv: limit }.findings(rule, words)
}

/// The largest distance from the median.
fn farthest(microvolts: &[f64]) -> f64 {
    let middle = median(&mut microvolts.to_vec());
    microvolts.iter().map(|value| (value - middle).abs()).fold(0.0, f64::max)
}
