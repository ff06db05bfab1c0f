//! A limb cable exchanged with the right leg (neutral) cable.

use super::{OTHER_EXPLANATIONS, judged};
use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "cable-neutral",
    title: "Right leg cable",
    word: "cables may be exchanged",
    rule: "One of I, II and III is flat over P, QRS and T of the median beat (below the policy's limits from lowest to highest) \
           while another is large: WARN. II flat: right arm and right leg cables; III: left arm and right leg; I: both arm \
           cables with the leg cables. NOT ASSESSED below the policy's age, with electrodes placed otherwise, and where all \
           leads show one wave, as test signals do.",
    source: "exact algebra, with the right leg potential equal to the left leg's (Krasteva, Jekova and Schmid, Sensors \
             2019;19:2920); very low QRS in one limb lead: Rudiger 2003 (abstract); the limits are project choices",
    threshold: |policy| {
        format!(
            "flat below {} uV and {} of the largest, which is above {} uV",
            policy.cable_flat_uv_at_most, policy.cable_flat_share_at_most, policy.cable_large_uv_at_least
        )
    },
    limits: "An axis near -30, 30 or +-90 degrees can flatten the QRS of II, III or I. How far the potentials of the two legs \
             differ in a living patient was not measured. Exchange of the two leg cables changes \
             nothing and is not detectable.",
    what_to_do: "Check the right leg cable and the one named; compare with an earlier ECG; repeat if possible. Never turn \
                 leads back in the archive.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let judged = match judged(rule, evidence) {
        Ok(judged) => judged,
        Err(finding) => return finding,
    };
    let ranges = judged.beat.limb_ranges_uv();
    let policy = evidence.policy;
    let (flat, share) = (policy.cable_flat_uv_at_most, policy.cable_flat_share_at_most);
    let large = policy.cable_large_uv_at_least;
    let largest = ranges.iter().copied().fold(0.0, f64::max);
    let named = [
        ("I", "both arm cables exchanged with the leg cables", "+-90"),
        ("II", "the right arm and right leg cables exchanged", "-30"),
        ("III", "the left arm and right leg cables exchanged", "30"),
    ];
    let (range, (lead, cables, axis)) = match ranges.into_iter().zip(named).min_by(|a, b| a.0.total_cmp(&b.0))
    {
        Some(smallest) if smallest.0 < flat.min(share * largest) && largest > large => smallest,
        _ => return Vec::new(),
    };
    let text = format!(
        "lead {lead} is nearly flat ({range:.0} uV from lowest to highest, limit {flat} uV; the largest limb lead \
         {largest:.0} uV): {cables}, or an axis near {axis} degrees; {OTHER_EXPLANATIONS}{}",
        judged.caveat
    );
    vec![Finding {
        measured: quantity(range, 0, "uV"),
        threshold: quantity(flat, 0, "uV"),
        ..rule.finding(Verdict::Warn, text)
    }]
}
