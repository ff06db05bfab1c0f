//! When the heart beats.

use std::f64::consts::TAU;

use crate::arithmetic::{real, sin, whole};
use crate::constants::{BREATHING_HZ, BREATHING_RR, BREATHING_SIZE, OTHER_RR, SLOW_HZ, SLOW_RR};
use crate::random::{Purpose, Random};

/// One beat.
pub(crate) struct Beat {
    /// The sample of its R wave; may lie outside the recording.
    pub(crate) sample: i64,
    /// Its size relative to the mean.
    pub(crate) scale: f64,
}

/// The breathing of one recording: the phase at its start, radians.
pub(crate) struct Breathing {
    phase: f64,
}

impl Breathing {
    pub(crate) fn of(seed: u64) -> Breathing {
        Breathing { phase: TAU * Random::new(seed, Purpose::Breathing).uniform() }
    }

    /// From -1 to 1 at `seconds` from the recording's start.
    pub(crate) fn at(&self, seconds: f64) -> f64 {
        sin(TAU * BREATHING_HZ * seconds + self.phase)
    }
}

/// The beats of a recording of `length` samples at `rate` per second, and those just outside whose waves reach in.
pub(crate) fn beats(seed: u64, mean_rr: f64, rate: f64, length: usize) -> Vec<Beat> {
    let breathing = Breathing::of(seed);
    let mut random = Random::new(seed, Purpose::Rhythm);
    let slow = TAU * random.uniform();
    let end = real(i64::try_from(length).unwrap_or(i64::MAX)) / rate;
    let mut beats = Vec::new();
    // one interval before the start at the earliest, so that the first T wave is there
    let mut at = mean_rr * (random.uniform() - 1.0);
    while at < end + 0.5 {
        let scale = 1.0 + BREATHING_SIZE * breathing.at(at);
        beats.push(Beat { sample: whole(at * rate), scale });
        let sway = BREATHING_RR * breathing.at(at) + SLOW_RR * sin(TAU * SLOW_HZ * (at + 60.0) + slow);
        at += mean_rr * (1.0 + sway + OTHER_RR * random.normal());
    }
    beats
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_vary_little_and_keep_the_mean() {
        let beats = beats(3, 0.923, 1000.0, 300_000);
        let rr: Vec<f64> = beats.windows(2).map(|two| real(two[1].sample - two[0].sample) / 1000.0).collect();
        let mean = rr.iter().sum::<f64>() / real(i64::try_from(rr.len()).unwrap());
        assert!((mean - 0.923).abs() < 0.005, "{mean}");
        assert!(rr.iter().all(|rr| (rr / 0.923 - 1.0).abs() < 0.06));
        // an SDNN of 10 to 50 ms is usual at rest over minutes (common practice, no source)
        let square = rr.iter().map(|rr| (rr - mean) * (rr - mean)).sum::<f64>();
        let deviation = (square / real(i64::try_from(rr.len()).unwrap())).sqrt();
        assert!((0.010..0.050).contains(&deviation), "{deviation}");
    }
}
