//! One lead against the sum of two others, and what a mismatch looks like.

use ecgkeep_recording::Lead;

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::statistics::{Spread, count, moving_average};
use crate::strip::{Strip, Tracing, samples};
use crate::{Finding, Policy, Rule, Verdict};

pub(super) const SOURCE: &str = "Einthoven's law and Goldberger's leads (exact); tolerance: two steps, as measured on PTB \
                                 Diagnostic ECG record s0010_re; the share for FAIL is a project choice";
pub(super) const LIMITS: &str = "Says nothing about where the electrodes were: exchanged limb cables keep these relations \
                                 exactly. A mismatch means a wrong label, gain or polarity, separate filtering, a shift in \
                                 time, or leads that were not recorded together.";
pub(super) const WHAT_TO_DO: &str = "Do not judge axis or limb leads on this recording; ask who converted or filtered it, and \
                                     go back to the recording device's own output.";

pub(super) fn threshold(policy: &Policy) -> String {
    format!(
        "tolerance {} x the largest step of the leads concerned; FAIL when the rms also exceeds {} % of the lead's",
        policy.relation_steps_at_most, policy.relation_percent_at_most
    )
}

/// A stored lead that must equal the weighted sum of two others.
pub(super) struct Relation {
    pub lead: Lead,
    pub words: &'static str,
    pub parts: [(Lead, f64); 2],
}

impl Relation {
    pub fn judge(&self, rule: &Rule, evidence: &Evidence) -> Option<Finding> {
        let leads = [&self.lead, &self.parts[0].0, &self.parts[1].0];
        let together =
            |strip: &&Strip| strip.length() > 0 && leads.iter().all(|lead| strip.lead(lead).is_some());
        let Some(strip) = evidence.strips.iter().find(together) else {
            return Some(self.not_assessed(rule, self.why_apart(evidence, &leads)));
        };
        if strip.is_too_long() {
            return Some(self.not_assessed(rule, "the recording is longer than any resting strip"));
        }
        let find = |lead: &Lead| strip.lead(lead).filter(|tracing| !tracing.microvolts.is_empty());
        let (stored, first, second) = (find(leads[0])?, find(leads[1])?, find(leads[2])?);
        self.compare(rule, evidence.policy, strip, stored, [first, second])
    }

    fn not_assessed(&self, rule: &Rule, why: impl std::fmt::Display) -> Finding {
        let text = format!("lead {} against {} not assessed: {why}", self.lead, self.words);
        rule.finding(Verdict::NotAssessed, text)
    }

    fn why_apart(&self, evidence: &Evidence, leads: &[&Lead; 3]) -> String {
        let is_stored = |lead: &&&Lead| evidence.strips.iter().any(|strip| strip.lead(lead).is_some());
        let absent: Vec<String> =
            leads.iter().filter(|lead| !is_stored(lead)).map(|lead| lead.name()).collect();
        match absent.as_slice() {
            [] => "the leads were not recorded together".to_owned(),
            some => format!("{} not stored", some.join(", ")),
        }
    }

    fn compare(
        &self,
        rule: &Rule,
        policy: &Policy,
        strip: &Strip,
        stored: &Tracing,
        parts: [&Tracing; 2],
    ) -> Option<Finding> {
        let weights = [self.parts[0].1, self.parts[1].1];
        let sums = || {
            let pairs = parts[0].microvolts.iter().zip(&parts[1].microvolts);
            pairs.map(|(a, b)| weights[0] * a + weights[1] * b)
        };
        let residuals = || stored.microvolts.iter().zip(sums()).map(|(x, y)| x - y);
        let step = [stored, parts[0], parts[1]].iter().map(|tracing| tracing.step_uv).fold(0.0, f64::max);
        let tolerance = policy.relation_steps_at_most * step;
        // Sums of exact values round in the last place: a millionth of a step is no difference.
        if residuals().all(|apart| apart.abs() <= tolerance + 1e-6 * step) {
            return None;
        }
        let (expected, residual): (Vec<f64>, Vec<f64>) = (sums().collect(), residuals().collect());
        let apart = Spread::of(residual.iter().copied());
        if apart.n == 0 {
            return Some(self.not_assessed(rule, "the leads have no samples in common"));
        }
        if apart.largest <= tolerance + 1e-6 * step {
            return None;
        }
        let own = Spread::of(stored.microvolts.iter().copied());
        let share = 100.0 * apart.rms / own.deviation;
        let grave = share > policy.relation_percent_at_most || own.deviation == 0.0;
        let verdict = if grave { Verdict::Fail } else { Verdict::Warn };
        let cause = if self.fits_in_counts(policy, stored, parts) {
            "the counts fit as if all leads had the same step: the declared steps (gains) of the leads contradict each other"
                .to_owned()
        } else {
            cause(&residual, &stored.microvolts, &expected, strip.rate_hz, tolerance)
        };
        let text = format!(
            "lead {} differs from {} by up to {:.1} uV (rms {:.1} uV, {share:.1} % of the lead's); tolerance {tolerance:.1} \
             uV; {cause}",
            self.lead, self.words, apart.largest, apart.rms
        );
        Some(Finding {
            places: vec![strip.place(stored)],
            measured: quantity(apart.largest, 1, "uV"),
            threshold: quantity(tolerance, 1, "uV"),
            ..rule.finding(verdict, text)
        })
    }

