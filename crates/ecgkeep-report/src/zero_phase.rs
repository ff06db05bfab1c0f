//! Second-order filters, run forwards and backwards over a copy of the voltages, so that no wave is moved in time.
//!
//! Both passes together take a sine of the named frequency down by 3 dB (to 70.7 %): each pass is made a little wider
//! than its name, by the factor that undoes the second pass.

use std::f64::consts::{PI, SQRT_2};

/// A biquad, its leading denominator coefficient 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Section {
    numerator: [f64; 3],
    denominator: [f64; 2],
}

/// Second-order Butterworth low-pass by the bilinear transform, warped so that its corner is exact; `hertz` must lie
/// between 0 and half of `per_second`.
pub(crate) fn low_pass(hertz: f64, per_second: f64) -> Section {
    butterworth((PI * hertz / per_second).tan() / narrowing(), 1.0)
}

/// The high-pass of the same kind.
pub(crate) fn high_pass(hertz: f64, per_second: f64) -> Section {
    butterworth((PI * hertz / per_second).tan() * narrowing(), -1.0)
}

/// A notch at `hertz`, between its 3 dB points `width_hertz` wide.
pub(crate) fn notch(hertz: f64, width_hertz: f64, per_second: f64) -> Section {
    // One pass is 2^(-1/4) high where both are 2^(-1/2).
    let edge = 0.5f64.powf(0.25);
    let width = (1.0 - edge * edge).sqrt() / edge * (PI * width_hertz / per_second).tan();
    let gain = 1.0 / (1.0 + width);
    let middle = -2.0 * gain * (2.0 * PI * hertz / per_second).cos();
    Section { numerator: [gain, middle, gain], denominator: [middle, 2.0 * gain - 1.0] }
}

/// The corner of two second-order Butterworth passes as a share of the corner of one: 0.802.
fn narrowing() -> f64 {
    (SQRT_2 - 1.0).powf(0.25)
}

/// `sign` is 1 for a low-pass, -1 for a high-pass; `corner` is the warped corner.
fn butterworth(corner: f64, sign: f64) -> Section {
    let square = corner * corner;
    let scale = 1.0 / (1.0 + SQRT_2 * corner + square);
    let first = if sign > 0.0 { square * scale } else { scale };
    Section {
        numerator: [first, 2.0 * sign * first, first],
        denominator: [2.0 * (square - 1.0) * scale, (1.0 - SQRT_2 * corner + square) * scale],
    }
}

/// Filters each unbroken stretch (NaN is a gap) by itself, forwards and backwards. At both ends a stretch is first
/// lengthened by its own mirror image, `mirrored` samples at most, and the filters start as if its first value had
/// always been there. Mirrored and not turned about its last sample: where a strip ends on an R wave, that would
/// begin a step of twice its height.
pub(crate) fn filter(sections: &[Section], values: &mut [f64], mirrored: usize) {
    if sections.is_empty() {
        return;
    }
    for stretch in values.chunk_by_mut(|a, b| a.is_nan() == b.is_nan()).filter(|stretch| !stretch[0].is_nan())
    {
        let at_ends = mirrored.min(stretch.len() - 1);
        let mut long = Vec::with_capacity(stretch.len() + 2 * at_ends);
        long.extend(stretch[1..=at_ends].iter().rev());
        long.extend_from_slice(stretch);
        long.extend(stretch[stretch.len() - 1 - at_ends..stretch.len() - 1].iter().rev());
        pass(sections, &mut long);
        long.reverse();
        pass(sections, &mut long);
        long.reverse();
        stretch.copy_from_slice(&long[at_ends..at_ends + stretch.len()]);
    }
}

