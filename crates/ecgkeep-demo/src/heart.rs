//! The heart: one beat as a dipole and what the electrodes see of it.

use std::f64::consts::TAU;

use crate::arithmetic::{exp, real, whole};
use crate::constants::{
    DOWER, NEAR_FIELD, NEAR_FIELD_VARIETY, NEGLIGIBLE, RATE_OF_TIMES, REACH, VARIETY, WAVES, Wave,
};
use crate::electrodes::{SITES, leads_of, potentials_of};
use crate::random::{Purpose, Random};
use crate::rhythm::Beat;

/// The beat of one recording.
pub(crate) struct Heart {
    parts: Vec<Part>,
    /// Milliseconds from the centre of the model's times to where the QRS dipole is longest.
    reference_ms: f64,
}

struct Part {
    wave: Wave,
    centre_ms: f64,
    width_ms: f64,
    /// Height at each electrode.
    potentials: [f64; SITES],
    /// Height of the dipole; zero for the near field.
    dipole: [f64; 3],
}

/// Boundaries and peaks, milliseconds from the beat's reference.
pub(crate) struct Times {
    pub(crate) p: [f64; 3],
    pub(crate) qrs: [f64; 2],
    /// Peak and offset.
    pub(crate) t: [f64; 2],
}

/// The highest and the lowest voltage of a lead during a wave, microvolts.
#[derive(Clone, Copy)]
pub(crate) struct Extremes {
    pub(crate) highest: f64,
    /// Where it is, milliseconds from the beat's reference.
    pub(crate) highest_ms: f64,
    pub(crate) lowest: f64,
}

impl Extremes {
    /// The one of larger size.
    pub(crate) fn larger(self) -> f64 {
        if self.highest >= -self.lowest { self.highest } else { self.lowest }
    }
}

/// Peaks are sought at this spacing.
const FINE_MS: f64 = 0.125;

impl Heart {
    /// The heart of one person, with this frontal QRS axis, this factor on every wave, and this mean RR interval in
    /// seconds.
    pub(crate) fn new(seed: u64, axis_deg: f64, amplitude: f64, mean_rr: f64) -> Heart {
        let mut random = Random::new(seed, Purpose::Person);
        let mut personal = |variety: f64| amplitude * (1.0 + variety * (2.0 * random.uniform() - 1.0));
        let waves = WAVES.map(|(wave, centre_ms, width_ms, dipole)| {
            let factor = personal(VARIETY);
            (wave, centre_ms, width_ms, dipole.map(|height| height * factor))
        });
        // McSharry 2003 stretches the beat with the root of the RR interval; here the P wave less than the T wave
        let stretch = (mean_rr * RATE_OF_TIMES / 60.0).sqrt();
        let (cos, sin) = rotation_to(axis_deg, &waves);
        let half = half_angle(cos, sin);
        let stretched = |wave: Wave, centre_ms: f64, width_ms: f64| match wave {
            Wave::P => (centre_ms * stretch.sqrt(), width_ms),
            Wave::Qrs => (centre_ms, width_ms),
            Wave::T => (centre_ms * stretch, width_ms * stretch),
        };
        let dipoles = waves.into_iter().map(|(wave, centre_ms, width_ms, dipole)| {
            let (centre_ms, width_ms) = stretched(wave, centre_ms, width_ms);
            let (cos, sin) = match wave {
                Wave::P => (1.0, 0.0),
                Wave::Qrs => (cos, sin),
                Wave::T => half,
            };
            let dipole = rotated(dipole, cos, sin);
            Part { wave, centre_ms, width_ms, potentials: potentials_of(dipole), dipole }
        });
        let near_field = NEAR_FIELD.into_iter().map(|(wave, chest, centre_ms, width_ms, height)| {
            let (centre_ms, width_ms) = stretched(wave, centre_ms, width_ms);
            let mut potentials = [0.0; SITES];
            potentials[2 + chest] = height * personal(NEAR_FIELD_VARIETY);
            Part { wave, centre_ms, width_ms, potentials, dipole: [0.0; 3] }
        });
        let parts = dipoles.chain(near_field).collect();
        let mut heart = Heart { parts, reference_ms: 0.0 };
        heart.reference_ms = heart.peak_ms(Wave::Qrs);
        heart
    }

