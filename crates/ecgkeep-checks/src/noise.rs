//! How noisy a lead is: muscle noise, mains hum, wander, how far it leaves its middle.

use std::f64::consts::TAU;

use crate::constants::{
    HUM_BLOCK_SECONDS, HUM_NEIGHBOUR_HZ, HUM_RATE_HZ_AT_LEAST, HUM_UV_REMOVED, MAD_TO_SIGMA, MAINS_HZ,
    MUSCLE_HIGH_PASS_SECONDS, MUSCLE_RATE_HZ_AT_LEAST, WANDER_SECONDS,
};
use crate::statistics::{count, gaps_held, median, moving_average};
use crate::strip::{Strip, samples};

/// The figures of one lead.
pub(crate) struct Noise {
    /// Robust standard deviation above about 40 Hz in each second, in microvolts; NaN where the second has no
    /// sample. Empty where the sampling rate is too low to tell.
    pub muscle_uv: Vec<f64>,
    /// Peak amplitude in microvolts at each of [`MAINS_HZ`]; `None` where the sampling rate is too low to tell.
    pub hum_uv: Option<[f64; 2]>,
    /// From lowest to highest of the slow baseline, in microvolts.
    pub wander_uv: f64,
    /// The largest distance from the median, in microvolts.
    pub farthest_uv: f64,
}

impl Noise {
    /// The figures of each lead of a strip, in order.
    pub fn of(strip: &Strip) -> Vec<Noise> {
        if strip.is_too_long() || strip.length() == 0 {
            return Vec::new();
        }
        let waves = Waves::of(strip.rate_hz);
        strip
            .tracings
            .iter()
            .map(|tracing| Noise::of_lead(&tracing.microvolts, strip.rate_hz, waves.as_ref()))
            .collect()
    }

    fn of_lead(microvolts: &[f64], rate_hz: f64, waves: Option<&Waves>) -> Noise {
        let held = gaps_held(microvolts);
        let smooth = moving_average(&held, samples(MUSCLE_HIGH_PASS_SECONDS, rate_hz));
        let hum_uv = waves.map(|waves| waves.hum(&held));
        let muscle_uv = if rate_hz < MUSCLE_RATE_HZ_AT_LEAST {
            Vec::new()
        } else {
            let mut rest: Vec<f64> = microvolts.iter().zip(&smooth).map(|(x, y)| x - y).collect();
            if let (Some(waves), Some(hum)) = (waves, hum_uv) {
                waves.remove(&mut rest, hum);
            }
            muscle_by_second(&rest, samples(1.0, rate_hz))
        };
        Noise { muscle_uv, hum_uv, wander_uv: wander(&smooth, rate_hz), farthest_uv: farthest(microvolts) }
    }

    /// The noise of the middle second; NaN where none can be told.
    pub fn muscle_median_uv(&self) -> f64 {
        median(&mut self.muscle_uv.clone())
    }
}

/// `1.4826 * median |x|` of what lies above the high-pass, which QRS complexes hardly touch, for each second.
fn muscle_by_second(rest: &[f64], second: usize) -> Vec<f64> {
    let sigma = |values: &[f64]| MAD_TO_SIGMA * median(&mut values.iter().map(|value| value.abs()).collect());
    rest.chunks(second).filter(|values| 2 * values.len() >= second).map(sigma).collect()
}

/// The range of the moving average below about 0.5 Hz; the ends, where it has half its samples, are left out.
fn wander(smooth: &[f64], rate_hz: f64) -> f64 {
    let width = samples(WANDER_SECONDS, rate_hz);
    let slow = moving_average(&moving_average(smooth, width), width);
    let Some(inner) = slow.get(width / 2..slow.len().saturating_sub(width / 2)) else { return f64::NAN };
    let low = inner.iter().copied().fold(f64::INFINITY, f64::min);
    let high = inner.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    high - low
}

fn farthest(microvolts: &[f64]) -> f64 {
    let middle = median(&mut microvolts.to_vec());
    microvolts.iter().map(|value| (value - middle).abs()).fold(0.0, f64::max)
}

/// Cosines and sines over one block, at the mains frequencies and beside them.
struct Waves {
    /// For each mains frequency: itself, then the neighbours.
    tables: [[Vec<(f64, f64)>; 3]; 2],
    block: usize,
}

impl Waves {
    /// `None` where the rate is too low.
    fn of(rate_hz: f64) -> Option<Waves> {
        if rate_hz < HUM_RATE_HZ_AT_LEAST {
            return None;
        }
        // The number of base blocks that comes nearest to a whole number of samples.
        let off = |blocks: &u32| {
            let length = f64::from(*blocks) * HUM_BLOCK_SECONDS * rate_hz;
            (length - length.round()).abs() / f64::from(*blocks)
        };
        let blocks = (1..=5).min_by(|a, b| off(a).total_cmp(&off(b)))?;
        let block = samples(f64::from(blocks) * HUM_BLOCK_SECONDS, rate_hz);
        if block > MOST_BLOCK_SAMPLES {
            return None;
        }
        let table = |hertz: f64| {
            let angle = |index: usize| TAU * hertz * count(index) / rate_hz;
            (0..block).map(|index| (angle(index).cos(), angle(index).sin())).collect()
        };
        let tables = MAINS_HZ
            .map(|hertz| [table(hertz), table(hertz - HUM_NEIGHBOUR_HZ), table(hertz + HUM_NEIGHBOUR_HZ)]);
        Some(Waves { tables, block })
    }

    /// The peak amplitude at each mains frequency: the median over the blocks, less what stands beside it.
    fn hum(&self, values: &[f64]) -> [f64; 2] {
        let power = |table: &[(f64, f64)]| {
            let of_block = |block: &[f64]| {
                let mean = block.iter().sum::<f64>() / count(block.len());
                let (cosine, sine) = fit(block, table, mean);
                cosine * cosine + sine * sine
            };
            median(&mut values.chunks_exact(self.block).map(of_block).collect())
        };
        self.tables.each_ref().map(|[own, below, above]| {
            let beside = f64::midpoint(power(below), power(above));
            (power(own) - beside).max(0.0).sqrt()
        })
    }

    /// Takes hum that is there out of each block.
    fn remove(&self, values: &mut [f64], hum: [f64; 2]) {
        for ([own, ..], _) in self.tables.iter().zip(hum).filter(|(_, size)| *size >= HUM_UV_REMOVED) {
            for block in values.chunks_exact_mut(self.block) {
                let (cosine, sine) = fit(block, own, 0.0);
                // A block with a gap has no fit, and keeps its hum.
                if cosine.is_finite() && sine.is_finite() {
                    block.iter_mut().zip(own).for_each(|(x, (c, s))| *x -= cosine * c + sine * s);
                }
            }
        }
    }
}

/// How much of a cosine and a sine of whole periods is in a block.
fn fit(block: &[f64], table: &[(f64, f64)], mean: f64) -> (f64, f64) {
    let products = block.iter().zip(table);
    let (cosine, sine) = products
        .fold((0.0, 0.0), |(c, s), (x, (cosine, sine))| (c + (x - mean) * cosine, s + (x - mean) * sine));
    let scale = 2.0 / count(block.len());
    (scale * cosine, scale * sine)
}

/// A block longer than this belongs to no sampling rate of an electrocardiograph (project choice).
const MOST_BLOCK_SAMPLES: usize = 1_000_000;
