//! How noisy a lead is: muscle noise, mains hum, wander, how far it leaves its middle; over all and second by second.

use std::f64::consts::TAU;

use crate::constants::{
    HARMONICS, HARMONICS_NOISE_UV_AT_LEAST, HUM_BLOCK_SECONDS, HUM_NEIGHBOUR_HZ, HUM_RATE_HZ_AT_LEAST,
    HUM_UV_REMOVED, MAD_TO_SIGMA, MAINS_HZ, MUSCLE_HIGH_PASS_SECONDS, MUSCLE_RATE_HZ_AT_LEAST,
    WANDER_SECONDS,
};
use crate::statistics::{count, ends, gaps_held, median, moving_average, product};
use crate::strip::{Strip, samples};

/// The figures of one lead.
pub(crate) struct Noise {
    /// Robust standard deviation above about 40 Hz in each second, in microvolts; NaN where the second has no
    /// sample. Empty where the sampling rate is too low to tell.
    pub muscle_uv: Vec<f64>,
    /// The hum at each of [`MAINS_HZ`]; `None` where the sampling rate is too low to tell.
    pub hum: Option<[Hum; 2]>,
    /// From lowest to highest of the slow baseline, in microvolts.
    pub wander_uv: f64,
    /// How far the slow baseline lies from its middle in each second, in microvolts.
    pub wander_by_second_uv: Vec<f64>,
    /// From lowest to highest, in microvolts.
    pub range_uv: f64,
}

/// The hum of one mains frequency, as peak amplitudes in microvolts.
#[derive(Clone, Debug, Default)]
pub(crate) struct Hum {
    /// At the frequency itself.
    pub base_uv: f64,
    /// At each of [`HARMONICS`]; zero in a quiet lead, and where the sampling rate is too low.
    pub harmonics_uv: [f64; 2],
    /// At the frequency itself in each second; NaN where a second has no whole block.
    pub by_second_uv: Vec<f64>,
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
        let mut hum = waves.map(|waves| waves.hum(&held));
        let mut muscle_uv = Vec::new();
        if rate_hz >= MUSCLE_RATE_HZ_AT_LEAST {
            let mut rest: Vec<f64> = microvolts.iter().zip(&smooth).map(|(x, y)| x - y).collect();
            let second = samples(1.0, rate_hz);
            if let (Some(waves), Some(hum)) = (waves, &hum) {
                waves.remove(&mut rest, hum);
            }
            muscle_uv = muscle_by_second(&rest, second);
            if let (Some(waves), Some(hum)) = (waves, &mut hum)
                && median(&mut muscle_uv.clone()) >= HARMONICS_NOISE_UV_AT_LEAST
                && waves.add_harmonics(&held, hum)
            {
                waves.remove_harmonics(&mut rest, hum);
                muscle_uv = muscle_by_second(&rest, second);
            }
        }
        let (wander_uv, wander_by_second_uv) = wander(&smooth, rate_hz);
        Noise { muscle_uv, hum, wander_uv, wander_by_second_uv, range_uv: range(&held) }
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

/// The range of the moving average below about 0.5 Hz, and how far it lies from its middle in each second; the
/// ends, where it has half its samples, are left out.
fn wander(smooth: &[f64], rate_hz: f64) -> (f64, Vec<f64>) {
    // What is below 0.5 Hz needs few samples.
    let every = samples(MUSCLE_HIGH_PASS_SECONDS, rate_hz);
    let thinned: Vec<f64> = smooth.iter().step_by(every).copied().collect();
    let width = samples(WANDER_SECONDS, rate_hz / count(every));
    let slow = moving_average(&moving_average(&thinned, width), width);
    let second = samples(1.0, rate_hz);
    let mut by_second = vec![0.0; smooth.len().div_ceil(second)];
    let Some(inner) = slow.get(width / 2..slow.len().saturating_sub(width / 2)) else {
        return (f64::NAN, by_second);
    };
    let middle = median(&mut inner.to_vec());
    for (index, value) in inner.iter().enumerate() {
        let far: &mut f64 = &mut by_second[(index + width / 2) * every / second];
        *far = far.max((value - middle).abs());
    }
    (range(inner), by_second)
}

/// From lowest to highest.
fn range(values: &[f64]) -> f64 {
    let (low, high) = ends(values);
    high - low
}

/// Cosines and sines over one block, at the mains frequencies, at their harmonics, and beside them.
struct Waves {
    /// At 45, 50, 55, 60 and 65 Hz: each mains frequency between its two neighbours.
    base: [Table; 5],
    /// For each mains frequency and each of [`HARMONICS`]: the harmonic between its two neighbours; `None` above
    /// half the sampling rate.
    harmonics: [[Option<[Table; 3]>; 2]; 2],
    block: usize,
    rate_hz: f64,
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
        let base = [low - HUM_NEIGHBOUR_HZ, low, between, high, high + HUM_NEIGHBOUR_HZ].map(table);
        let around = |hertz: f64| {
            let highest = hertz + HUM_NEIGHBOUR_HZ;
            (2.0 * highest < rate_hz).then(|| [hertz - HUM_NEIGHBOUR_HZ, hertz, highest].map(table))
        };
        let harmonics = MAINS_HZ.map(|hertz| HARMONICS.map(|times| around(times * hertz)));
        Some(Waves { base, harmonics, block, rate_hz })
    }

