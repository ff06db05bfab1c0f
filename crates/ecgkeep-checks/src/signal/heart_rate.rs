//! A rate that a heart can have.

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::statistics::count;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "heart-rate",
    title: "Beats and heart rate",
    word: "unusual rate",
    rule: "The rate from the mean interval of the beats found. Outside the policy's bounds: NOTE. Fewer than three beats: NOT \
           ASSESSED. Where the source states no rate, rate and RR intervals are printed, as automatic and unconfirmed.",
    source: "40 to 180 /min: Orphanidou 2015 (as coded elsewhere); bradycardia and tachycardia are real, so never more than \
             a NOTE",
    threshold: |policy| {
        format!("{} to {} /min", policy.heart_rate_per_min_at_least, policy.heart_rate_per_min_at_most)
    },
    limits: "Automatic and unconfirmed: tall T waves, pacing pulses and noise can be taken for beats, and beats be missed.",
    what_to_do: "Count the beats on the page; look at the patient if the rate is true.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let why = match (&evidence.beats, evidence.main()) {
        (Ok(beats), Some(strip)) if beats.at.len() >= 3 => {
            return judge_rate(rule, evidence, &beats.at, strip);
        }
        (Ok(_), _) => "fewer than three beats were found",
        (Err(why), _) => why,
    };
    vec![rule.finding(Verdict::NotAssessed, format!("the heart rate is not assessed: {why}"))]
}

fn judge_rate(
    rule: &Rule,
    evidence: &Evidence,
    beats: &[usize],
    strip: &crate::strip::Strip,
) -> Vec<Finding> {
    let policy = evidence.policy;
    let mean = strip.at_seconds(beats[beats.len() - 1] - beats[0]) / count(beats.len() - 1);
    let rate = 60.0 / mean;
    let (words, limit) = if rate < policy.heart_rate_per_min_at_least {
        ("below", policy.heart_rate_per_min_at_least)
    } else if rate > policy.heart_rate_per_min_at_most {
        ("above", policy.heart_rate_per_min_at_most)
    } else {
        return Vec::new();
    };
    let text = format!(
        "{} beats found, {rate:.0} /min, {words} {limit} /min; automatic and unconfirmed",
        beats.len()
    );
    vec![Finding {
        measured: quantity(rate, 0, "/min"),
        threshold: quantity(limit, 0, "/min"),
        ..rule.finding(Verdict::Note, text)
    }]
}
