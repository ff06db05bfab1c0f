//! Samples per second.

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "sampling-rate",
    title: "Sampling rate",
    word: "sampling rate",
    rule: "WARN below the policy's least rate or above its greatest plausible one; NOTE below the rate recommended for \
           adults.",
    source: "500 samples/s: AHA/ACC/HRS 2007, part I (Kligfield, Circulation 115:1306; from a summary); 250: 4 ms found \
             adequate for 100 Hz by Berson 1977 (abstract); the greatest: project choice",
    threshold: |policy| {
        format!(
            "WARN below {} or above {}, NOTE below {} samples per second",
            policy.rate_hz_at_least, policy.rate_hz_at_most, policy.rate_hz_recommended
        )
    },
    limits: "A recording that was sampled slowly and filled up afterwards shows the higher rate.",
    what_to_do: "Export at the rate of recording; notches and pacing pulses are not to be judged on slow samples.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let policy = evidence.policy;
    let Some(strip) = evidence.main() else {
        return vec![rule.finding(Verdict::NotAssessed, "there is no rhythm waveform")];
    };
    let rate = strip.rate_hz;
    let (verdict, words, limit) = if rate < policy.rate_hz_at_least {
        (Verdict::Warn, "fewer than", policy.rate_hz_at_least)
    } else if rate > policy.rate_hz_at_most {
        (Verdict::Warn, "implausible: more than", policy.rate_hz_at_most)
    } else if rate < policy.rate_hz_recommended {
        (Verdict::Note, "fewer than", policy.rate_hz_recommended)
    } else {
        return Vec::new();
    };
    let text = format!("{rate} samples per second, {words} {limit}");
    vec![Finding {
        measured: quantity(rate, 3, "Hz"),
        threshold: quantity(limit, 3, "Hz"),
        ..rule.finding(verdict, text)
    }]
}
