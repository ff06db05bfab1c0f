//! Lengths on paper.

use std::fmt;
use std::ops::{Add, Neg, Sub};

/// A length or a position on the page, in whole thousandths of a millimetre: `Mm(2_500)` is 2.5 mm.
///
/// Whole numbers, so that a position is rounded once, sums are exact, and equal pages are equal bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mm(pub i32);

/// Further off than any page: half a kilometre. What lies beyond is drawn at this distance.
const FARTHEST: f64 = 500_000_000.0;

impl Mm {
    /// Nothing.
    pub const ZERO: Mm = Mm(0);

    /// Whole millimetres.
    #[must_use]
    pub const fn whole(millimetres: i32) -> Mm {
        Mm(millimetres * 1000)
    }

    /// The nearest length to a number of thousandths, at most half a kilometre either way; zero for NaN.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "rounded and held inside the range just before")]
    pub fn from_thousandths(thousandths: f64) -> Mm {
        Mm(thousandths.round().clamp(-FARTHEST, FARTHEST) as i32)
    }

    /// The length in millimetres.
    #[must_use]
    pub fn to_f64(self) -> f64 {
        f64::from(self.0) / 1000.0
    }

    /// So many times the length.
    #[must_use]
    pub const fn times(self, factor: i32) -> Mm {
        Mm(self.0 * factor)
    }

    /// The length over a whole number, rounded towards zero.
    #[must_use]
    pub const fn over(self, divisor: i32) -> Mm {
        Mm(self.0 / divisor)
    }
}

impl Add for Mm {
    type Output = Mm;

    fn add(self, other: Mm) -> Mm {
        Mm(self.0 + other.0)
    }
}

impl Sub for Mm {
    type Output = Mm;

    fn sub(self, other: Mm) -> Mm {
        Mm(self.0 - other.0)
    }
}

impl Neg for Mm {
    type Output = Mm;

    fn neg(self) -> Mm {
        Mm(-self.0)
    }
}

impl fmt::Display for Mm {
    /// Millimetres with at most three decimals: `28.5`, `-0.05`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, rest) = (self.0.unsigned_abs() / 1000, self.0.unsigned_abs() % 1000);
        let sign = if self.0 < 0 { "-" } else { "" };
        if rest == 0 {
            return write!(f, "{sign}{whole}");
        }
        write!(f, "{sign}{whole}.{}", format!("{rest:03}").trim_end_matches('0'))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_prints_as_millimetres() {
        for (length, text) in [(0, "0"), (28_500, "28.5"), (-50, "-0.05"), (-12_345, "-12.345"), (7, "0.007")]
        {
            assert_eq!(Mm(length).to_string(), text);
        }
    }

    #[test]
    fn a_length_is_rounded_once_and_stays_in_range() {
        assert_eq!(Mm::from_thousandths(2.5), Mm(3));
        assert_eq!(Mm::from_thousandths(1e300), Mm(500_000_000));
        assert_eq!(Mm::from_thousandths(f64::NAN), Mm::ZERO);
    }
}
