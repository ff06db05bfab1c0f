//! Pulses like those of a pacemaker.

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::spikes::{largest, places};
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "pacing-like",
    title: "Pulses like those of a pacemaker",
    word: "narrow pulses with the beats",
    rule: "Spikes, as told under `spikes`, that recur at the same distance (within 30 ms) from at least a third of the beats, \
           and from three of them: NOTE. They are left as they are and are not counted as spikes or beats.",
    source: "pulses of 0.1 to 2 ms and 2 to 250 mV at the electrodes: EC11 (excerpt); the numbers are project choices, tried on \
             45 real recordings, 7 of them paced",
    threshold: |policy| format!("{} uV", policy.spike_uv_at_least),
    limits: "No word on whether there is a pacemaker: its pulses are mostly filtered out or fall between two samples, and a \
             disturbance that keeps time with the heart looks the same. NOT ASSESSED below 250 samples per second.",
    what_to_do: "Ask whether the patient has a pacemaker and note it on the request; do not filter. Without one, look for what \
                 keeps time with the heart.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let (strip, spikes) = match (evidence.main(), &evidence.spikes) {
        (Some(strip), Ok(spikes)) => (strip, spikes),
        (_, Err(why)) => {
            let text = format!("pulses like those of a pacemaker not assessed: {why}");
            return vec![rule.finding(Verdict::NotAssessed, text)];
        }
        (None, Ok(_)) => return Vec::new(),
    };
    let Some(most) = largest(&spikes.with_beats) else { return Vec::new() };
    let limit = evidence.policy.spike_uv_at_least;
    let places = places(strip, &spikes.with_beats);
    let text = format!(
        "{} narrow pulses recur with the {} beats, mostly {:.0} ms before the middle of the QRS, up to {:.0} uV in {}; limit \
         {limit} uV; pulses of a pacemaker look so and are left as they are",
        spikes.with_beats.len(),
        evidence.beats.as_ref().map_or(0, |beats| beats.at.len()),
        spikes.before_beat_ms,
        most.uv,
        super::names(&places)
    );
    vec![Finding {
        places,
        measured: quantity(most.uv, 0, "uV"),
        threshold: quantity(limit, 1, "uV"),
        ..rule.finding(Verdict::Note, text)
    }]
}
