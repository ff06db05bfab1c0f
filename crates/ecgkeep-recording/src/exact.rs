//! Exact fractions: every number of the model that is not a count.

use std::cmp::Ordering;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

/// A fraction of two 128-bit integers in lowest terms, the denominator positive.
///
/// Decimals of up to 18 significant digits and ratios such as `1/3` are exact. Arithmetic is checked: what
/// does not fit is `None`, never a rounded value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Exact {
    numerator: i128,
    denominator: i128,
}

/// Why a text or a pair of integers is no [`Exact`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum NotExact {
    /// The text is neither a decimal number nor a ratio of two integers.
    NotANumber,
    /// More than 18 significant digits, or a power of ten out of range.
    TooLong,
    /// The denominator is zero.
    ZeroDenominator,
}

impl fmt::Display for NotExact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            NotExact::NotANumber => "not a decimal number or a ratio of two whole numbers",
            NotExact::TooLong => "more than 18 significant digits",
            NotExact::ZeroDenominator => "a ratio with denominator zero",
        })
    }
}

impl std::error::Error for NotExact {}

/// The most significant digits a decimal may have and still be held.
pub const MOST_DIGITS: usize = 18;

impl Exact {
    /// Zero.
    pub const ZERO: Exact = Exact { numerator: 0, denominator: 1 };
    /// One.
    pub const ONE: Exact = Exact { numerator: 1, denominator: 1 };

    /// `numerator / denominator` in lowest terms.
    /// # Errors
    /// [`NotExact::ZeroDenominator`]; [`NotExact::TooLong`] where a part does not fit 128 bits.
    pub fn ratio(numerator: i128, denominator: i128) -> Result<Exact, NotExact> {
        if denominator == 0 {
            return Err(NotExact::ZeroDenominator);
        }
        let divisor = gcd(numerator.unsigned_abs(), denominator.unsigned_abs());
        let negative = (numerator < 0) != (denominator < 0);
        let numerator = i128::try_from(numerator.unsigned_abs() / divisor).map_err(|_| NotExact::TooLong)?;
        let denominator =
            i128::try_from(denominator.unsigned_abs() / divisor).map_err(|_| NotExact::TooLong)?;
        Ok(Exact { numerator: if negative { -numerator } else { numerator }, denominator })
    }

    /// A whole number.
    #[must_use]
    pub const fn whole(value: i64) -> Exact {
        Exact { numerator: value as i128, denominator: 1 }
    }

    /// The numerator in lowest terms; it carries the sign.
    #[must_use]
    pub const fn numerator(self) -> i128 {
        self.numerator
    }

    /// The denominator in lowest terms; at least 1.
    #[must_use]
    pub const fn denominator(self) -> i128 {
        self.denominator
    }

    /// Whether the value is zero.
    #[must_use]
    pub const fn is_zero(self) -> bool {
        self.numerator == 0
    }

    /// Whether the value is below zero.
    #[must_use]
    pub const fn is_negative(self) -> bool {
        self.numerator < 0
    }

    /// The value as a whole number, if it is one and fits.
    #[must_use]
    pub fn to_whole(self) -> Option<i64> {
        if self.denominator == 1 { i64::try_from(self.numerator).ok() } else { None }
    }

    /// The nearest floating-point value; for drawing and for statistics, never for storing.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "the nearest value is what is asked for")]
    pub fn to_f64(self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }

    /// The sum, or `None` where it does not fit.
    #[must_use]
    pub fn plus(self, other: Exact) -> Option<Exact> {
        let shared =
            i128::try_from(gcd(self.denominator.unsigned_abs(), other.denominator.unsigned_abs())).ok()?;
        let left = self.numerator.checked_mul(other.denominator / shared)?;
        let right = other.numerator.checked_mul(self.denominator / shared)?;
        let denominator = self.denominator.checked_mul(other.denominator / shared)?;
        Exact::ratio(left.checked_add(right)?, denominator).ok()
    }

    /// The difference, or `None` where it does not fit.
    #[must_use]
    pub fn minus(self, other: Exact) -> Option<Exact> {
        self.plus(other.negated())
    }

    /// The product, or `None` where it does not fit.
    #[must_use]
    pub fn times(self, other: Exact) -> Option<Exact> {
        let left = Exact::ratio(self.numerator, other.denominator).ok()?;
        let right = Exact::ratio(other.numerator, self.denominator).ok()?;
        Some(Exact {
            numerator: left.numerator.checked_mul(right.numerator)?,
            denominator: left.denominator.checked_mul(right.denominator)?,
        })
    }

