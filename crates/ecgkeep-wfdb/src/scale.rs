//! Gain, baseline and unit of a signal line, and the model's step, offset and unit.

use ecgkeep_format::{Error, Kind, Note, Result};
use ecgkeep_recording::{Exact, Quantity, SignalUnit, Step};

use crate::as_text::Unit;
use crate::constants::{UNITS_BYTES, VOLTAGES};
use crate::keys::LeadLines;
use crate::line::Line;
use crate::record_line::plain;
use crate::signal_line::SignalLine;

/// Step, offset and unit of one signal.
#[derive(Debug)]
pub(crate) struct Scale {
    pub(crate) step: Step,
    pub(crate) offset: Exact,
    pub(crate) unit: SignalUnit,
}

/// The model counts in 10^-9 of a unit.
const NANO: i64 = 1_000_000_000;
/// The unit of a signal line that has none (header(5)).
const DEFAULT_UNIT: &str = "mV";
/// The unit written where the signal line cannot spell the model's: "no unit", as published records have it.
const NO_UNIT: &str = "NU";
/// Two floating-point numbers that differ by less are the same number, rounded on the way.
const SAME: f64 = 4.0 * f64::EPSILON;

impl Scale {
    /// What a signal line and the exact lines beside it say.
    /// # Errors
    /// [`Kind::Malformed`] where the gain is too long to be inverted exactly.
    pub(crate) fn read(
        line: &Line,
        signal: &SignalLine,
        lines: &LeadLines,
        notes: &mut Vec<Note>,
    ) -> Result<Scale> {
        let spelled = signal.units.as_deref().unwrap_or(DEFAULT_UNIT);
        let (mut unit, nano) = match (signal.gain, VOLTAGES.iter().find(|(name, _)| *name == spelled)) {
            (None, _) => (SignalUnit::Uncalibrated, NANO),
            (Some(_), Some((_, nanovolts))) => (SignalUnit::Volt, *nanovolts),
            (Some(_), None) => (SignalUnit::Other(spelled.to_owned()), NANO),
        };
        if signal.gain.is_none() {
            line.departure(notes, "no gain is stated: the signal is not calibrated");
        }
        let mut nano = Exact::whole(nano);
        if let Some(Unit(stated)) = &lines.unit {
            if unit == SignalUnit::Volt && *stated != SignalUnit::Volt {
                line.departure(notes, "the signal line has volts, another line has not: volts were taken");
            } else {
                unit = stated.clone();
                nano = Exact::whole(NANO);
            }
        }
        let too_long = || line.malformed("the gain is too long to be inverted exactly");
        let gain = signal.gain.unwrap_or(Exact::ONE);
        let mut step = nano.over(gain).ok_or_else(too_long)?;
        if let Some(lsb) = lines.lsb.as_ref().and_then(|lsb| in_nano(lsb, &unit)) {
            if signal.gain.is_none() || is_same(lsb, step) {
                step = lsb;
            } else {
                let text =
                    format!("the exact step {} is not that of the gain: the gain was taken", plain(lsb));
                line.departure(notes, text);
            }
        }
        if unit == SignalUnit::Volt && step.magnitude() < Exact::ONE {
            let text = "the gain makes a count less than 1 nV, which is not plausible; it was kept as stated";
            line.departure(notes, text);
        }
        let from_baseline = |count: i64| Exact::whole(count).times(step).map(Exact::negated);
        let mut offset = from_baseline(signal.baseline.into()).ok_or_else(too_long)?;
        if let Some(stated) = lines.offset.as_ref().and_then(|offset| in_nano(offset, &unit)) {
            if baseline(stated, step) == Some(signal.baseline) {
                offset = stated;
            } else {
                line.departure(notes, "the exact offset is not that of the baseline: the baseline was taken");
            }
        }
        let step = Step::new(step).ok_or_else(too_long)?;
        Ok(Scale { step, offset, unit })
    }

