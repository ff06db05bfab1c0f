//! Mains hum.

use super::Levels;
use crate::constants::MAINS_HZ;
use crate::evidence::Evidence;
use crate::{Finding, Rule};

pub(crate) const RULE: Rule = Rule {
    code: "mains-hum",
    title: "Mains hum",
    rule: "The peak amplitude at 50 Hz and at 60 Hz in each lead: the median over blocks of 0.2 s, less what stands 5 Hz to \
           either side. Above the policy's limits: NOTE or WARN, with the frequency and the leads.",
    source: "0.1 mV is 1 mm on paper; the limits are project choices",
    threshold: |policy| {
        format!("NOTE from {} uV, WARN from {} uV (peak)", policy.hum_uv_note, policy.hum_uv_warn)
    },
    limits: "Harmonics are not looked for. NOT ASSESSED below 150 samples per second.",
    what_to_do: "Check electrode contact, above all of the right leg; move mains cables and motors away; record again \
                 rather than filter.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let policy = evidence.policy;
    let hum = |index: usize| {
        let of_lead = |(_, tracing, noise): (_, &crate::strip::Tracing, &crate::noise::Noise)| {
            Some((tracing.signal.lead.clone(), noise.hum_uv?[index]))
        };
        evidence.leads().filter_map(of_lead).collect::<Vec<_>>()
    };
    let mut findings = Vec::new();
    for (index, hertz) in MAINS_HZ.into_iter().enumerate() {
        let values = hum(index);
        if values.is_empty() {
            return vec![super::not_assessed(rule, evidence, "mains hum")];
        }
        let levels = Levels { values, note_uv: policy.hum_uv_note, warn_uv: policy.hum_uv_warn };
        let words = |leads: &str, worst: f64| {
            format!("mains hum at {hertz:.0} Hz of {worst:.0} uV (peak) in {leads}")
        };
        findings.extend(levels.findings(rule, words));
    }
    findings
}
