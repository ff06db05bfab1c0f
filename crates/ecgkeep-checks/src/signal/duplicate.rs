//! Two leads with the same samples.

use ecgkeep_recording::Lead;

use crate::evidence::Evidence;
use crate::strip::Tracing;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "lead-duplicate",
    title: "Identical leads",
    rule: "Two leads of one waveform with the same voltage in every sample, or the opposite voltage in every sample: WARN. \
           aVR and -aVR may be opposites; flat leads are reported as flat.",
    source: "project choice",
    threshold: |_| String::new(),
    limits: "One sample that differs is enough to pass. Of more than 32 leads the first 32 are compared. With the left arm and right leg cables exchanged I and II are alike.",
    what_to_do: "Ask how the file was converted; check the limb cables.",
    judge,
};

/// Of more leads the first are compared, so that the work stays bounded: every pair is looked at.
const MOST_LEADS: usize = 32;

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let mut findings = Vec::new();
    for strip in evidence.strips.iter().filter(|strip| strip.length() > 1) {
        let tracings = &strip.tracings[..strip.tracings.len().min(MOST_LEADS)];
        for (index, one) in tracings.iter().enumerate() {
            if one.signal.samples.iter().all(|count| *count == one.signal.samples[0]) {
                continue;
            }
            for other in &tracings[index + 1..] {
                let words = match () {
                    () if are_alike(one, other, 1) => "are alike in every sample",
                    () if !are_avr_and_minus_avr(one, other) && are_alike(one, other, -1) => {
                        "are opposite in every sample"
                    }
                    () => continue,
                };
                let text = format!("leads {} and {} {words}", one.signal.lead, other.signal.lead);
                findings.push(rule.finding(Verdict::Warn, text));
            }
        }
    }
    if evidence.strips.iter().all(|strip| strip.tracings.len() < 2) {
        findings.push(super::not_assessed(rule, evidence, "leads alike"));
    }
    findings
}

fn are_avr_and_minus_avr(one: &Tracing, other: &Tracing) -> bool {
    let leads = [&one.signal.lead, &other.signal.lead];
    leads.contains(&&Lead::AVR) && leads.contains(&&Lead::NegativeAVR)
}

/// Whether one lead is the other times `sign`, exactly. Steps that differ are compared as voltages.
fn are_alike(one: &Tracing, other: &Tracing, sign: i32) -> bool {
    let (a, b) = (one.signal, other.signal);
    if a.missing != b.missing {
        return false;
    }
    if a.step == b.step && a.offset.is_zero() && b.offset.is_zero() {
        return a
            .samples
            .iter()
            .zip(&b.samples)
            .all(|(x, y)| i64::from(*x) == i64::from(sign) * i64::from(*y));
    }
    (0..a.samples.len()).filter(|at| !a.is_missing(*at)).all(|at| {
        let opposite = b.nanovolts(at).and_then(|value| value.times(sign.into()));
        a.nanovolts(at).is_some() && a.nanovolts(at) == opposite
    })
}