    /// Adds the beats to the potentials of the electrodes, one list of samples for each.
    pub(crate) fn beat(&self, beats: &[Beat], rate: f64, sites: &mut [Vec<f64>; SITES]) {
        let length = i64::try_from(sites[0].len()).unwrap_or(i64::MAX);
        for beat in beats {
            for part in &self.parts {
                let (centre, width) =
                    ((part.centre_ms - self.reference_ms) * rate / 1000.0, part.width_ms * rate / 1000.0);
                let reach = NEGLIGIBLE * width;
                let first = (beat.sample + whole(centre - reach)).clamp(0, length);
                let last = (beat.sample + whole(centre + reach)).clamp(0, length);
                for sample in first..last {
                    let away = (real(sample - beat.sample) - centre) / width;
                    let height = beat.scale * exp(-away * away / 2.0);
                    let index = usize::try_from(sample).expect("clamped to 0 and above");
                    for (site, potential) in sites.iter_mut().zip(part.potentials) {
                        site[index] += height * potential;
                    }
                }
            }
        }
    }

    /// Boundaries and peaks of every wave.
    pub(crate) fn times(&self) -> Times {
        let (p, qrs, t) = (self.bounds_ms(Wave::P), self.bounds_ms(Wave::Qrs), self.bounds_ms(Wave::T));
        let from = |ms: f64| ms - self.reference_ms;
        Times {
            p: [from(p.0), from(self.peak_ms(Wave::P)), from(p.1)],
            qrs: [from(qrs.0), from(qrs.1)],
            t: [from(self.peak_ms(Wave::T)), from(t.1)],
        }
    }

    /// The extremes of each of the twelve leads within a wave's boundaries.
    pub(crate) fn extremes(&self, wave: Wave) -> [Extremes; 12] {
        let mut extremes =
            [Extremes { highest: f64::NEG_INFINITY, highest_ms: 0.0, lowest: f64::INFINITY }; 12];
        let (from, to) = self.bounds_ms(wave);
        for step in 0..=whole((to - from) / FINE_MS) {
            let ms = from + real(step) * FINE_MS;
            let mut sites = [0.0; SITES];
            for part in &self.parts {
                let height = part.height(ms);
                sites
                    .iter_mut()
                    .zip(part.potentials)
                    .for_each(|(site, potential)| *site += height * potential);
            }
            for (extreme, lead) in extremes.iter_mut().zip(leads_of(sites)) {
                if lead > extreme.highest {
                    (extreme.highest, extreme.highest_ms) = (lead, ms - self.reference_ms);
                }
                extreme.lowest = extreme.lowest.min(lead);
            }
        }
        extremes
    }

    /// The net area of the QRS in each of the twelve leads, microvolt-seconds: a Gaussian of height a and standard
    /// deviation s has the area a s root(2 pi).
    pub(crate) fn qrs_areas(&self) -> [f64; 12] {
        let mut sites = [0.0; SITES];
        for part in self.parts.iter().filter(|part| part.wave == Wave::Qrs) {
            let area = part.width_ms / 1000.0 * TAU.sqrt();
            sites.iter_mut().zip(part.potentials).for_each(|(site, potential)| *site += area * potential);
        }
        leads_of(sites)
    }

    fn bounds_ms(&self, wave: Wave) -> (f64, f64) {
        self.parts.iter().filter(|part| part.wave == wave).fold(
            (f64::INFINITY, f64::NEG_INFINITY),
            |(from, to), part| {
                let reach = REACH * part.width_ms;
                (from.min(part.centre_ms - reach), to.max(part.centre_ms + reach))
            },
        )
    }

    /// Where the wave's dipole is longest.
    fn peak_ms(&self, wave: Wave) -> f64 {
        let (from, to) = self.bounds_ms(wave);
        let mut best = (0.0, from);
        for step in 0..=whole((to - from) / FINE_MS) {
            let ms = from + real(step) * FINE_MS;
            let mut dipole = [0.0; 3];
            for part in self.parts.iter().filter(|part| part.wave == wave) {
                let height = part.height(ms);
                dipole.iter_mut().zip(part.dipole).for_each(|(sum, axis)| *sum += height * axis);
            }
            let square = dipole.iter().map(|axis| axis * axis).sum::<f64>();
            if square > best.0 {
                best = (square, ms);
            }
        }
        best.1
    }
}

impl Part {
    fn height(&self, ms: f64) -> f64 {
        let away = (ms - self.centre_ms) / self.width_ms;
        if away.abs() > NEGLIGIBLE { 0.0 } else { exp(-away * away / 2.0) }
    }
}

/// The frontal axis in degrees from net voltages or areas of leads I and aVF. aVF is lengthened by 2 / root 3, as
/// Novosel et al. 1999 found necessary.
pub(crate) fn axis_deg(lead_i: f64, lead_avf: f64) -> f64 {
    (2.0 / 3.0_f64.sqrt() * lead_avf).atan2(lead_i).to_degrees()
}

