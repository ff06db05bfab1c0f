//! Where the heart beats, and the median beat.
//!
//! The beats are found on the spatial velocity of the leads: the root of the summed squares of their slopes. It
//! does not depend on polarity, nor on which chest lead carries which label, and it survives a dead lead.

use ecgkeep_recording::Lead;

use crate::constants::{
    BASELINE_FROM_SECONDS, BASELINE_TO_SECONDS, BEAT_AFTER_SECONDS, BEAT_BEFORE_SECONDS, BLOCK_SECONDS,
    DETECTOR_RATE_HZ_AT_LEAST, ENVELOPE_SECONDS, QRS_HALF_SECONDS, REFRACTORY_SECONDS, SEARCH_BACK_RR,
    SMOOTHING_SECONDS, T_WAVE_SECONDS, THRESHOLD_SHARE,
};
use crate::statistics::{gaps_held, median, moving_average};
use crate::strip::{Strip, Tracing, samples};

/// The beats of one strip.
pub(crate) struct Beats {
    /// Sample numbers of the QRS reference points, ascending.
    pub at: Vec<usize>,
}

impl Beats {
    /// # Errors
    /// Why no beats could be found, in words.
    pub fn find(strip: &Strip) -> Result<Beats, String> {
        if strip.is_too_long() {
            return Err("the recording is longer than any resting strip".to_owned());
        }
        if strip.tracings.is_empty() {
            return Err("there is no lead with a known voltage".to_owned());
        }
        if strip.rate_hz < DETECTOR_RATE_HZ_AT_LEAST {
            return Err(format!("{} samples per second are too few to find beats", strip.rate_hz));
        }
        let independent: Vec<&Tracing> = Lead::EIGHT.iter().filter_map(|lead| strip.lead(lead)).collect();
        let used = if independent.is_empty() { strip.tracings.iter().collect() } else { independent };
        let leads: Vec<&[f64]> = used.iter().map(|tracing| tracing.microvolts.as_slice()).collect();
        let at = find_beats(&leads, strip.rate_hz);
        if at.len() < 2 { Err("no two beats were found".to_owned()) } else { Ok(Beats { at }) }
    }

    /// The median of the beats in one lead around the reference point, its baseline at zero.
    pub fn median_beat(&self, strip: &Strip, tracing: &Tracing) -> MedianBeat {
        let (before, after) = (strip.samples(BEAT_BEFORE_SECONDS), strip.samples(BEAT_AFTER_SECONDS));
        let baseline =
            strip.samples(BASELINE_FROM_SECONDS)..strip.samples(BASELINE_TO_SECONDS).saturating_sub(1);
        let values = &tracing.microvolts;
        let mut levelled: Vec<(usize, f64)> = Vec::with_capacity(self.at.len());
        for &beat in &self.at {
            let (Some(from), Some(to)) = (beat.checked_sub(baseline.start), beat.checked_sub(baseline.end))
            else {
                continue;
            };
            let level = median(&mut values[from..to].to_vec());
            if !level.is_nan() {
                levelled.push((beat, level));
            }
        }
        let mut column = Vec::with_capacity(levelled.len());
        let mut beat = Vec::with_capacity(before + after);
        for offset in 0..before + after {
            column.clear();
            let sample = |at: usize| values.get((at + offset).checked_sub(before)?).copied();
            column.extend(levelled.iter().filter_map(|(at, level)| Some(sample(*at)? - level)));
            beat.push(median(&mut column));
        }
        MedianBeat { microvolts: beat, reference: before, rate_hz: strip.rate_hz, beats: levelled.len() }
    }
}