    /// The hum at each mains frequency: in the quieter half of the blocks, less what stands beside it.
    fn hum(&self, values: &[f64]) -> [Hum; 2] {
        let powers = self.powers(values, &self.base);
        let [below, low, between, high, above] = &powers;
        let [low_by_second, high_by_second] = self.by_second(&powers);
        let hum = |base_uv, by_second_uv| Hum { base_uv, harmonics_uv: [0.0; 2], by_second_uv };
        [
            hum(quiet_excess([low, below, between], above), low_by_second),
            hum(quiet_excess([high, between, above], below), high_by_second),
        ]
    }

    /// Squared peak amplitudes of each block at the frequency of each table.
    fn powers<const N: usize>(&self, values: &[f64], tables: &[Table; N]) -> [Vec<f64>; N] {
        let mut powers = [const { Vec::new() }; N];
        let mut level = Vec::with_capacity(self.block);
        let ones = vec![1.0; self.block];
        for block in values.chunks_exact(self.block) {
            let mean = product(block, &ones) / count(block.len());
            level.clear();
            level.extend(block.iter().map(|value| value - mean));
            for (powers, table) in powers.iter_mut().zip(tables) {
                let (cosine, sine) = fit(&level, table);
                powers.push(cosine * cosine + sine * sine);
            }
        }
        powers
    }

    /// The hum of the two mains frequencies in each second, from the blocks whose middle lies in it.
    fn by_second(&self, powers: &[Vec<f64>; 5]) -> [Vec<f64>; 2] {
        let second = samples(1.0, self.rate_hz);
        let blocks = powers[0].len();
        let seconds = (blocks * self.block).div_ceil(second);
        let first_block =
            |of: usize| (of * second).saturating_sub(self.block / 2).div_ceil(self.block).min(blocks);
        let middle = |of: usize| {
            let those = first_block(of)..first_block(of + 1);
            powers.each_ref().map(|powers| median(&mut powers[those.clone()].to_vec()))
        };
        let middles: Vec<[f64; 5]> = (0..seconds).map(middle).collect();
        let one = |own: usize| middles.iter().map(|of| excess(of[own], of[own - 1], of[own + 1])).collect();
        [one(1), one(3)]
    }

    /// Measures the harmonics; whether some of them is to be removed.
    fn add_harmonics(&self, values: &[f64], hum: &mut [Hum; 2]) -> bool {
        for (hum, tables) in hum.iter_mut().zip(&self.harmonics) {
            for (uv, tables) in hum.harmonics_uv.iter_mut().zip(tables) {
                let Some(tables) = tables else { continue };
                let [below, own, above] = self.powers(values, tables).each_mut().map(median);
                *uv = excess(own, below, above);
            }
        }
        hum.iter().flat_map(|hum| hum.harmonics_uv).any(|uv| uv >= HUM_UV_REMOVED)
    }

    /// Takes hum that is there out of each block.
    fn remove(&self, values: &mut [f64], hum: &[Hum; 2]) {
        for (table, hum) in [&self.base[1], &self.base[3]].into_iter().zip(hum) {
            if hum.base_uv >= HUM_UV_REMOVED {
                self.remove_one(values, table);
            }
        }
    }

    /// [`Waves::remove`] for the harmonics.
    fn remove_harmonics(&self, values: &mut [f64], hum: &[Hum; 2]) {
        let pairs =
            self.harmonics.iter().zip(hum).flat_map(|(tables, hum)| tables.iter().zip(hum.harmonics_uv));
        for (tables, uv) in pairs {
            if let Some([_, own, _]) = tables
                && uv >= HUM_UV_REMOVED
            {
                self.remove_one(values, own);
            }
        }
    }

    fn remove_one(&self, values: &mut [f64], table: &Table) {
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

/// [`excess`] of the medians of a frequency's own powers and those below and above it, over the half of the blocks that
/// hold least at one further away: those without QRS complexes and steep waves, in which the hum can be told best. Blocks
/// chosen by the powers that are taken off would show hum in mere noise.
fn quiet_excess(powers: [&[f64]; 3], far: &[f64]) -> f64 {
    let mut quiet: Vec<usize> = (0..far.len()).collect();
    let half = far.len().div_ceil(2);
    if half == 0 {
        return f64::NAN;
    }
    quiet.select_nth_unstable_by(half - 1, |a, b| far[*a].total_cmp(&far[*b]));
    let [own, below, above] =
        powers.map(|powers| median(&mut quiet[..half].iter().map(|block| powers[*block]).collect()));
    excess(own, below, above)
}

/// The peak amplitude of what a power holds more than its two neighbours.
fn excess(own: f64, below: f64, above: f64) -> f64 {
    (own - f64::midpoint(below, above)).max(0.0).sqrt()
}

/// How much of a cosine and a sine of whole periods is in a block.
fn fit(block: &[f64], table: &Table) -> (f64, f64) {
    let scale = 2.0 / count(block.len());
    (scale * product(block, &table.cosines), scale * product(block, &table.sines))
}

/// A block longer than this belongs to no sampling rate of an electrocardiograph (project choice).
const MOST_BLOCK_SAMPLES: usize = 20_000;
