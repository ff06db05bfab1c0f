//! Muscle noise.

use ecgkeep_recording::Span;

use super::{Level, Levels};
use crate::evidence::Evidence;
use crate::noise::Noise;
use crate::rounded::quantity;
use crate::strip::Strip;
use crate::{Finding, Place, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "muscle-noise",
    title: "Muscle noise",
    word: "muscle noise",
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
    what_to_do: "Warm and relax the patient, support arms and hands, wait until they are still; record again. Limb \
                 electrodes that have to be moved up the limbs change the ECG: write on it where they were.",
    judge,
};

/// The noisiest second of a lead that is otherwise quiet.
struct Burst {
    place: Place,
    uv: f64,
    second: usize,
}

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let policy = evidence.policy;
    let (mut values, mut bursts) = (Vec::new(), Vec::new());
    for (strip, tracing, noise) in evidence.leads() {
        let middle = noise.muscle_median_uv();
        if middle.is_nan() {
            continue;
        }
        let place = strip.place(tracing);
        let worst = noise.muscle_uv.iter().enumerate().filter(|(_, sigma)| !sigma.is_nan());
        let worst = worst.max_by(|a, b| a.1.total_cmp(b.1)).map(|(second, sigma)| (second, *sigma));
        if let Some((second, uv)) = worst
            && uv >= policy.muscle_uv_burst
            && middle < policy.muscle_uv_note
        {
            let place = place.clone().within(seconds_above(strip, noise, policy.muscle_uv_burst));
            bursts.push(Burst { place, uv, second });
        }
        let place = place.within(seconds_above(strip, noise, policy.muscle_uv_note));
        values.push(Level { place, uv: middle, detail: String::new() });
    }
    if values.is_empty() {
        return vec![super::not_assessed(rule, evidence, "muscle noise")];
    }
    let levels = Levels { values, note_uv: policy.muscle_uv_note, warn_uv: policy.muscle_uv_warn };
    let mut findings =
        levels.findings(rule, |leads, worst| format!("muscle noise of {:.0} uV in {leads}", worst.uv));
    findings.extend(burst(rule, policy.muscle_uv_burst, &bursts));
    findings
}

fn seconds_above(strip: &Strip, noise: &Noise, limit: f64) -> Vec<Span> {
    let seconds = strip.seconds_begun().zip(&noise.muscle_uv);
    seconds.filter(|(_, uv)| **uv >= limit).map(|(second, _)| second).collect()
}

fn burst(rule: &Rule, limit: f64, bursts: &[Burst]) -> Option<Finding> {
    let Burst { place, uv, second } = bursts.iter().max_by(|a, b| a.uv.total_cmp(&b.uv))?;
    let places: Vec<Place> = bursts.iter().map(|burst| burst.place.clone()).collect();
    let most = if places.len() > 1 { format!(", most in {}", place.lead) } else { String::new() };
    let text = format!(
        "burst of noise in {}{most}: {uv:.0} uV in the second that begins at {second} s; limit {limit} uV",
        super::names(&places)
    );
    Some(Finding {
        places,
        measured: quantity(*uv, 1, "uV"),
        threshold: quantity(limit, 1, "uV"),
        ..rule.finding(Verdict::Note, text)
    })
}
