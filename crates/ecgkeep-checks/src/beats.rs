//! Where the heart beats.
//!
//! The beats are found on the spatial velocity of the leads: the root of the summed squares of their slopes. It
//! does not depend on polarity, nor on which chest lead carries which label, and it survives a dead lead.

use ecgkeep_recording::Lead;

use crate::constants::{
    BLOCK_SECONDS, BLOCKS_AROUND, DETECTOR_RATE_HZ_AT_LEAST, ENVELOPE_SECONDS, NOISE_SHARE, QRS_HALF_SECONDS,
    REFRACTORY_SECONDS, SEARCH_BACK_RR, SLOW_SECONDS, SMOOTHING_SECONDS, T_WAVE_SECONDS, THRESHOLD_SHARE,
};
use crate::statistics::{count, gaps_held, median, moving_average};
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
        if at.len() < 2 {
            return Err("no two beats were found".to_owned());
        }
        Ok(Beats { at })
    }
}

/// The QRS reference points of simultaneous leads in microvolts, NaN where missing.
fn find_beats(leads: &[&[f64]], rate_hz: f64) -> Vec<usize> {
    let velocity = Velocity::of(leads, rate_hz);
    let beats = velocity.peaks(1.0, 0..velocity.values.len());
    let beats = velocity.without_t_waves(&beats);
    if velocity.is_noise(&beats) {
        return Vec::new();
    }
    let mut beats = velocity.search_back(&beats);
    // Where the ends cut a QRS complex its reference point cannot be told.
    let edge = samples(QRS_HALF_SECONDS, rate_hz);
    beats.retain(|beat| *beat >= edge && beat + edge < velocity.values.len());
    beats
}

/// The smoothed spatial velocity, with the height that a beat must reach.
struct Velocity {
    values: Vec<f64>,
    /// One height for each block of samples.
    thresholds: Vec<f64>,
    block: usize,
    rate_hz: f64,
}

impl Velocity {
    fn of(leads: &[&[f64]], rate_hz: f64) -> Velocity {
        let n = leads.first().map_or(0, |lead| lead.len());
        let (width, slow_width) = (samples(SMOOTHING_SECONDS, rate_hz), samples(SLOW_SECONDS, rate_hz));
        let mut squares = vec![0.0; n];
        for lead in leads {
            let mut smooth = moving_average(&moving_average(&gaps_held(lead), width), width);
            let slow = moving_average(&moving_average(&smooth, slow_width), slow_width);
            smooth.iter_mut().zip(&slow).for_each(|(value, slow)| *value -= slow);
            for (square, pair) in squares.iter_mut().skip(1).zip(smooth.windows(3)) {
                *square += (pair[2] - pair[0]).powi(2);
            }
        }
        let velocity: Vec<f64> = squares.into_iter().map(f64::sqrt).collect();
        let values = moving_average(&velocity, samples(ENVELOPE_SECONDS, rate_hz));
        let block = samples(BLOCK_SECONDS, rate_hz);
        let thresholds = thresholds(&values, block);
        Velocity { values, thresholds, block, rate_hz }
    }

    fn reaches(&self, index: usize, share: f64) -> bool {
        let threshold = self.thresholds[(index / self.block).min(self.thresholds.len() - 1)];
        threshold > 0.0 && self.values[index] >= share * threshold
    }

    /// The highest points of the stretches that reach a share of the threshold, no two closer than the refractory
    /// time.
    fn peaks(&self, share: f64, range: std::ops::Range<usize>) -> Vec<usize> {
        let refractory = samples(REFRACTORY_SECONDS, self.rate_hz);
        let mut beats: Vec<usize> = Vec::new();
        let mut index = range.start;
        while index < range.end {
            if !self.reaches(index, share) {
                index += 1;
                continue;
            }
            let mut peak = index;
            while index < range.end && self.reaches(index, share) {
                if self.values[index] > self.values[peak] {
                    peak = index;
                }
                index += 1;
            }
            match beats.last_mut() {
                Some(last) if peak - *last < refractory => {
                    if self.values[peak] > self.values[*last] {
                        *last = peak;
                    }
                }
                _ => beats.push(peak),
            }
        }
        beats
    }

    /// Drops what follows a beat closely and reaches less than half of it.
    fn without_t_waves(&self, beats: &[usize]) -> Vec<usize> {
        let close = samples(T_WAVE_SECONDS, self.rate_hz);
        let mut kept: Vec<usize> = Vec::with_capacity(beats.len());
        for &beat in beats {
            let is_t_wave = kept
                .last()
                .is_some_and(|last| beat - last < close && self.values[beat] < self.values[*last] / 2.0);
            if !is_t_wave {
                kept.push(beat);
            }
        }
        kept
    }

    /// Whether the beats do not stand out from what lies between them.
    fn is_noise(&self, beats: &[usize]) -> bool {
        let beat = median(&mut beats.iter().map(|beat| self.values[*beat]).collect());
        let level = median(&mut self.values.clone());
        level.is_nan() || beat.is_nan() || level >= NOISE_SHARE * beat
    }

    /// Looks again, at half the threshold, where the next beat is late.
    fn search_back(&self, beats: &[usize]) -> Vec<usize> {
        let mut intervals: Vec<f64> = beats.windows(2).map(|pair| count(pair[1] - pair[0])).collect();
        let late = SEARCH_BACK_RR * median(&mut intervals);
        let clear = samples(T_WAVE_SECONDS, self.rate_hz);
        let mut all = Vec::with_capacity(beats.len());
        for &beat in beats {
            if let Some(&previous) = all.last()
                && count(beat - previous) > late
            {
                all.extend(self.peaks(0.5, previous + clear..beat.saturating_sub(clear)));
            }
            all.push(beat);
        }
        all
    }
}

/// For each block a share of the median of the block maxima around it; a last block of less than half a length
/// has no vote.
fn thresholds(velocity: &[f64], block: usize) -> Vec<f64> {
    let maximum = |block: &[f64]| block.iter().copied().fold(0.0, f64::max);
    let maxima: Vec<f64> =
        velocity.chunks(block).filter(|chunk| 2 * chunk.len() >= block).map(maximum).collect();
    let around = |index: usize| {
        let from = index.saturating_sub(BLOCKS_AROUND);
        let to = (index + BLOCKS_AROUND + 1).min(maxima.len());
        THRESHOLD_SHARE * median(&mut maxima[from..to].to_vec())
    };
    let mut thresholds: Vec<f64> = (0..maxima.len()).map(around).collect();
    if thresholds.is_empty() {
        thresholds.push(f64::NAN);
    }
    thresholds
}
