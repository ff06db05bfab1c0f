//! Voltages beyond what an electrocardiograph takes.

use ecgkeep_recording::Span;

use super::{Level, Levels};
use crate::evidence::Evidence;
use crate::noise::Noise;
use crate::statistics::median;
use crate::strip::{Strip, Tracing};
use crate::{Finding, Rule};

pub(crate) const RULE: Rule = Rule {
    code: "amplitude-range",
    title: "Range of voltages",
    word: "beyond the range",
    rule: "The largest distance of a sample from the median of its lead. Above the policy's limit: WARN.",
    source: "input range of 5 mV to either side: EC11 and IEC 60601-2-25 (from memory)",
    threshold: |policy| format!("WARN from {} uV", policy.farthest_uv_at_most),
    limits: "Very large complexes of the young or of hypertrophy can exceed it; so does a wrong gain.",
    what_to_do: "Check the gain and the scale that the file declares; look for a moved electrode; record again.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let limit = evidence.policy.farthest_uv_at_most;
    let level = |(strip, tracing, noise): (&Strip, &Tracing, &Noise)| {
        // What spans less cannot lie so far from its median.
        let (uv, spans) =
            if noise.range_uv < limit { (0.0, Vec::new()) } else { far(&tracing.microvolts, limit) };
        Level { place: strip.place(tracing).within(spans), uv, detail: String::new() }
    };
    let values: Vec<Level> = evidence.leads().map(level).collect();
    if values.is_empty() {
        return vec![super::not_assessed(rule, evidence, "the range of the voltages")];
    }
    let words =
        |leads: &str, worst: &Level| format!("samples up to {:.0} uV from the median in {leads}", worst.uv);
    Levels { values, note_uv: limit, warn_uv: limit }.findings(rule, words)
}

/// The largest distance from the median, and the stretches that lie as far as the limit.
fn far(microvolts: &[f64], limit: f64) -> (f64, Vec<Span>) {
    let middle = median(&mut microvolts.to_vec());
    let distance = |value: &f64| (value - middle).abs();
    let largest = microvolts.iter().map(distance).fold(0.0, f64::max);
    let mut start = 0;
    let mut spans = Vec::new();
    for stretch in microvolts.chunk_by(|a, b| (distance(a) >= limit) == (distance(b) >= limit)) {
        let span = Span { start, end: start + stretch.len() };
        start = span.end;
        if distance(&stretch[0]) >= limit {
            spans.push(span);
        }
    }
    (largest, spans)
}
