//! Microvolts per count.

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::strip::{Strip, Tracing};
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "resolution",
    title: "Amplitude resolution",
    word: "coarse steps",
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
    let tracings =
        || evidence.strips.iter().flat_map(|strip| strip.tracings.iter().map(move |lead| (strip, lead)));
    let Some((_, coarsest)) = tracings().max_by(|a, b| a.1.step_uv.total_cmp(&b.1.step_uv)) else {
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
    let lead = &coarsest.signal.lead;
    let text = format!("lead {lead} is stored in steps of {step:.1} uV, more than {limit} uV");
    let is_coarse = |(_, tracing): &(&Strip, &Tracing)| tracing.step_uv > limit;
    vec![Finding {
        places: tracings().filter(is_coarse).map(|(strip, tracing)| strip.place(tracing)).collect(),
        measured: quantity(step, 3, "uV"),
        threshold: quantity(limit, 3, "uV"),
        ..rule.finding(verdict, text)
    }]
}