/// Cosine and sine of the turn about the Z axis that brings the QRS's net area to this frontal axis. With n square
/// to the axis and the leads linear in the dipole, n . lead(turn) = p cos + q sin + k must vanish and the
/// voltage along the axis must be positive.
fn rotation_to(axis_deg: f64, waves: &[(Wave, f64, f64, [f64; 3])]) -> (f64, f64) {
    let area =
        waves.iter().filter(|(wave, ..)| *wave == Wave::Qrs).fold([0.0; 3], |sum, (_, _, width, dipole)| {
            [sum[0] + width * dipole[0], sum[1] + width * dipole[1], sum[2] + width * dipole[2]]
        });
    let (i, ii) = (DOWER[0], DOWER[1]);
    let lengthened = 2.0 / 3.0_f64.sqrt();
    let up = [0, 1, 2].map(|axis| lengthened * (ii[axis] - i[axis] / 2.0));
    let (along_sin, along_cos) = (portable_sin(axis_deg), portable_sin(axis_deg + 90.0));
    let square: [f64; 3] = [0, 1, 2].map(|axis| along_cos * up[axis] - along_sin * i[axis]);
    let along: [f64; 3] = [0, 1, 2].map(|axis| along_cos * i[axis] + along_sin * up[axis]);
    let p = square[0] * area[0] + square[1] * area[1];
    let q = square[1] * area[0] - square[0] * area[1];
    let k = square[2] * area[2];
    // p cos + q sin = -k; the Z part is far smaller than the rest, so the root is real
    let norm = p * p + q * q;
    let root = (norm - k * k).max(0.0).sqrt();
    let solutions = [1.0, -1.0].map(|sign| {
        let (cos, sin) = ((-k * p - sign * q * root) / norm, (-k * q + sign * p * root) / norm);
        let turned = rotated(area, cos, sin);
        ((cos, sin), along[0] * turned[0] + along[1] * turned[1] + along[2] * turned[2])
    });
    if solutions[0].1 > solutions[1].1 { solutions[0].0 } else { solutions[1].0 }
}

fn portable_sin(degrees: f64) -> f64 {
    crate::arithmetic::sin(degrees / 360.0 * TAU)
}

/// Cosine and sine of half of an angle between -180 and 180 degrees.
fn half_angle(cos: f64, sin: f64) -> (f64, f64) {
    let half_cos = ((1.0 + cos) / 2.0).max(0.0).sqrt();
    let half_sin = ((1.0 - cos) / 2.0).max(0.0).sqrt();
    (half_cos, if sin < 0.0 { -half_sin } else { half_sin })
}

fn rotated([x, y, z]: [f64; 3], cos: f64, sin: f64) -> [f64; 3] {
    [x * cos - y * sin, x * sin + y * cos, z]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_axis_formula_gives_the_worked_values() {
        // (I, aVF) with the factor 2 / root 3 of Novosel et al. 1999: (5, 5) 49.1, (8, 4) 30.0, (-4, 6) 120.0,
        // (5, -3) -34.7, (10, 0) 0.
        for (i, avf, expected) in
            [(5.0, 5.0, 49.1), (8.0, 4.0, 30.0), (-4.0, 6.0, 120.0), (5.0, -3.0, -34.7), (10.0, 0.0, 0.0)]
        {
            assert!((axis_deg(i, avf) - expected).abs() < 0.05, "{i} {avf}");
        }
    }

    #[test]
    fn the_axis_asked_for_is_the_axis_of_the_areas() {
        for asked in [-170.0, -90.0, -30.0, 0.0, 15.0, 48.0, 60.0, 90.0, 120.0, 179.0] {
            let areas = Heart::new(2, asked, 1.3, 0.9).qrs_areas();
            assert!((axis_deg(areas[0], areas[5]) - asked).abs() < 1e-6, "{asked}");
        }
    }

    #[test]
    fn the_area_of_the_waves_is_the_sum_of_the_samples() {
        let heart = Heart::new(2, 48.0, 1.0, 0.923);
        let mut sites: [Vec<f64>; SITES] = std::array::from_fn(|_| vec![0.0; 400]);
        heart.beat(&[Beat { sample: 200, scale: 1.0 }], 1000.0, &mut sites);
        let sums = leads_of(std::array::from_fn(|site| sites[site][130..260].iter().sum::<f64>() / 1000.0));
        for (sum, area) in sums.iter().zip(heart.qrs_areas()) {
            assert!((sum - area).abs() < 0.35, "{sum} {area}");
        }
    }

    #[test]
    fn half_of_an_angle_is_half() {
        for degrees in [-150.0_f64, -20.0, 0.0, 75.0, 180.0] {
            let angle = degrees.to_radians();
            let (cos, sin) = half_angle(angle.cos(), angle.sin());
            assert!((sin.atan2(cos).to_degrees() - degrees / 2.0).abs() < 1e-6);
        }
    }
}