    /// The quotient, or `None` for a division by zero or where it does not fit.
    #[must_use]
    pub fn over(self, other: Exact) -> Option<Exact> {
        self.times(Exact::ratio(other.denominator, other.numerator).ok()?)
    }

    /// The value with the other sign.
    #[must_use]
    pub const fn negated(self) -> Exact {
        Exact { numerator: -self.numerator, denominator: self.denominator }
    }

    /// The value without its sign.
    #[must_use]
    pub const fn magnitude(self) -> Exact {
        Exact { numerator: self.numerator.abs(), denominator: self.denominator }
    }

    /// The value as a decimal with at most `places` digits after the point (trailing zeros dropped), rounded
    /// half away from zero; the flag says whether the text is exact. `None` where it does not fit 128 bits.
    #[must_use]
    pub fn to_decimal(self, places: u32) -> Option<(String, bool)> {
        let scaled = self.times(Exact { numerator: 10i128.checked_pow(places)?, denominator: 1 })?;
        let whole = scaled.numerator / scaled.denominator;
        let rest = (scaled.numerator % scaled.denominator).unsigned_abs();
        let up = rest >= scaled.denominator.unsigned_abs() - rest;
        let rounded = whole.unsigned_abs() + u128::from(rest != 0 && up);
        let digits = format!("{rounded:0width$}", width = places as usize + 1);
        let (integer, fraction) = digits.split_at(digits.len() - places as usize);
        let fraction = fraction.trim_end_matches('0');
        let sign = if self.is_negative() && rounded != 0 { "-" } else { "" };
        let point = if fraction.is_empty() { "" } else { "." };
        Some((format!("{sign}{integer}{point}{fraction}"), rest == 0))
    }

    /// The decimal text of the value if it is a finite decimal of at most 18 significant digits.
    #[must_use]
    pub fn to_short_decimal(self) -> Option<String> {
        let mut rest = self.denominator;
        let (mut twos, mut fives) = (0u32, 0u32);
        while rest % 2 == 0 {
            rest /= 2;
            twos += 1;
        }
        while rest % 5 == 0 {
            rest /= 5;
            fives += 1;
        }
        if rest != 1 {
            return None;
        }
        let (text, exact) = self.to_decimal(twos.max(fives))?;
        let digits = text.chars().filter(char::is_ascii_digit).collect::<String>();
        let significant = digits.trim_start_matches('0').trim_end_matches('0').len();
        (exact && significant <= MOST_DIGITS).then_some(text)
    }
}

fn gcd(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

impl Default for Exact {
    fn default() -> Self {
        Exact::ZERO
    }
}

impl From<i64> for Exact {
    fn from(value: i64) -> Exact {
        Exact::whole(value)
    }
}

impl From<i32> for Exact {
    fn from(value: i32) -> Exact {
        Exact::whole(i64::from(value))
    }
}

impl PartialOrd for Exact {
    fn partial_cmp(&self, other: &Exact) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Exact {
    fn cmp(&self, other: &Exact) -> Ordering {
        let signs = self.numerator.signum().cmp(&other.numerator.signum());
        if signs != Ordering::Equal {
            return signs;
        }
        let left = wide_product(self.numerator.unsigned_abs(), other.denominator.unsigned_abs());
        let right = wide_product(other.numerator.unsigned_abs(), self.denominator.unsigned_abs());
        if self.is_negative() { right.cmp(&left) } else { left.cmp(&right) }
    }
}

/// The 256-bit product as (high, low).
fn wide_product(a: u128, b: u128) -> (u128, u128) {
    const HALF: u128 = u64::MAX as u128;
    let (a_high, a_low, b_high, b_low) = (a >> 64, a & HALF, b >> 64, b & HALF);
    let low = a_low * b_low;
    let middle = a_high * b_low + (low >> 64);
    let cross = a_low * b_high + (middle & HALF);
    (a_high * b_high + (middle >> 64) + (cross >> 64), (cross << 64) | (low & HALF))
}

impl fmt::Display for Exact {
    /// A decimal where that is exact and short, else a ratio: `2.5`, `-1/3`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.to_short_decimal() {
            Some(decimal) => f.pad(&decimal),
            None => f.pad(&format!("{}/{}", self.numerator, self.denominator)),
        }
    }
}

impl FromStr for Exact {
    type Err = NotExact;

