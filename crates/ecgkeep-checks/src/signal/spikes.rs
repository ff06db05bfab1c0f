//! Spikes of one or two samples, such as of contacts that jump.

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::spikes::{largest, places};
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "spikes",
    title: "Spikes",
    word: "spikes",
    rule: "A sample that stands out from all of the 8 ms that begin 4 ms before and after it by the policy's microvolts, by \
           twice the range of these, and by eight times the muscle noise of its second. Those that recur with the beats are \
           left to `pacing-like`, those within a QRS complex are taken for its notches. The others: NOTE, from the policy's \
           number on WARN.",
    source: "spike rule of the entry of Hayn 2011 to the PhysioNet/CinC Challenge 2011; the numbers are project choices, tried \
             on 45 real recordings",
    threshold: |policy| {
        format!("{} uV; WARN from {} spikes on", policy.spike_uv_at_least, policy.spikes_warn)
    },
    limits: "A spike within a QRS complex is not seen, nor one that a low-pass filter has broadened. NOT ASSESSED below 250 \
             samples per second.",
    what_to_do: "Check cables, clips and dry electrodes; look for a telephone or a pump near the leads; record again. If the \
                 patient has a pacemaker, note it on the request.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let (strip, spikes) = match (evidence.main(), &evidence.spikes) {
        (Some(strip), Ok(spikes)) => (strip, &spikes.alone),
        (_, Err(why)) => {
            return vec![rule.finding(Verdict::NotAssessed, format!("spikes not assessed: {why}"))];
        }
        (None, Ok(_)) => return Vec::new(),
    };
    let Some(most) = largest(spikes) else { return Vec::new() };
    let policy = evidence.policy;
    let verdict = if spikes.len() >= policy.spikes_warn { Verdict::Warn } else { Verdict::Note };
    let places = places(strip, spikes);
    let many = if spikes.len() == 1 { "1 spike".to_owned() } else { format!("{} spikes", spikes.len()) };
    let text = format!(
        "{many} in {}, up to {:.0} uV at {:.2} s; limit {} uV, WARN from {} spikes on",
        super::names(&places),
        most.uv,
        strip.at_seconds(most.at),
        policy.spike_uv_at_least,
        policy.spikes_warn
    );
    vec![Finding {
        places,
        measured: quantity(most.uv, 0, "uV"),
        threshold: quantity(policy.spike_uv_at_least, 1, "uV"),
        ..rule.finding(verdict, text)
    }]
}
