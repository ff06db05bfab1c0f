//! The median beat of the dominant class in every lead.

use ecgkeep_recording::Lead;

use crate::beats::Beats;
use crate::constants::{
    BASELINE_FROM_SECONDS, BASELINE_TO_SECONDS, BEAT_AFTER_SECONDS, BEAT_BEFORE_SECONDS, QRS_HALF_SECONDS,
    SAME_CLASS_CORRELATION,
};
use crate::statistics::{count, median, medians};
use crate::strip::{Strip, Tracing, samples};

/// The median beats of the leads of one strip.
pub(crate) struct MedianBeats {
    leads: Vec<(Lead, MedianBeat)>,
    /// The leads of other strips, which were not recorded together with these.
    elsewhere: Vec<Lead>,
    /// How many beats they are made of.
    pub beats: usize,
    /// The median interval between all beats.
    pub rr_seconds: f64,
}

/// The median beat of one lead, in microvolts against the level before the QRS complex; NaN where no beat has a
/// sample.
#[derive(Clone)]
pub(crate) struct MedianBeat {
    pub microvolts: Vec<f64>,
    /// Index of the QRS reference point in `microvolts`.
    pub reference: usize,
    pub rate_hz: f64,
}

impl MedianBeats {
    pub fn of(strips: &[Strip], main: usize, beats: &Beats) -> MedianBeats {
        let strip = &strips[main];
        let half = strip.samples(QRS_HALF_SECONDS);
        let all: Vec<Levelled> =
            strip.tracings.iter().map(|lead| Levelled::of(strip, lead, &beats.at)).collect();
        let qrs: Vec<Vec<f64>> = all.iter().map(|lead| lead.median(half, half + 1, None)).collect();
        let dominant = dominant(&all, &qrs, half, beats.at.len());
        let (before, after) = (strip.samples(BEAT_BEFORE_SECONDS), strip.samples(BEAT_AFTER_SECONDS));
        let beat = |lead: &Levelled| MedianBeat {
            microvolts: lead.median(before, after, Some(&dominant)),
            reference: before,
            rate_hz: strip.rate_hz,
        };
        let leads =
            strip.tracings.iter().zip(&all).map(|(tracing, lead)| (tracing.signal.lead.clone(), beat(lead)));
        let mut intervals: Vec<f64> =
            beats.at.windows(2).map(|pair| strip.at_seconds(pair[1] - pair[0])).collect();
        MedianBeats {
            leads: leads.collect(),
            elsewhere: strips.iter().flat_map(Strip::leads).cloned().collect(),
            beats: dominant.iter().filter(|is_in| **is_in).count(),
            rr_seconds: median(&mut intervals),
        }
    }

    /// # Errors
    /// That the lead is not among them, in words.
    pub fn lead(&self, lead: &Lead) -> Result<&MedianBeat, String> {
        let own = self.leads.iter().find(|(own, _)| own == lead).map(|(_, beat)| beat);
        own.ok_or_else(|| match self.elsewhere.contains(lead) {
            true => format!("lead {lead} was not recorded at the same time as most leads"),
            false => format!("lead {lead} is not stored"),
        })
    }
}

/// One lead with the level before each beat; `None` where the beat has no sample before it.
struct Levelled<'a> {
    values: &'a [f64],
    beats: Vec<(usize, Option<f64>)>,
}

impl<'a> Levelled<'a> {
    fn of(strip: &Strip, tracing: &'a Tracing, beats: &[usize]) -> Levelled<'a> {
        let values = tracing.microvolts.as_slice();
        let (far, near) = (strip.samples(BASELINE_FROM_SECONDS), strip.samples(BASELINE_TO_SECONDS));
        let level = |beat: usize| {
            let level = median(&mut values[beat.checked_sub(far)?..=beat.checked_sub(near)?].to_vec());
            Some(level).filter(|level| !level.is_nan())
        };
        Levelled { values, beats: beats.iter().map(|beat| (*beat, level(*beat))).collect() }
    }

    /// One sample of one beat against its level, `offset` samples after `before` samples before the reference.
    fn sample(&self, beat: usize, offset: usize, before: usize) -> Option<f64> {
        let (at, level) = self.beats[beat];
        Some(self.values.get((at + offset).checked_sub(before)?)? - level?)
    }

    /// The median over the beats chosen (all, where `None`), sample by sample.
    fn median(&self, before: usize, after: usize, chosen: Option<&[bool]>) -> Vec<f64> {
        let is_in = |(beat, (at, level)): (usize, &(usize, Option<f64>))| {
            (*level).filter(|_| chosen.is_none_or(|chosen| chosen[beat])).map(|level| (*at, level))
        };
        let beats = self.beats.iter().enumerate().filter_map(is_in);
        // Beyond the ends of the strip a beat has no sample.
        let sample = |at: usize, offset: usize| {
            (at + offset).checked_sub(before).and_then(|index| self.values.get(index))
        };
        let row = |(at, level): (usize, f64)| {
            (0..before + after)
                .map(|offset| sample(at, offset).map_or(f64::NAN, |value| value - level))
                .collect()
        };
        medians(beats.map(row).collect(), before + after)
    }
}

/// Which beats look like the median of all in the QRS complexes of all leads; all of them, where fewer than three
/// or than four in ten do.
fn dominant(leads: &[Levelled], qrs: &[Vec<f64>], half: usize, beats: usize) -> Vec<bool> {
    let is_alike = |beat: usize| {
        let pairs = leads.iter().zip(qrs).flat_map(|(lead, median)| {
            median
                .iter()
                .enumerate()
                .filter_map(move |(offset, y)| Some((lead.sample(beat, offset, half)?, *y)))
        });
        correlation(pairs) > SAME_CLASS_CORRELATION
    };
    let alike: Vec<bool> = (0..beats).map(is_alike).collect();
    let many = alike.iter().filter(|is_alike| **is_alike).count();
    if many < 3 || 10 * many < 4 * beats { vec![true; beats] } else { alike }
}

/// Pearson's correlation of pairs, those with a NaN left out; NaN where it is undefined.
pub(crate) fn correlation(pairs: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (mut n, mut x, mut y, mut xx, mut yy, mut xy) = (0usize, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (a, b) in pairs.filter(|(a, b)| !a.is_nan() && !b.is_nan()) {
        n += 1;
        (x, y, xx, yy, xy) = (x + a, y + b, xx + a * a, yy + b * b, xy + a * b);
    }
    let n = count(n);
    (n * xy - x * y) / ((n * xx - x * x).max(0.0) * (n * yy - y * y).max(0.0)).sqrt()
}

impl MedianBeat {
    /// The QRS complex: the samples around the reference point.
    pub fn qrs(&self) -> &[f64] {
        let half = samples(QRS_HALF_SECONDS, self.rate_hz);
        let to = (self.reference + half + 1).min(self.microvolts.len());
        &self.microvolts[self.reference.saturating_sub(half).min(to)..to]
    }

    /// The beat with every value times `factor`.
    pub fn scaled(mut self, factor: f64) -> MedianBeat {
        self.microvolts.iter_mut().for_each(|value| *value *= factor);
        self
    }

    /// The sum with a median beat of the same beats.
    pub fn plus(mut self, other: &MedianBeat) -> MedianBeat {
        self.microvolts.iter_mut().zip(&other.microvolts).for_each(|(a, b)| *a += b);
        self
    }
}