    /// Reads `-12.50`, `1.25e-3`, `+.5` or `1/3`; no blanks.
    fn from_str(text: &str) -> Result<Exact, NotExact> {
        if let Some((numerator, denominator)) = text.split_once('/') {
            let part = |part: &str| part.parse::<i128>().map_err(|_| NotExact::NotANumber);
            return Exact::ratio(part(numerator)?, part(denominator)?);
        }
        let (mantissa, power) = match text.split_once(['e', 'E']) {
            Some((mantissa, power)) => (mantissa, power.parse::<i32>().map_err(|_| NotExact::NotANumber)?),
            None => (text, 0),
        };
        let (negative, digits) = match mantissa.as_bytes().first() {
            Some(b'-') => (true, &mantissa[1..]),
            Some(b'+') => (false, &mantissa[1..]),
            _ => (false, mantissa),
        };
        let (integer, fraction) = digits.split_once('.').unwrap_or((digits, ""));
        if integer.len() + fraction.len() == 0
            || !integer.bytes().chain(fraction.bytes()).all(|b| b.is_ascii_digit())
        {
            return Err(NotExact::NotANumber);
        }
        let fraction = fraction.trim_end_matches('0');
        let all = format!("{integer}{fraction}");
        let significant = all.trim_start_matches('0');
        if significant.trim_end_matches('0').len() > MOST_DIGITS {
            return Err(NotExact::TooLong);
        }
        let value = if significant.is_empty() {
            0
        } else {
            significant.parse::<i128>().map_err(|_| NotExact::TooLong)?
        };
        let places = i32::try_from(fraction.len()).map_err(|_| NotExact::TooLong)?;
        let power = power.checked_sub(places).ok_or(NotExact::TooLong)?;
        let ten = 10i128.checked_pow(power.unsigned_abs()).ok_or(NotExact::TooLong)?;
        let value = if negative { -value } else { value };
        match power {
            _ if value == 0 => Ok(Exact::ZERO),
            ..0 => Exact::ratio(value, ten),
            0.. => Exact::ratio(value.checked_mul(ten).ok_or(NotExact::TooLong)?, 1),
        }
    }
}

impl Serialize for Exact {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Exact {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Exact, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(text: &str) -> Exact {
        text.parse().unwrap()
    }

    #[test]
    fn decimals_and_ratios_survive_as_text() {
        for text in [
            "0",
            "1",
            "-12.5",
            "204.91803278688525",
            "62.4725",
            "1/3",
            "-7/3",
            "0.000001",
            "1000000000000000000",
            "100000000000000000000000000000000000000",
            "0.00000000000000000000000000000000000001",
        ] {
            assert_eq!(exact(text).to_string(), text);
        }
        for (text, same) in
            [("+.5", "0.5"), ("1.25e-3", "0.00125"), ("5e2", "500"), ("6/4", "1.5"), ("1.500", "1.5")]
        {
            assert_eq!(exact(text).to_string(), same);
        }
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in ["", ".", "-", "1,5", "1 ", "1e", "e5", "NaN", "1/0", "0x10", "--1", "1.2.3"] {
            assert!(text.parse::<Exact>().is_err(), "{text}");
        }
        assert_eq!("1.2345678901234567891".parse::<Exact>(), Err(NotExact::TooLong));
        assert_eq!("1e99".parse::<Exact>(), Err(NotExact::TooLong));
    }

    #[test]
    fn a_gain_of_seventeen_digits_inverts_exactly() {
        let step = Exact::whole(1_000_000).over(exact("204.91803278688525")).unwrap();
        assert_eq!(Exact::whole(1_000_000).over(step).unwrap(), exact("204.91803278688525"));
        assert_eq!(step.to_string().parse::<Exact>().unwrap(), step);
    }

    #[test]
    fn order_is_exact_where_products_exceed_128_bits() {
        let a = Exact::ratio(i128::MAX, i128::MAX - 1).unwrap();
        let b = Exact::ratio(i128::MAX - 1, i128::MAX - 2).unwrap();
        assert!(a < b);
        assert!(a.negated() > b.negated());
        assert!(exact("1/3") < exact("0.3334"));
        assert!(exact("1/3") > exact("0.3333"));
    }

    #[test]
    fn rounding_is_half_away_from_zero() {
        assert_eq!(exact("473.5").to_decimal(0), Some(("474".into(), false)));
        assert_eq!(exact("-213.5").to_decimal(0), Some(("-214".into(), false)));
        assert_eq!(exact("-0.0004").to_decimal(3), Some(("0".into(), false)));
        assert_eq!(exact("2/3").to_decimal(3), Some(("0.667".into(), false)));
        assert_eq!(exact("12.5").to_decimal(3), Some(("12.5".into(), true)));
    }
}