/// One pass of all sections, from the steady state of the first value.
fn pass(sections: &[Section], values: &mut [f64]) {
    let mut steady = values[0];
    for Section { numerator: [b0, b1, b2], denominator: [a1, a2] } in sections {
        let settled = steady * (b0 + b1 + b2) / (1.0 + a1 + a2);
        let mut second = b2 * steady - a2 * settled;
        let mut first = b1 * steady - a1 * settled + second;
        for value in values.iter_mut() {
            let out = b0 * *value + first;
            first = b1 * *value - a1 * out + second;
            second = b2 * *value - a2 * out;
            *value = out;
        }
        steady = settled;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How high a sine of so many hertz stands after the filters, as a share of its height before.
    fn share(section: Section, hertz: f64) -> f64 {
        let sine = |k: u32| (2.0 * PI * hertz * f64::from(k) / 500.0).sin();
        let mut values: Vec<f64> = (0..20_000).map(sine).collect();
        let power = |values: &[f64]| values[5_000..15_000].iter().map(|value| value * value).sum::<f64>();
        let before = power(&values);
        filter(&[section], &mut values, 5_000);
        (power(&values) / before).sqrt()
    }

    fn near(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() <= within, "{found}, expected {expected}");
    }

    #[test]
    fn both_passes_together_lower_a_sine_of_the_corner_by_three_decibels() {
        let half_power = 0.5f64.sqrt();
        near(share(low_pass(40.0, 500.0), 40.0), half_power, 1e-3);
        near(share(high_pass(0.5, 500.0), 0.5), half_power, 1e-3);
        near(share(notch(50.0, 2.0, 500.0), 49.01), half_power, 1e-2);
        near(share(notch(50.0, 2.0, 500.0), 50.0), 0.0, 1e-6);
        near(share(low_pass(40.0, 500.0), 1.0), 1.0, 1e-4);
        near(share(high_pass(0.5, 500.0), 20.0), 1.0, 1e-4);
    }

    #[test]
    fn the_figures_are_those_of_scipy() {
        // scipy 1.17.1: butter(2, ..., output="sos") with the corner of one pass, iirnotch with the width of one pass,
        // sosfiltfilt(sos, x, padtype="even", padlen=999); tests/reference/filter_check.py holds whole pages to it.
        let (high, low, notch) = (high_pass(0.5, 500.0), low_pass(40.0, 500.0), notch(50.0, 2.0, 500.0));
        let cases: [(&[Section], [f64; 6]); 4] = [
            (&[high], [-368.313117, -330.819671, -332.190155, 81.230428, 211.228604, 70.982933]),
            (&[low], [-258.662228, -250.821958, -26.76676, 293.809736, 547.212626, 449.604872]),
            (&[notch], [-295.401848, -258.808876, -264.047686, 277.378355, 589.512894, 492.13759]),
            (&[high, low, notch], [-324.818095, -317.405531, -95.822901, 99.273306, 166.893173, 15.591164]),
        ];
        for (sections, expected) in cases {
            let mut values: Vec<f64> =
                (0..1000).map(|k| f64::from((k * 37) % 601 - 300) + f64::from(k) * 0.5).collect();
            filter(sections, &mut values, 5_000);
            for (at, expected) in [0, 1, 17, 400, 777, 999].into_iter().zip(expected) {
                near(values[at], expected, 1e-5);
            }
        }
    }

    #[test]
    fn a_wave_stays_at_its_moment() {
        // Symmetric about sample 5000, so the result must be.
        let wave = |k: i32| (-f64::from((k - 5_000) * (k - 5_000)) / 200.0).exp();
        let mut values: Vec<f64> = (0..10_001).map(wave).collect();
        filter(&[low_pass(40.0, 500.0), high_pass(0.5, 500.0)], &mut values, 5_000);
        for k in 0..=5_000 {
            near(values[5_000 - k], values[5_000 + k], 1e-6);
        }
    }

    #[test]
    fn nothing_crosses_a_gap_and_a_gap_stays_one() {
        let mut values = vec![1.0, 1.0, f64::NAN, f64::NAN, 900.0];
        filter(&[low_pass(40.0, 500.0)], &mut values, 10);
        near(values[0], 1.0, 1e-9);
        near(values[1], 1.0, 1e-9);
        near(values[4], 900.0, 1e-6);
        assert!(values[2].is_nan() && values[3].is_nan());
    }
}
