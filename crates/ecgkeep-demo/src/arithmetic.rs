//! Exponential, sine and rounding by plain IEEE 754 operations, so that a recording is the same on every platform
//! (the standard library's `exp` and `sin` may differ in the last bit).

use std::f64::consts::{LN_2, PI, TAU};

/// e to the power of `x`, for `x` up to 0; within 1e-13 of the true value, relative; 0 below -700.
pub(crate) fn exp(x: f64) -> f64 {
    if x < -700.0 {
        return 0.0;
    }
    let halvings = (-x / LN_2).round();
    let rest = x + halvings * LN_2;
    // Taylor series; |rest| is at most ln 2 / 2, so the 15th term is below 1e-19
    let (mut sum, mut term) = (1.0, 1.0);
    for n in 1..=14 {
        term *= rest / f64::from(n);
        sum += term;
    }
    let mut halves = halvings;
    while halves >= 1.0 {
        sum *= 0.5;
        halves -= 1.0;
    }
    sum
}

/// The sine of `x` radians, for `x` up to 1e6; within 1e-9 of the true value.
pub(crate) fn sin(x: f64) -> f64 {
    let mut angle = x - (x / TAU).round() * TAU;
    if angle > PI / 2.0 {
        angle = PI - angle;
    } else if angle < -PI / 2.0 {
        angle = -PI - angle;
    }
    // Taylor series; |angle| is at most pi / 2, so the 12th term is below 1e-17
    let (mut sum, mut term) = (angle, angle);
    for n in 1..=11 {
        let n = f64::from(n);
        term *= -angle * angle / (2.0 * n * (2.0 * n + 1.0));
        sum += term;
    }
    sum
}

/// The nearest whole number, halves away from zero.
#[expect(clippy::cast_possible_truncation, reason = "`as` saturates; recordings are far below 2^63 samples")]
pub(crate) fn whole(x: f64) -> i64 {
    x.round() as i64
}

/// The nearest count, halves away from zero; the ends of the range where it does not fit.
#[expect(clippy::cast_possible_truncation, reason = "`as` saturates, as a converter does")]
pub(crate) fn count(x: f64) -> i32 {
    x.round() as i32
}

/// A sample number or a count of samples as a number.
#[expect(clippy::cast_precision_loss, reason = "recordings are far below 2^52 samples")]
pub(crate) fn real(n: i64) -> f64 {
    n as f64
}

/// The sample number nearest to `at` that lies in a recording of `length` samples, or its end.
pub(crate) fn inside(at: f64, length: usize) -> usize {
    usize::try_from(whole(at)).unwrap_or(0).min(length)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exp_and_sin_agree_with_the_standard_library() {
        for step in 0..7000 {
            let x = -f64::from(step) / 10.0;
            assert!((exp(x) - x.exp()).abs() <= 1e-13 * x.exp(), "exp({x})");
        }
        for step in -2000..2000 {
            let x = f64::from(step) * 0.37;
            assert!((sin(x) - x.sin()).abs() < 1e-12, "sin({x})");
        }
    }

    #[test]
    fn halves_round_away_from_zero() {
        assert_eq!((count(0.5), count(-0.5), count(-1.4), whole(2.5)), (1, -1, -1, 3));
    }
}
