//! Mains hum.

use ecgkeep_recording::Span;

use super::{Level, Levels};
use crate::constants::{HARMONICS, MAINS_HZ};
use crate::evidence::Evidence;
use crate::noise::{Hum, Noise};
use crate::rounded::quantity;
use crate::strip::{Strip, Tracing};
use crate::{Finding, Place, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "mains-hum",
    title: "Mains hum",
    word: "mains hum",
    rule: "The peak amplitude at 50 Hz and at 60 Hz in each lead, and in a noisy lead at twice and three times these: the \
           median over the quieter half of the blocks of 0.2 s, less what stands 5 Hz to either side. The largest of them \
           above the policy's limits: NOTE or WARN, with the frequencies and the leads. Two seconds in a row or more above the \
           limit of a WARN in a lead that is free of it in most: NOTE.",
    source: "0.1 mV is 1 mm on paper; the limits are project choices",
    threshold: |policy| {
        format!("NOTE from {} uV, WARN from {} uV (peak)", policy.hum_uv_note, policy.hum_uv_warn)
    },
    limits: "Higher harmonics are not looked for. Hum that a notch filter took out is not seen, nor what the filter did to the \
             QRS. NOT ASSESSED below 150 samples per second.",
    what_to_do: "Check electrode contact, above all of the right leg; move mains cables and motors away; record again \
                 rather than filter.",
    judge,
};

/// Hum in a single second is too easily something else (project choice).
const PASSING_SECONDS: usize = 2;

/// What is smaller is not worth naming beside the rest, in microvolts (project choice).
const NAMED_UV_AT_LEAST: f64 = 5.0;

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let policy = evidence.policy;
    let mut findings = Vec::new();
    for (index, hertz) in MAINS_HZ.into_iter().enumerate() {
        let level = |(strip, tracing, noise): (&Strip, &Tracing, &Noise)| {
            let hum = noise.hum.as_ref()?.get(index)?;
            let seconds = strip.seconds_begun().zip(&hum.by_second_uv);
            let spans =
                seconds.filter(|(_, uv)| **uv >= policy.hum_uv_note).map(|(second, _)| second).collect();
            let uv = hum.harmonics_uv.into_iter().fold(hum.base_uv, f64::max);
            Some(Level { place: strip.place(tracing).within(spans), uv, detail: words(hum, hertz) })
        };
        let values: Vec<Level> = evidence.leads().filter_map(level).collect();
        if values.is_empty() {
            return vec![super::not_assessed(rule, evidence, "mains hum")];
        }
        let levels = Levels { values, note_uv: policy.hum_uv_note, warn_uv: policy.hum_uv_warn };
        findings
            .extend(levels.findings(rule, |leads, worst| format!("mains hum {} in {leads}", worst.detail)));
        findings.extend(passing(rule, evidence, index));
    }
    findings
}

/// Hum of some seconds only, in leads that are free of it in most.
fn passing(rule: &Rule, evidence: &Evidence, index: usize) -> Option<Finding> {
    let policy = evidence.policy;
    let level = |(strip, tracing, noise): (&Strip, &Tracing, &Noise)| {
        let hum = &noise.hum.as_ref()?[index];
        let is_loud = |(_, uv): &(Span, f64)| *uv >= policy.hum_uv_warn;
        let seconds: Vec<(Span, f64)> = strip.seconds_begun().zip(hum.by_second_uv.iter().copied()).collect();
        let stretches = seconds.chunk_by(|a, b| is_loud(a) == is_loud(b));
        let loud = stretches.filter(|some| is_loud(&some[0]) && some.len() >= PASSING_SECONDS);
        let loud: Vec<&(Span, f64)> = loud.flatten().collect();
        let uv = loud.iter().map(|(_, uv)| *uv).reduce(f64::max)?;
        let place = strip.place(tracing).within(loud.iter().map(|(second, _)| *second).collect());
        let detail = format!("{:.0} s", strip.at_seconds(loud[0].0.start));
        (hum.base_uv < policy.hum_uv_note).then_some(Level { place, uv, detail })
    };
    let levels: Vec<Level> = evidence.leads().filter_map(level).collect();
    let worst = levels.iter().max_by(|a, b| a.uv.total_cmp(&b.uv))?;
    let places: Vec<Place> = levels.iter().map(|level| level.place.clone()).collect();
    let text = format!(
        "mains hum at {} Hz in some seconds of {}, of {:.0} uV (peak) in {} from {} on; limit {} uV",
        MAINS_HZ[index],
        super::names(&places),
        worst.uv,
        worst.place.lead,
        worst.detail,
        policy.hum_uv_warn
    );
    Some(Finding {
        places,
        measured: quantity(worst.uv, 1, "uV"),
        threshold: quantity(policy.hum_uv_warn, 1, "uV"),
        ..rule.finding(Verdict::Note, text)
    })
}

/// `at 50 Hz of 103 uV (peak), at 150 Hz of 31 uV`.
fn words(hum: &Hum, hertz: f64) -> String {
    let mut words = format!("at {hertz} Hz of {:.0} uV (peak)", hum.base_uv);
    let harmonics = HARMONICS.iter().zip(hum.harmonics_uv);
    for (times, uv) in harmonics.filter(|(_, uv)| *uv >= NAMED_UV_AT_LEAST) {
        words.push_str(&format!(", at {} Hz of {uv:.0} uV", times * hertz));
    }
    words
}
