//! Exact numbers as 64-bit floating-point numbers, and as a text beside where that is not enough.
//!
//! A floating-point number stands for the shortest decimal that is read as it (what Python prints), so `204.8` and
//! `204.91803278688525` are exact. Where the number is another one, such as `1/3`, its text stands beside.

use ecgkeep_format::{Error, Note, Place, Result, Weight};
use ecgkeep_recording::Exact;

use crate::node::Reading;

/// How far, relatively, a number may be from the text that stands beside it before the two are said to disagree.
const SAME: f64 = 1e-12;

/// The number, and its text where the number alone does not say it.
#[cfg(feature = "hdf5")]
pub(crate) fn write(exact: Exact) -> (f64, Option<String>) {
    let nearest = exact.to_short_decimal().and_then(|decimal| decimal.parse().ok());
    let number = nearest.unwrap_or_else(|| exact.to_f64());
    let text = (shortest(number) != Some(exact)).then(|| exact.to_string());
    (number, text)
}

/// The shortest decimal that is read as this number; `None` where it is none or longer than can be held.
pub(crate) fn shortest(number: f64) -> Option<Exact> {
    number.is_finite().then(|| number.to_string().parse().ok()).flatten()
}

/// The number that a floating-point number and the text beside it (empty where there is none) say.
/// # Errors
/// [`ecgkeep_format::Kind::Malformed`] where they say none.
pub(crate) fn read(
    reading: &mut Reading,
    place: &Place,
    name: &str,
    number: f64,
    text: &str,
) -> Result<Exact> {
    let none = |what: String| Error::malformed(place.clone(), format!("{name} is {what}, no exact number"));
    if text.is_empty() {
        return shortest(number).ok_or_else(|| none(number.to_string()));
    }
    let exact: Exact = text.parse().map_err(|error| none(format!("{text:?}")).because(error))?;
    if !agree(number, exact) {
        let text = format!("{name} is {number} and {exact} as a text; the text was taken");
        reading.notes.push(Note::new(Weight::Departure, place.clone(), text));
    }
    Ok(exact)
}

/// Whether a number and the text beside it say the same, as far as the number can.
fn agree(number: f64, exact: Exact) -> bool {
    let stated = exact.to_f64();
    (number - stated).abs() <= SAME * stated.abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(feature = "hdf5")]
    #[test]
    fn a_decimal_needs_no_text_and_a_third_does() {
        for (text, number) in
            [("0", 0.0), ("-12.75", -12.75), ("204.91803278688525", 204.918_032_786_885_25), ("70000", 7e4)]
        {
            let exact: Exact = text.parse().expect("a number");
            assert_eq!(write(exact), (number, None));
            assert_eq!(shortest(number), Some(exact));
        }
        for text in ["1/3", "123456789.012345678", "100000000000000000000000000000000000001/7"] {
            let exact: Exact = text.parse().expect("a number");
            let (number, beside) = write(exact);
            assert_eq!(beside.as_deref(), Some(text));
            assert!(agree(number, exact) && !agree(number * 1.001, exact));
        }
    }

    #[test]
    fn what_no_decimal_of_ours_holds_is_none() {
        for number in [f64::NAN, f64::INFINITY, 1e300, 1e-300] {
            assert_eq!(shortest(number), None);
        }
    }
}