    /// Fills gain, baseline and unit of a signal line, and the exact lines where these cannot hold the scale.
    /// # Errors
    /// [`Kind::Refused`] where step or offset do not fit a header.
    pub(crate) fn write(&self, signal: &mut SignalLine, lines: &mut LeadLines) -> Result<()> {
        let refused = |what: &str| {
            Error::new(Kind::Refused, format!("the {what} does not fit the header"))
                .clause(crate::constants::SIGNAL_LINE)
        };
        let step = self.step.nanovolts();
        let (spelled, nano) = match &self.unit {
            SignalUnit::Volt => (Some(DEFAULT_UNIT), VOLTAGES[0].1),
            SignalUnit::Uncalibrated => (None, NANO),
            SignalUnit::Other(name) if is_writable_unit(name) => (Some(name.as_str()), NANO),
            _ => {
                lines.unit = Some(Unit(self.unit.clone()));
                (Some(NO_UNIT), NANO)
            }
        };
        signal.units = spelled.map(str::to_owned);
        let gain = Exact::whole(nano).over(step).ok_or_else(|| refused("step"))?;
        if self.unit == SignalUnit::Uncalibrated {
            signal.gain = None;
            if gain != Exact::ONE {
                lines.lsb = Some(in_words(step, &self.unit));
            }
        } else {
            let written: Exact = plain(gain).parse().map_err(|_| refused("step"))?;
            if written != gain {
                let back = Exact::whole(nano).over(written).ok_or_else(|| refused("step"))?;
                if !is_same(step, back) {
                    return Err(refused("step"));
                }
                lines.lsb = Some(in_words(step, &self.unit));
            }
            signal.gain = Some(written);
        }
        signal.baseline = baseline(self.offset, step).ok_or_else(|| refused("offset"))?;
        if Exact::whole(signal.baseline.into()).times(step).map(Exact::negated) != Some(self.offset) {
            lines.offset = Some(in_words(self.offset, &self.unit));
        }
        Ok(())
    }
}

/// The count that stands for 0 units: -offset / step, rounded half away from zero.
fn baseline(offset: Exact, step: Exact) -> Option<i32> {
    let (text, _) = offset.negated().over(step)?.to_decimal(0)?;
    text.parse().ok()
}

/// Whether two numbers are the same but for floating-point rounding.
fn is_same(a: Exact, b: Exact) -> bool {
    let (a, b) = (a.to_f64(), b.to_f64());
    (a - b).abs() <= SAME * a.abs()
}

/// `4.88 uV`, `1/3 mmHg`.
fn in_words(nano: Exact, unit: &SignalUnit) -> Quantity {
    let (name, size) = match unit {
        SignalUnit::Volt => ("uV", 1_000),
        SignalUnit::Other(name) => (name.as_str(), NANO),
        _ => ("count", NANO),
    };
    match nano.over(Exact::whole(size)) {
        Some(value) => Quantity::new(value, name),
        None => Quantity::new(nano, format!("n{name}")),
    }
}

/// The inverse of [`in_words`]; for a voltage in any of its units.
fn in_nano(quantity: &Quantity, unit: &SignalUnit) -> Option<Exact> {
    let size = match unit {
        SignalUnit::Volt => VOLTAGES.iter().find(|(name, _)| *name == quantity.unit)?.1,
        SignalUnit::Other(name) if quantity.unit == format!("n{name}") => 1,
        SignalUnit::Uncalibrated if quantity.unit == "ncount" => 1,
        _ => NANO,
    };
    quantity.value.times(Exact::whole(size))
}

/// Whether a signal line can spell this unit so that it is read as itself: characters that PyPI wfdb 4.3.1 takes.
fn is_writable_unit(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || "_^-?%/".contains(c);
    (1..=UNITS_BYTES).contains(&name.len())
        && name.chars().all(plain)
        && !VOLTAGES.iter().any(|(voltage, _)| *voltage == name)
}

/// The largest number of which both are whole multiples; above zero.
pub(crate) fn common_divisor(a: Exact, b: Exact) -> Option<Exact> {
    let left = a.numerator().checked_mul(b.denominator())?.unsigned_abs();
    let right = b.numerator().checked_mul(a.denominator())?.unsigned_abs();
    let (mut x, mut y) = (left, right);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    Exact::ratio(i128::try_from(x).ok()?, a.denominator().checked_mul(b.denominator())?).ok()
}