    /// Whether the relation holds for the stored counts though not for the voltages, up to a constant: seen in
    /// all 15 records of the LUDB data set that were looked at.
    fn fits_in_counts(&self, policy: &Policy, stored: &Tracing, parts: [&Tracing; 2]) -> bool {
        if parts.iter().all(|part| part.signal.step == stored.signal.step) {
            return false;
        }
        let counts = |index: usize| {
            let [a, b] = parts.map(|tracing| f64::from(tracing.signal.samples[index]));
            f64::from(stored.signal.samples[index]) - self.parts[0].1 * a - self.parts[1].1 * b
        };
        let is_missing = |index: usize| {
            [stored, parts[0], parts[1]].iter().any(|tracing| tracing.microvolts[index].is_nan())
        };
        let mut present = (0..stored.microvolts.len()).filter(|index| !is_missing(*index)).map(counts);
        let Some(first) = present.next() else { return false };
        let (low, high) =
            present.fold((first, first), |(low, high), count| (low.min(count), high.max(count)));
        high - low <= 2.0 * policy.relation_steps_at_most
    }
}

/// What the mismatch looks like, in words; a guess from its shape, most specific first.
fn cause(residual: &[f64], stored: &[f64], expected: &[f64], rate_hz: f64, tolerance: f64) -> String {
    let rms = Spread::of(residual.iter().copied());
    // Both signals without their means, so that an offset does not pass for a gain.
    let (a, b) = (Spread::of(stored.iter().copied()), Spread::of(expected.iter().copied()));
    let pairs = || stored.iter().zip(expected).filter(|(x, y)| !x.is_nan() && !y.is_nan());
    let product: f64 = pairs().map(|(x, y)| (x - a.mean) * (y - b.mean)).sum();
    let power: f64 = pairs().map(|(_, y)| (y - b.mean).powi(2)).sum();
    if rms.deviation <= tolerance / 2.0 {
        return format!("a constant offset of {:.1} uV", rms.mean);
    }
    if power > 0.0 {
        let gain = product / power;
        let left = Spread::of(pairs().map(|(x, y)| (x - a.mean) - gain * (y - b.mean)));
        if left.rms < rms.deviation / 5.0 {
            return if gain < -0.5 {
                "it looks inverted: polarity or label wrong".to_owned()
            } else {
                format!("it looks like a gain of {gain:.3}")
            };
        }
    }
    if let Some(shift) = shift(stored, expected, rms.deviation) {
        return format!(
            "it looks shifted in time by {shift} samples ({:.1} ms)",
            1000.0 * f64::from(shift) / rate_hz
        );
    }
    let held = crate::statistics::gaps_held(residual);
    let slow = Spread::of(moving_average(&held, samples(0.5, rate_hz)).into_iter());
    if slow.deviation > 0.8 * rms.deviation {
        return "the difference is slow: the baseline was handled differently".to_owned();
    }
    "separately filtered, wrongly labelled, or not recorded together".to_owned()
}

/// The whole number of samples, within ten, by which `stored` lies after `expected`, if that explains the mismatch.
fn shift(stored: &[f64], expected: &[f64], unshifted_rms: f64) -> Option<i32> {
    let rms_at = |lag: i32| {
        let skip = usize::try_from(lag.unsigned_abs()).unwrap_or(usize::MAX).min(stored.len());
        let (x, y) = if lag >= 0 {
            (&stored[skip..], &expected[..expected.len() - skip])
        } else {
            (&stored[..stored.len() - skip], &expected[skip..])
        };
        Spread::of(x.iter().zip(y).map(|(x, y)| x - y)).deviation
    };
    let best = (-10..=10).filter(|lag| *lag != 0).min_by(|a, b| rms_at(*a).total_cmp(&rms_at(*b)))?;
    (count(stored.len()) > 100.0 && rms_at(best) < unshifted_rms / 5.0).then_some(best)
}
