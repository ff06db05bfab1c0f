//! Missing samples.

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::statistics::count;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "lead-gap",
    title: "Missing samples",
    word: "samples missing",
    rule: "Samples that the source does not have: WARN for any, FAIL where they make up more than the policy's share of \
           a lead.",
    source: "project choice",
    threshold: |policy| format!("FAIL above {} % of a lead", policy.missing_percent_at_most),
    limits: "Only what the source marks as missing is seen; a gap filled with zeros is found as a flat lead.",
    what_to_do: "Record again, or export again if the recording device shows the lead complete.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let limit = evidence.policy.missing_percent_at_most;
    let mut findings = Vec::new();
    for strip in &evidence.strips {
        for tracing in &strip.tracings {
            let signal = tracing.signal;
            let Some(longest) = signal.missing.iter().copied().max_by_key(|span| span.len()) else {
                continue;
            };
            let missing: usize = signal.missing.iter().map(|span| span.len()).sum();
            let percent = 100.0 * count(missing) / count(signal.samples.len());
            let verdict = if percent > limit { Verdict::Fail } else { Verdict::Warn };
            let gaps = match signal.missing.len() {
                1 => "1 gap".to_owned(),
                n => format!("{n} gaps"),
            };
            let samples = if missing == 1 { "1 sample is" } else { &format!("{missing} samples are") };
            let text = format!(
                "lead {}: {samples} missing ({percent:.1} %, {gaps}; limit {limit} %), the longest stretch for {:.2} s \
                 from {:.2} s on",
                signal.lead,
                strip.at_seconds(longest.len()),
                strip.at_seconds(longest.start)
            );
            findings.push(Finding {
                places: vec![strip.place(tracing).within(signal.missing.clone())],
                measured: quantity(percent, 1, "%"),
                threshold: quantity(limit, 1, "%"),
                ..rule.finding(verdict, text)
            });
        }
    }
    findings
}
