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
    /// From lowest to highest, in microvolts.
    pub range_uv: f64,
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
        Noise { muscle_uv, hum_uv, wander_uv: wander(&smooth, rate_hz), range_uv: range(&held) }
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
    // What is below 0.5 Hz needs few samples.
    let every = samples(MUSCLE_HIGH_PASS_SECONDS, rate_hz);
    let thinned: Vec<f64> = smooth.iter().step_by(every).copied().collect();
    let width = samples(WANDER_SECONDS, rate_hz / count(every));
    let slow = moving_average(&moving_average(&thinned, width), width);
    slow.get(width / 2..slow.len().saturating_sub(width / 2)).map_or(f64::NAN, range)
}

/// From lowest to highest.
fn range(values: &[f64]) -> f64 {
    let (low, high) = values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(*value), high.max(*value)));
    high - low
}

/// Cosines and sines over one block, at the mains frequencies and beside them.
struct Waves {
    /// At 45, 50, 55, 60 and 65 Hz: each mains frequency between its two neighbours.
    tables: [Table; 5],
    block: usize,
}

/// Cosines and sines of one frequency.
struct Table {
    cosines: Vec<f64>,
    sines: Vec<f64>,
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
            let angles = (0..block).map(|index| TAU * hertz * count(index) / rate_hz);
            Table { cosines: angles.clone().map(f64::cos).collect(), sines: angles.map(f64::sin).collect() }
        };
        let [low, high] = MAINS_HZ;
        let between = f64::midpoint(low, high);
        let tables = [low - HUM_NEIGHBOUR_HZ, low, between, high, high + HUM_NEIGHBOUR_HZ].map(table);
        Some(Waves { tables, block })
    }

    /// The peak amplitude at each mains frequency: the median over the blocks, less what stands beside it.
    fn hum(&self, values: &[f64]) -> [f64; 2] {
        let mut powers: [Vec<f64>; 5] = Default::default();
        let mut level = Vec::with_capacity(self.block);
        for block in values.chunks_exact(self.block) {
            let mean = block.iter().sum::<f64>() / count(block.len());
            level.clear();
            level.extend(block.iter().map(|value| value - mean));
            for (powers, table) in powers.iter_mut().zip(&self.tables) {
                let (cosine, sine) = fit(&level, table);
                powers.push(cosine * cosine + sine * sine);
            }
        }
        let [below, low, between, high, above] = powers.each_mut().map(median);
        let excess = |own: f64, a: f64, b: f64| (own - f64::midpoint(a, b)).max(0.0).sqrt();
        [excess(low, below, between), excess(high, between, above)]
    }

    /// Takes hum that is there out of each block.
    fn remove(&self, values: &mut [f64], hum: [f64; 2]) {
        let own = [&self.tables[1], &self.tables[3]];
        for (table, _) in own.into_iter().zip(hum).filter(|(_, size)| *size >= HUM_UV_REMOVED) {
            for block in values.chunks_exact_mut(self.block) {
                let (cosine, sine) = fit(block, table);
                // A block with a gap has no fit, and keeps its hum.
                if cosine.is_finite() && sine.is_finite() {
                    let waves = table.cosines.iter().zip(&table.sines);
                    block.iter_mut().zip(waves).for_each(|(x, (c, s))| *x -= cosine * c + sine * s);
                }
            }
        }
    }
}

/// How much of a cosine and a sine of whole periods is in a block.
fn fit(block: &[f64], table: &Table) -> (f64, f64) {
    let scale = 2.0 / count(block.len());
    (scale * product(block, &table.cosines), scale * product(block, &table.sines))
}

/// The sum of the products, in four parts so that the processor can take them side by side.
fn product(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (a_parts, b_parts) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest: f64 = a_parts.remainder().iter().zip(b_parts.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a_parts.zip(b_parts) {
        for lane in 0..4 {
            sums[lane] += x[lane] * y[lane];
        }
    }
    sums.iter().sum::<f64>() + rest
}

/// A block longer than this belongs to no sampling rate of an electrocardiograph (project choice).
const MOST_BLOCK_SAMPLES: usize = 20_000;
