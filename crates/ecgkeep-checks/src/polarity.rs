//! The bedside eye checks of lead I and aVR.

use std::fmt;

use ecgkeep_recording::Lead;

use crate::evidence::Evidence;
use crate::median_beat::MedianBeat;
use crate::{Finding, Place, Rule, Verdict};

pub(crate) mod lead_avr;
pub(crate) mod lead_i;

/// What else shows the picture of exchanged arm cables.
const OTHER_EXPLANATIONS: &str = "exchanged cables, but also disease (infarction, dextrocardia, axis deviation, lung disease) \
                                  can look so: compare with an earlier ECG, check the cables and repeat if possible";

/// The median beat of a lead of the main strip, or why there is none.
fn median_beat<'a>(evidence: &'a Evidence, lead: &Lead) -> Result<&'a MedianBeat, String> {
    evidence.typical.as_ref().map_err(Clone::clone)?.lead(lead)
}

/// How many beats the median beat is made of.
fn beats(evidence: &Evidence) -> usize {
    evidence.typical.as_ref().map_or(0, |beats| beats.beats)
}

/// The QRS complex of a median beat against the baseline before it.
struct Qrs {
    area_uv_s: f64,
    low_uv: f64,
    high_uv: f64,
    beats: usize,
}

impl Qrs {
    fn of(beat: &MedianBeat, beats: usize) -> Result<Qrs, String> {
        let qrs = beat.qrs();
        let area_uv_s = qrs.iter().sum::<f64>() / beat.rate_hz;
        if area_uv_s.is_nan() {
            return Err("the QRS complexes have missing samples".to_owned());
        }
        let low_uv = qrs.iter().copied().fold(f64::INFINITY, f64::min);
        let high_uv = qrs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Ok(Qrs { area_uv_s, low_uv, high_uv, beats })
    }
}

impl fmt::Display for Qrs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Qrs { area_uv_s, low_uv, high_uv, beats } = self;
        write!(f, "net area {area_uv_s:.1} uV s, from {low_uv:.0} to {high_uv:.0} uV, {beats} beats")
    }
}

fn not_assessed(rule: &Rule, lead: &Lead, why: &str) -> Finding {
    rule.finding(Verdict::NotAssessed, format!("the QRS direction of lead {lead} is not assessed: {why}"))
}

/// The lead in the main strip; empty where it is computed from others.
fn places(evidence: &Evidence, lead: &Lead) -> Vec<Place> {
    let strip = evidence.main();
    strip.and_then(|strip| strip.lead(lead).map(|tracing| strip.place(tracing))).into_iter().collect()
}
