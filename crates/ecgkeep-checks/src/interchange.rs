//! Exchanged cables, as far as they show.

use ecgkeep_recording::Quantity;

use crate::evidence::Evidence;
use crate::waves::Beat;
use crate::{Finding, Rule, Verdict};

pub(crate) mod chest;
pub(crate) mod limb;
pub(crate) mod neutral;

/// What the same picture can be besides exchanged cables, and what to do.
const OTHER_EXPLANATIONS: &str = "the same picture can be disease (infarction, dextrocardia, axis deviation, lung disease): \
                                  compare with an earlier ECG and repeat if possible";

/// The median beat to judge, with a caveat for the end of the text.
struct Judged {
    beat: Beat,
    caveat: &'static str,
}

/// The median beat, or the one finding that says why the rule is not assessed.
fn judged(rule: &Rule, evidence: &Evidence) -> Result<Judged, Vec<Finding>> {
    let refuse = |why: &str| {
        vec![rule.finding(
            Verdict::NotAssessed,
            format!("exchange of cables ({}) not assessed: {why}", rule.title),
        )]
    };
    let caveat = evidence.adult().map_err(|why| refuse(&why))?;
    evidence.standard_placement().map_err(|why| refuse(&why))?;
    let typical = evidence.typical.as_ref().map_err(|why| refuse(why))?;
    if evidence.main().is_some_and(|strip| strip.rate_hz < crate::constants::CABLE_RATE_HZ_AT_LEAST) {
        return Err(refuse("too few samples per second"));
    }
    let beat = Beat::of(typical).map_err(|why| refuse(&why))?;
    if beat.is_one_wave() {
        return Err(refuse("all leads show one wave: a test signal, and no body"));
    }
    Ok(Judged { beat, caveat })
}

/// A difference of directions in degrees, between 0 and 180.
fn apart_deg(a: f64, b: f64) -> f64 {
    let difference = (a - b).rem_euclid(360.0);
    difference.min(360.0 - difference)
}

/// An age as years, if its unit is one of time.
pub(crate) fn years(age: &Quantity) -> Option<f64> {
    let per_year = match age.unit.as_str() {
        "a" => 1.0,
        "mo" => 12.0,
        "wk" => 52.18,
        "d" => 365.25,
        "h" => 8766.0,
        _ => return None,
    };
    Some(age.value.to_f64() / per_year)
}
