//! Muscle noise.

use ecgkeep_recording::{Lead, Span};

use super::Levels;
use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "muscle-noise",
    title: "Muscle noise",
    rule: "The robust standard deviation (1.4826 times the median absolute deviation) of what lies above about 40 Hz, in \
           each second, mains hum taken out. The middle second of a lead above the policy's limits: NOTE or WARN. A \
           burst, single seconds above the policy's burst limit in a lead that is otherwise quiet: NOTE.",
    source: "noise scale of EC11 (30 uV peak to peak, excerpt); the limits are project choices",
    threshold: |policy| {
        format!(
            "NOTE from {} uV, WARN from {} uV, burst from {} uV",
            policy.muscle_uv_note, policy.muscle_uv_warn, policy.muscle_uv_burst
        )
    },
    limits: "Other noise above 40 Hz counts too; strong low-pass filtering hides it. QRS complexes hardly count.",
    what_to_do: "Warm and relax the patient, support the arms, move limb electrodes to the upper arms; record again.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let policy = evidence.policy;
    let (mut values, mut bursts) = (Vec::new(), Vec::new());
    for (strip, tracing, noise) in evidence.leads() {
        let middle = noise.muscle_median_uv();
        if middle.is_nan() {
            continue;
        }
        values.push((tracing.signal.lead.clone(), middle));
        let worst = noise.muscle_uv.iter().enumerate().filter(|(_, sigma)| !sigma.is_nan());
        let worst = worst.max_by(|a, b| a.1.total_cmp(b.1)).map(|(second, sigma)| (second, *sigma));
        if let Some((second, sigma)) = worst
            && sigma >= policy.muscle_uv_burst
            && middle < policy.muscle_uv_note
        {
            let start = second * strip.samples(1.0);
            let span = Span { start, end: (start + strip.samples(1.0)).min(strip.length()) };
            bursts.push((tracing.signal.lead.clone(), sigma, second, span));
        }
    }
    if values.is_empty() {
        return vec![super::not_assessed(rule, evidence, "muscle noise")];
    }
    let levels = Levels { values, note_uv: policy.muscle_uv_note, warn_uv: policy.muscle_uv_warn };
    let mut findings =
        levels.findings(rule, |leads, worst| format!("muscle noise of {worst:.0} uV in {leads}"));
    findings.extend(burst(rule, policy.muscle_uv_burst, &bursts));
    findings
}

fn burst(rule: &Rule, limit: f64, bursts: &[(Lead, f64, usize, Span)]) -> Option<Finding> {
    let (lead, sigma, second, span) = bursts.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let named = super::names(&bursts.iter().map(|burst| &burst.0).collect::<Vec<_>>());
    let text = format!(
        "burst of noise in {named}: {sigma:.0} uV in lead {lead} in the second that begins at {second} s; limit \
         {limit:.0} uV"
    );
    Some(Finding {
        lead: (bursts.len() == 1).then(|| lead.clone()),
        span: (bursts.len() == 1).then_some(*span),
        measured: quantity(*sigma, 1, "uV"),
        threshold: quantity(limit, 1, "uV"),
        ..rule.finding(Verdict::Note, text)
    })
}
