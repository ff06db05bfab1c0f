//! The band of the filters that the source declares.

use ecgkeep_recording::Exact;

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "filters-narrow",
    title: "Declared filters",
    word: "narrow filters",
    rule: "Of the filters declared by the source: a high-pass corner above, or a low-pass corner below, the policy's band \
           is a NOTE; beyond the policy's outer limits a WARN. Nothing declared: nothing said.",
    source: "0.05 to 150 Hz, and 0.67 Hz for zero-phase filters: AHA/ACC/HRS 2007, part I (from a summary); 100 Hz: \
             older machines, project choice",
    threshold: |policy| {
        format!(
            "NOTE outside {} to {} Hz, WARN above {} or below {} Hz",
            policy.high_pass_hz_at_most,
            policy.low_pass_hz_at_least,
            policy.high_pass_hz_warn,
            policy.low_pass_hz_warn
        )
    },
    limits: "Declarations only: filters that the source does not mention are not seen, nor whether they are zero-phase.",
    what_to_do: "Record or export in the diagnostic setting. A narrow band can shift ST segments and hide notches and \
                 pacing pulses.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let policy = evidence.policy;
    let file = &evidence.recording.acquisition.filters;
    let beside = evidence.filing.map(|filing| &filing.acquisition.filters);
    let stated = |file: Option<Exact>, beside: Option<Exact>| match (file, beside) {
        (Some(hertz), _) => Some((hertz.to_f64(), String::new())),
        (None, Some(hertz)) => Some((hertz.to_f64(), format!(" ({})", evidence.supplied_by()))),
        (None, None) => None,
    };
    let mut findings = Vec::new();
    let mut push = |verdict, hertz, limit, text: String| {
        findings.push(Finding {
            measured: quantity(hertz, 3, "Hz"),
            threshold: quantity(limit, 3, "Hz"),
            ..rule.finding(verdict, text)
        });
    };
    if let Some((hertz, who)) = stated(file.high_pass_hz, beside.and_then(|filters| filters.high_pass_hz)) {
        let text = |limit: f64| format!("high-pass filter of {hertz} Hz declared{who}, above {limit} Hz");
        if hertz > policy.high_pass_hz_warn {
            push(Verdict::Warn, hertz, policy.high_pass_hz_warn, text(policy.high_pass_hz_warn));
        } else if hertz > policy.high_pass_hz_at_most {
            push(Verdict::Note, hertz, policy.high_pass_hz_at_most, text(policy.high_pass_hz_at_most));
        }
    }
    if let Some((hertz, who)) = stated(file.low_pass_hz, beside.and_then(|filters| filters.low_pass_hz)) {
        let text = |limit: f64| format!("low-pass filter of {hertz} Hz declared{who}, below {limit} Hz");
        if hertz < policy.low_pass_hz_warn {
            push(Verdict::Warn, hertz, policy.low_pass_hz_warn, text(policy.low_pass_hz_warn));
        } else if hertz < policy.low_pass_hz_at_least {
            push(Verdict::Note, hertz, policy.low_pass_hz_at_least, text(policy.low_pass_hz_at_least));
        }
    }
    findings
}
