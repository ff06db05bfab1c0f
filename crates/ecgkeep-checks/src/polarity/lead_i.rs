//! Lead I upright.

use ecgkeep_recording::Lead;

use super::{OTHER_EXPLANATIONS, Qrs};
use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "polarity-i",
    title: "Polarity of the QRS in lead I",
    word: "QRS mostly negative",
    rule: "The net area of the QRS complex of the median beat in lead I. NOTE where it is below zero and the deepest point \
           lies further from the baseline than the policy's factor times the highest.",
    source: "polarity signs of Batchvarov, Malik and Camm, Europace 2007 (abstract); the factor is a project choice",
    threshold: |policy| {
        format!("area below 0 uV s and depth more than {} times the height", policy.inverted_factor)
    },
    limits: "A prompt, and no warning: of 45 real recordings it is true of 1, by disease. A right axis, infarction, dextrocardia \
             and lung disease look the same, and most exchanges do not. Not validated for children.",
    what_to_do: "Compare with an earlier ECG, check the arm cables, and repeat if possible.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let beat = super::median_beat(evidence, &Lead::I);
    let qrs = match beat.and_then(|beat| Qrs::of(beat, super::beats(evidence))) {
        Ok(qrs) => qrs,
        Err(why) => return vec![super::not_assessed(rule, &Lead::I, &why)],
    };
    let is_inverted =
        qrs.area_uv_s < 0.0 && -qrs.low_uv > evidence.policy.inverted_factor * qrs.high_uv.max(0.0);
    let text = format!("lead I: QRS mostly negative ({qrs}; limit 0 uV s); {OTHER_EXPLANATIONS}");
    let finding = Finding {
        places: super::places(evidence, &Lead::I),
        measured: quantity(qrs.area_uv_s, 1, "uV.s"),
        threshold: quantity(0.0, 0, "uV.s"),
        ..rule.finding(Verdict::Note, text)
    };
    is_inverted.then_some(finding).into_iter().collect()
}
