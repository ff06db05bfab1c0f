//! Low voltages in all leads of a group.

use ecgkeep_recording::Lead;

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "low-voltage",
    title: "Low voltage",
    word: "low voltage",
    rule: "The QRS complex of the median beat, from lowest to highest: below the policy's limit in all limb leads, or in all \
           chest leads: NOTE.",
    source: "classical limits of low voltage (from memory)",
    threshold: |policy| {
        format!("limb leads {} uV, chest leads {} uV", policy.limb_uv_at_least, policy.chest_uv_at_least)
    },
    limits: "Truly low voltages (obesity, emphysema, effusion) and a gain that is wrong by half look the same.",
    what_to_do: "Check the gain that the file declares against the calibration pulse of the device's own printout.",
    judge,
};

const LIMB: [Lead; 6] = [Lead::I, Lead::II, Lead::III, Lead::AVR, Lead::AVL, Lead::AVF];
const CHEST: [Lead; 6] = [Lead::V1, Lead::V2, Lead::V3, Lead::V4, Lead::V5, Lead::V6];

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let beats = match &evidence.typical {
        Ok(beats) => beats,
        Err(why) => {
            return vec![
                rule.finding(Verdict::NotAssessed, format!("the size of the QRS is not assessed: {why}")),
            ];
        }
    };
    let policy = evidence.policy;
    let mut findings = Vec::new();
    for (leads, name, limit) in
        [(&LIMB, "limb", policy.limb_uv_at_least), (&CHEST, "chest", policy.chest_uv_at_least)]
    {
        let size = |lead: &Lead| {
            let beat = beats.lead(lead).ok()?;
            let low = beat.qrs().iter().copied().fold(f64::INFINITY, f64::min);
            let high = beat.qrs().iter().copied().fold(f64::NEG_INFINITY, f64::max);
            Some(high - low)
        };
        let sizes: Vec<f64> = leads.iter().filter_map(size).collect();
        let largest = sizes.iter().copied().fold(0.0, f64::max);
        if sizes.len() >= 2 && largest < limit {
            let text = format!(
                "QRS below {limit} uV in all {} {name} leads (largest {largest:.0} uV): low voltage, or the gain is wrong",
                sizes.len()
            );
            findings.push(Finding {
                measured: quantity(largest, 0, "uV"),
                threshold: quantity(limit, 0, "uV"),
                ..rule.finding(Verdict::Note, text)
            });
        }
    }
    findings
}
