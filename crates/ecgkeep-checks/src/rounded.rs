//! Measured values as quantities, rounded for reading.

use ecgkeep_recording::{Exact, Quantity};

/// A value rounded to `places` decimals; `None` where it is not a finite number.
pub(crate) fn quantity(value: f64, places: usize, unit: &str) -> Option<Quantity> {
    // Written out and read back: rounds once, in decimal, and never truncates.
    let value: Exact = format!("{value:.places$}").parse().ok()?;
    Some(Quantity { value, unit: unit.to_owned() })
}
