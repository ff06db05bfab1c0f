//! Clipping at the end of the range.

use ecgkeep_recording::Span;

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::statistics::count;
use crate::strip::{Strip, Tracing};
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "signal-clipped",
    title: "Clipping",
    word: "clipped",
    rule: "The highest or the lowest count of a lead stands in three or more samples in a row, entered or left by a jump, at \
           two places or more, or for the policy's seconds in one place within the strip, or is an end of a 12-bit or 16-bit range: WARN.",
    source: "saturation rule of the entries to the PhysioNet/CinC Challenge 2011 (Langley; Johannesen); the numbers are \
             project choices",
    threshold: |policy| format!("plateau of {} s, or 3 samples at 2 places", policy.clipped_seconds_at_most),
    limits: "Clipping that was filtered afterwards has no plateau and is not seen.",
    what_to_do: "Check electrode contact and the range of the recording device; record again.",
    judge,
};

/// Shortest plateau, in samples.
const PLATEAU: usize = 3;

/// By how many microvolts a clipped wave enters or leaves the plateau at least; the rounded top of a slow wave
/// does so by a count (project choice).
const JUMP_UV: f64 = 20.0;

/// Ends of 12-bit and 16-bit ranges.
const ENDS: [i32; 5] = [-2048, 2047, -32768, 32767, -32767];

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let mut findings = Vec::new();
    for strip in evidence.strips.iter().filter(|strip| strip.length() > PLATEAU) {
        for tracing in &strip.tracings {
            findings.extend(judge_lead(rule, evidence, strip, tracing));
        }
    }
    if evidence.strips.iter().all(|strip| strip.tracings.is_empty() || strip.length() <= PLATEAU) {
        findings.push(super::not_assessed(rule, evidence, "clipping"));
    }
    findings
}

fn judge_lead(rule: &Rule, evidence: &Evidence, strip: &Strip, tracing: &Tracing) -> Option<Finding> {
    let counts = &tracing.signal.samples;
    let (low, high) = if tracing.signal.missing.is_empty() {
        counts.iter().fold((i32::MAX, i32::MIN), |(low, high), count| (low.min(*count), high.max(*count)))
    } else {
        let all = || (0..counts.len()).filter(|at| !tracing.signal.is_missing(*at)).map(|at| counts[at]);
        (all().min()?, all().max()?)
    };
    if low == high {
        return None;
    }
    let long = strip.samples(evidence.policy.clipped_seconds_at_most);
    let flat = strip.samples(evidence.policy.flat_seconds_at_most);
    let jump = JUMP_UV / tracing.step_uv;
    for rail in [high, low] {
        let plateaus = plateaus(counts, rail, jump, long);
        let longest = plateaus.iter().copied().max_by_key(|span| span.len());
        // What is longer is no clipping but a flat lead, and reported as such.
        let Some(longest) = longest.filter(|span| span.len() < flat) else { continue };
        // Alone at an end of the strip it is a filter that settles or a strip that was filled up.
        let at_an_end = longest.start == 0 || longest.end == counts.len();
        let is_long = longest.len() >= long && !at_an_end;
        if plateaus.len() < 2 && !is_long && !ENDS.contains(&rail) {
            continue;
        }
        let level = f64::from(rail) * tracing.signal.step.nanovolts().to_f64() / 1000.0
            + tracing.signal.offset.to_f64() / 1000.0;
        let seconds = strip.at_seconds(longest.len());
        let text = format!(
            "lead {}: clipped at {level:.0} uV at {}, the longest for {} samples ({seconds:.3} s) from {:.2} s on; limit \
             {PLATEAU} samples",
            tracing.signal.lead,
            if plateaus.len() == 1 { "1 place".to_owned() } else { format!("{} places", plateaus.len()) },
            longest.len(),
            strip.at_seconds(longest.start)
        );
        return Some(Finding {
            places: vec![strip.place(tracing).within(plateaus)],
            measured: quantity(count(longest.len()), 0, "1"),
            threshold: quantity(count(PLATEAU), 0, "1"),
            ..rule.finding(Verdict::Warn, text)
        });
    }
    None
}

/// Stretches of the extreme count that begin or end with a jump, or are long.
fn plateaus(counts: &[i32], rail: i32, jump: f64, long: usize) -> Vec<Span> {
    let mut found = Vec::new();
    if counts.iter().filter(|count| **count == rail).count() < PLATEAU {
        return found;
    }
    let mut start = 0;
    for stretch in counts.chunk_by(|a, b| (*a == rail) == (*b == rail)) {
        let span = Span { start, end: start + stretch.len() };
        start = span.end;
        if stretch[0] != rail || stretch.len() < PLATEAU {
            continue;
        }
        let beside = [span.start.checked_sub(1), Some(span.end)];
        let far = |at: usize| {
            counts.get(at).is_some_and(|count| (f64::from(*count) - f64::from(rail)).abs() >= jump)
        };
        if stretch.len() >= long || beside.into_iter().flatten().any(far) {
            found.push(span);
        }
    }
    found
}
