//! About ten seconds.

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "duration",
    title: "Duration",
    word: "not the usual length",
    rule: "The longest rhythm waveform must last as long as a resting strip. WARN when shorter or longer than the \
           policy's seconds.",
    source: "ten-second strip: common practice, no source; the width of the window is a project choice",
    threshold: |policy| format!("{} s to {} s", policy.strip_seconds_at_least, policy.strip_seconds_at_most),
    limits: "Long-term recordings and rhythm strips are not faulty for their length; use a policy of their own.",
    what_to_do: "Record again with the patient still until the device says that it has the whole strip.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let policy = evidence.policy;
    let longest = evidence.strips.iter().max_by(|a, b| a.waveform.seconds().cmp(&b.waveform.seconds()));
    let Some(strip) = longest.filter(|strip| strip.length() > 0) else {
        return vec![rule.finding(Verdict::NotAssessed, "there is no rhythm waveform with samples")];
    };
    let seconds = strip.seconds();
    let (words, limit) = if seconds < policy.strip_seconds_at_least {
        ("shorter", policy.strip_seconds_at_least)
    } else if seconds > policy.strip_seconds_at_most {
        ("longer", policy.strip_seconds_at_most)
    } else {
        return Vec::new();
    };
    let text = format!("the recording lasts {seconds:.2} s, {words} than {limit} s");
    vec![Finding {
        measured: quantity(seconds, 3, "s"),
        threshold: quantity(limit, 3, "s"),
        ..rule.finding(Verdict::Warn, text)
    }]
}
