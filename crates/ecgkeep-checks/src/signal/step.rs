//! Steps of the baseline.

use ecgkeep_recording::Span;

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::statistics::{count, median};
use crate::strip::{Strip, Tracing};
use crate::{Finding, Place, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "baseline-step",
    title: "Sudden steps",
    word: "baseline step",
    rule: "The median of the 0.2 s after a point differs from that of the 0.2 s before it by more than the policy's limit, \
           so do the medians of the 0.6 s, which give its size, the rise takes at most 20 ms, and steps of half this size in \
           the same direction do not recur with the beats: WARN with the time.",
    source: "step and large-voltage-shift rules of the entries to the PhysioNet/CinC Challenge 2011 (Langley; \
             Johannesen); the numbers are project choices",
    threshold: |policy| format!("WARN from {} uV within 20 ms", policy.step_change_uv_at_most),
    limits: "A single wide beat can look so. A step that a high-pass filter has bent is found as wander.",
    what_to_do: "Fix the electrode and the cable that moved; record again.",
    judge,
};

const SIDE_SECONDS: f64 = 0.200;
const RISE_SECONDS: f64 = 0.020;

/// So long a stretch holds more baseline than waves: its median is the level.
const LEVEL_SECONDS: f64 = 0.600;

/// A step this near to a beat may be its QRS complex.
const NEAR_BEAT_SECONDS: f64 = 0.150;

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let limit = evidence.policy.step_change_uv_at_most;
    let mut steps: Vec<(Place, f64, f64)> = Vec::new();
    let mut judged = false;
    for (strip, tracing, _) in evidence.leads() {
        judged = true;
        let mut of_lead = steps_of(strip, tracing, limit);
        of_lead.retain(|(_, size)| size.abs() >= limit);
        if !of_lead.is_empty() {
            // A wide QRS complex steps too, in other beats perhaps a little less.
            let smaller = steps_of(strip, tracing, limit / 2.0);
            of_lead.retain(|(_, size)| !recurs(evidence, strip, &smaller, *size));
        }
        if of_lead.is_empty() {
            continue;
        }
        let spans = of_lead.iter().map(|(at, _)| Span { start: *at, end: at + 1 }).collect();
        let place = strip.place(tracing).within(spans);
        let largest = of_lead.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        steps.extend(largest.map(|(at, size)| (place, *size, strip.at_seconds(*at))));
    }
    if !judged {
        return vec![super::not_assessed(rule, evidence, "steps of the baseline")];
    }
    let Some((place, size, seconds)) = steps.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())) else {
        return Vec::new();
    };
    let (lead, size, seconds) = (&place.lead, *size, *seconds);
    let places: Vec<Place> = steps.iter().map(|(place, _, _)| place.clone()).collect();
    let most = if places.len() > 1 { format!(", most in {lead}:") } else { String::new() };
    let text = format!(
        "the baseline steps in {}{most} by {size:.0} uV at {seconds:.2} s; limit {limit} uV",
        super::names(&places)
    );
    vec![Finding {
        places,
        measured: quantity(size.abs(), 1, "uV"),
        threshold: quantity(limit, 1, "uV"),
        ..rule.finding(Verdict::Warn, text)
    }]
}

/// Sample and size of each step. What has less than half a side before or after it may be a wave cut off by the
/// ends of the strip, and is none.
fn steps_of(strip: &Strip, tracing: &Tracing, limit: f64) -> Vec<(usize, f64)> {
    let [side, rise, level] =
        [SIDE_SECONDS, RISE_SECONDS, LEVEL_SECONDS].map(|seconds| strip.samples(seconds));
    let values = &tracing.microvolts;
    let Some(last) = values.len().checked_sub(rise + side / 2) else { return Vec::new() };
    let mut steps: Vec<Step> = Vec::new();
    let mut index = side / 2;
    while index < last {
        let difference = (values[index + rise] - values[index]).abs();
        if difference.is_nan() || difference < limit {
            index += 1;
            continue;
        }
        let before = |length: usize| &values[index.saturating_sub(length)..=index];
        let after = |length: usize| &values[index + rise..(index + rise + length).min(values.len())];
        let middle = |values: &[f64]| median(&mut values.to_vec());
        if (middle(after(side)) - middle(before(side))).abs() >= limit {
            let (left, right) = (middle(before(level)), middle(after(level)));
            let misfit = from_level(before(level), left) + from_level(after(level), right);
            let step = Step { index, at: steepest(values, index..index + rise), size: right - left, misfit };
            match steps.last_mut() {
                // A QRS complex just before or after a step is an edge, too: the edge that parts two levels best counts.
                Some(near) if index - near.index <= side => {
                    if step.misfit < near.misfit {
                        *near = step;
                    }
                }
                _ => steps.push(step),
            }
        }
        // The same edge is not looked at again and again.
        index += rise;
    }
    steps.into_iter().map(|step| (step.at, step.size)).collect()
}

/// An edge between two levels.
struct Step {
    /// Where it was looked for.
    index: usize,
    /// The sample after its largest difference of neighbours.
    at: usize,
    /// From level to level, in microvolts.
    size: f64,
    /// How far the samples of both sides are from their levels, on average.
    misfit: f64,
}

/// How far values are from a level, on average.
fn from_level(values: &[f64], level: f64) -> f64 {
    values.iter().map(|value| (value - level).abs()).sum::<f64>() / count(values.len())
}

/// The sample after the largest difference of neighbours.
fn steepest(values: &[f64], range: std::ops::Range<usize>) -> usize {
    let slope = |at: &usize| (values[at + 1] - values[*at]).abs();
    let steepest = range.clone().max_by(|a, b| slope(a).total_cmp(&slope(b)));
    steepest.map_or(range.start, |at| at + 1)
}

/// Whether at least half of the beats bring a step in the direction of this one, or every such step stands at a beat and
/// there are several.
fn recurs(evidence: &Evidence, strip: &Strip, steps: &[(usize, f64)], size: f64) -> bool {
    let Ok(beats) = &evidence.beats else { return false };
    let near = strip.samples(NEAR_BEAT_SECONDS);
    let alike: Vec<usize> =
        steps.iter().filter(|(_, other)| other.signum() == size.signum()).map(|(at, _)| *at).collect();
    let with_step = |beat: &&usize| alike.iter().any(|at| at.abs_diff(**beat) <= near);
    let count = beats.at.iter().filter(with_step).count();
    2 * count >= beats.at.len() || (count >= 2 && count == alike.len())
}
