//! Lead aVR inverted.

use ecgkeep_recording::Lead;

use super::{OTHER_EXPLANATIONS, Qrs};
use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "polarity-avr",
    title: "Polarity of the QRS in lead aVR",
    word: "QRS mostly positive",
    rule: "The net area of the QRS complex of the median beat in lead aVR, or in -(I + II)/2 where aVR is not stored. NOTE \
           where it is above zero and the highest point lies further from the baseline than the policy's factor times \
           the deepest.",
    source: "positive complexes in aVR: Batchvarov, Malik and Camm, Europace 2007 (abstract); the factor is a project choice",
    threshold: |policy| {
        format!("area above 0 uV s and height more than {} times the depth", policy.inverted_factor)
    },
    limits: "A prompt, and no warning: of 45 real recordings it is true of 7, by disease or pacing. Infarction and extreme axis \
             deviation look the same, and most exchanges do not. Not validated for children.",
    what_to_do: "Compare with an earlier ECG, check the limb cables, and repeat if possible.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let qrs = match qrs(evidence) {
        Ok(qrs) => qrs,
        Err(why) => return vec![super::not_assessed(rule, &Lead::AVR, &why)],
    };
    let is_upright =
        qrs.area_uv_s > 0.0 && qrs.high_uv > evidence.policy.inverted_factor * -qrs.low_uv.min(0.0);
    let text = format!("lead aVR: QRS mostly positive ({qrs}; limit 0 uV s); {OTHER_EXPLANATIONS}");
    let finding = Finding {
        places: super::places(evidence, &Lead::AVR),
        measured: quantity(qrs.area_uv_s, 1, "uV.s"),
        threshold: quantity(0.0, 0, "uV.s"),
        ..rule.finding(Verdict::Note, text)
    };
    is_upright.then_some(finding).into_iter().collect()
}

/// The QRS complex of aVR: as stored, from -aVR, or from I and II.
fn qrs(evidence: &Evidence) -> Result<Qrs, String> {
    let beats = super::beats(evidence);
    let stored = |lead: &Lead| evidence.main().is_some_and(|strip| strip.lead(lead).is_some());
    if stored(&Lead::AVR) {
        Qrs::of(super::median_beat(evidence, &Lead::AVR)?, beats)
    } else if stored(&Lead::NegativeAVR) {
        Qrs::of(&super::median_beat(evidence, &Lead::NegativeAVR)?.clone().scaled(-1.0), beats)
    } else {
        let (one, two) = (super::median_beat(evidence, &Lead::I)?, super::median_beat(evidence, &Lead::II)?);
        Qrs::of(&one.clone().scaled(-0.5).plus(&two.clone().scaled(-0.5)), beats)
    }
}