/// The median beat of one lead.
pub(crate) struct MedianBeat {
    /// NaN where no beat has a sample.
    pub microvolts: Vec<f64>,
    /// Index of the QRS reference point in `microvolts`.
    pub reference: usize,
    pub rate_hz: f64,
    /// How many beats it is made of.
    pub beats: usize,
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

/// The QRS reference points of simultaneous leads in microvolts, NaN where missing.
fn find_beats(leads: &[&[f64]], rate_hz: f64) -> Vec<usize> {
    let velocity = spatial_velocity(leads, rate_hz);
    let threshold = THRESHOLD_SHARE * median_block_maximum(&velocity, samples(BLOCK_SECONDS, rate_hz));
    if threshold.is_nan() || threshold <= 0.0 {
        return Vec::new();
    }
    let beats = peaks_above(&velocity, threshold, rate_hz, 0..velocity.len());
    let beats = without_t_waves(&beats, &velocity, rate_hz);
    search_back(beats, &velocity, threshold / 2.0, rate_hz)
}

fn spatial_velocity(leads: &[&[f64]], rate_hz: f64) -> Vec<f64> {
    let n = leads.first().map_or(0, |lead| lead.len());
    let width = samples(SMOOTHING_SECONDS, rate_hz);
    let mut squares = vec![0.0; n];
    for lead in leads {
        let smooth = moving_average(&moving_average(&gaps_held(lead), width), width);
        for index in 1..n.saturating_sub(1) {
            squares[index] += (smooth[index + 1] - smooth[index - 1]).powi(2);
        }
    }
    let velocity: Vec<f64> = squares.into_iter().map(f64::sqrt).collect();
    moving_average(&velocity, samples(ENVELOPE_SECONDS, rate_hz))
}

fn median_block_maximum(velocity: &[f64], block: usize) -> f64 {
    let maximum = |block: &[f64]| block.iter().copied().fold(0.0, f64::max);
    median(&mut velocity.chunks(block).filter(|chunk| 2 * chunk.len() >= block).map(maximum).collect())
}

/// The highest points of the stretches above the threshold, no two closer than the refractory time.
fn peaks_above(velocity: &[f64], threshold: f64, rate_hz: f64, range: std::ops::Range<usize>) -> Vec<usize> {
    let refractory = samples(REFRACTORY_SECONDS, rate_hz);
    let mut beats: Vec<usize> = Vec::new();
    let mut index = range.start;
    while index < range.end {
        if velocity[index] < threshold {
            index += 1;
            continue;
        }
        let mut peak = index;
        while index < range.end && velocity[index] >= threshold {
            if velocity[index] > velocity[peak] {
                peak = index;
            }
            index += 1;
        }
        match beats.last_mut() {
            Some(last) if peak - *last < refractory => {
                if velocity[peak] > velocity[*last] {
                    *last = peak;
                }
            }
            _ => beats.push(peak),
        }
    }
    beats
}

/// Drops what follows a beat closely and reaches less than half of it.
fn without_t_waves(beats: &[usize], velocity: &[f64], rate_hz: f64) -> Vec<usize> {
    let close = samples(T_WAVE_SECONDS, rate_hz);
    let mut kept: Vec<usize> = Vec::with_capacity(beats.len());
    for &beat in beats {
        let is_t_wave =
            kept.last().is_some_and(|last| beat - last < close && velocity[beat] < velocity[*last] / 2.0);
        if !is_t_wave {
            kept.push(beat);
        }
    }
    kept
}

/// Looks again, at a lower threshold, where the next beat is late.
fn search_back(beats: Vec<usize>, velocity: &[f64], threshold: f64, rate_hz: f64) -> Vec<usize> {
    let mut intervals: Vec<f64> =
        beats.windows(2).map(|pair| crate::statistics::count(pair[1] - pair[0])).collect();
    let late = SEARCH_BACK_RR * median(&mut intervals);
    let clear = samples(T_WAVE_SECONDS, rate_hz);
    let mut all = Vec::with_capacity(beats.len());
    for (position, &beat) in beats.iter().enumerate() {
        if let Some(&previous) = position.checked_sub(1).and_then(|previous| beats.get(previous))
            && crate::statistics::count(beat - previous) > late
        {
            let range = previous + clear..beat.saturating_sub(clear);
            all.extend(peaks_above(velocity, threshold, rate_hz, range));
        }
        all.push(beat);
    }
    all
}
