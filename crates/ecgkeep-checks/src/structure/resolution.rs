//! Microvolts per count.

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "resolution",
    title: "Amplitude resolution",
    rule: "WARN where a count of a lead stands for more than the policy's greatest step; NOTE above the recommended one.",
    source: "10 uV: AHA/ACC/HRS 2007, part I; 5 uV: IEC 60601-2-25:2011 (both from memory)",
    threshold: |policy| {
        format!("WARN above {} uV, NOTE above {} uV", policy.step_uv_at_most, policy.step_uv_recommended)
    },
    limits: "The step that the file declares; that the samples were rounded more coarsely before is not seen.",
    what_to_do: "Export with the resolution of recording.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let policy = evidence.policy;
    let tracings = evidence.strips.iter().flat_map(|strip| &strip.tracings);
    let Some(coarsest) = tracings.max_by(|a, b| a.step_uv.total_cmp(&b.step_uv)) else {
        return vec![rule.finding(Verdict::NotAssessed, "there is no lead of known voltage")];
    };
    let step = coarsest.step_uv;
    let (verdict, limit) = if step > policy.step_uv_at_most {
        (Verdict::Warn, policy.step_uv_at_most)
    } else if step > policy.step_uv_recommended {
        (Verdict::Note, policy.step_uv_recommended)
    } else {
        return Vec::new();
    };
    let lead = coarsest.signal.lead.clone();
    let text = format!("lead {lead} is stored in steps of {step:.1} uV, more than {limit} uV");
    vec![Finding {
        lead: Some(lead),
        measured: quantity(step, 3, "uV"),
        threshold: quantity(limit, 3, "uV"),
        ..rule.finding(verdict, text)
    }]
}
