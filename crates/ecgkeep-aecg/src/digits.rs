//! Lists of numbers: `digits`, read fast and exactly, and written.

use ecgkeep_recording::Exact;

use crate::constants::LONGEST_NUMBER;

/// The numbers of one `digits` element.
#[derive(Default)]
pub(crate) struct Digits {
    /// The numbers, times 10 to the power of `places`.
    pub(crate) samples: Vec<i32>,
    /// Decimal places that the numbers needed; 0 for whole numbers.
    pub(crate) places: u32,
    /// Whether a whole number was spelled as `+5`, `3.0` or `1E2`.
    pub(crate) odd_spelling: bool,
    /// The first thing that is no number.
    pub(crate) bad: Option<Bad>,
    /// A number whose end has not been seen yet: a comment or a reference splits the text.
    pending: Vec<u8>,
    too_long: bool,
}

/// Something among the digits that is no number.
pub(crate) struct Bad {
    /// Its position, counted from 0.
    pub(crate) index: usize,
    /// What stands there.
    pub(crate) found: String,
    /// Why it is none.
    pub(crate) why: &'static str,
}

impl Digits {
    /// Whether there were more numbers than allowed.
    pub(crate) fn is_too_long(&self) -> bool {
        self.too_long
    }

    /// The next part of the text; at most `most` numbers are taken from it.
    pub(crate) fn push(&mut self, mut part: &[u8], most: usize) {
        if self.bad.is_some() || self.too_long {
            return;
        }
        let most = self.samples.len().saturating_add(most);
        if !self.pending.is_empty() {
            let end = part.iter().position(|byte| is_blank(*byte)).unwrap_or(part.len());
            let room = (LONGEST_NUMBER + 1).saturating_sub(self.pending.len());
            self.pending.extend_from_slice(&part[..end.min(room)]);
            if end == part.len() {
                return;
            }
            self.finish();
            part = &part[end..];
        }
        // the number at the end may go on in the next part
        let whole = part.iter().rposition(|byte| is_blank(*byte)).map_or(0, |at| at + 1);
        let (part, rest) = part.split_at(whole);
        self.scan(part, most);
        self.pending.extend_from_slice(&rest[..rest.len().min(LONGEST_NUMBER + 1)]);
        self.too_long |= self.samples.len() + usize::from(!self.pending.is_empty()) > most;
    }

    /// The text is over.
    pub(crate) fn finish(&mut self) {
        let pending = std::mem::take(&mut self.pending);
        if self.bad.is_none() && !pending.is_empty() {
            self.number(&pending);
        }
    }

    /// Numbers with a blank after each.
    fn scan(&mut self, bytes: &[u8], most: usize) {
        let mut at = 0;
        while at < bytes.len() {
            let first = bytes[at];
            if is_blank(first) {
                at += 1;
                continue;
            }
            let start = at;
            let negative = first == b'-';
            at += usize::from(negative);
            let digits = at;
            let mut value: i64 = 0;
            while let Some(digit) =
                bytes.get(at).map(|byte| byte.wrapping_sub(b'0')).filter(|digit| *digit < 10)
            {
                value = value.wrapping_mul(10).wrapping_add(i64::from(digit));
                at += 1;
            }
            let value = if negative { -value } else { value };
            // at most 10 digits cannot wrap
            let is_plain =
                (1..=10).contains(&(at - digits)) && bytes.get(at).is_none_or(|byte| is_blank(*byte));
            match i32::try_from(value) {
                Ok(value) if is_plain && self.places == 0 => self.samples.push(value),
                _ => {
                    let end = bytes[start..].iter().position(|byte| is_blank(*byte));
                    at = end.map_or(bytes.len(), |end| start + end);
                    self.number(&bytes[start..at]);
                    if self.bad.is_some() {
                        return;
                    }
                }
            }
            if self.samples.len() > most {
                self.too_long = true;
                return;
            }
        }
    }

    /// One number that is not simply a whole number, or follows one that was not.
    fn number(&mut self, token: &[u8]) {
        let text = String::from_utf8_lossy(&token[..token.len().min(LONGEST_NUMBER)]).into_owned();
        let why = match self.decimal(&text, token.len()) {
            Ok(()) => return,
            Err(why) => why,
        };
        self.bad = Some(Bad { index: self.samples.len(), found: text, why });
    }

    fn decimal(&mut self, text: &str, bytes: usize) -> Result<(), &'static str> {
        const TOO_LARGE: &str = "does not fit 32 bits";
        if bytes > LONGEST_NUMBER || text.contains('/') {
            return Err("is no number");
        }
        let value: Exact = text.parse().map_err(|_| "is no number")?;
        let mut places = self.places;
        let mut scaled = value.times(power_of_ten(places)).ok_or(TOO_LARGE)?;
        while scaled.denominator() != 1 {
            places += 1;
            scaled = scaled.times(power_of_ten(1)).ok_or(TOO_LARGE)?;
        }
        let scaled = scaled.to_whole().and_then(|whole| i32::try_from(whole).ok()).ok_or(TOO_LARGE)?;
        if places > self.places {
            let factor = 10i32.checked_pow(places - self.places).ok_or(TOO_LARGE)?;
            for sample in &mut self.samples {
                *sample = sample.checked_mul(factor).ok_or(TOO_LARGE)?;
            }
            self.places = places;
        } else {
            self.odd_spelling |= text.contains(['+', '.', 'e', 'E']);
        }
        self.samples.push(scaled);
        Ok(())
    }
}

/// 10 to a power of at most 38, as whole numbers of the model go.
pub(crate) fn power_of_ten(power: u32) -> Exact {
    let value = 10i128.checked_pow(power).unwrap_or(i128::MAX);
    Exact::ratio(value, 1).unwrap_or(Exact::ONE)
}

fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\n' | b'\t' | b'\r')
}

/// Writes whole numbers, one blank between two.
pub(crate) fn write(samples: impl Iterator<Item = i32>, into: &mut String) {
    let mut buffer = itoa::Buffer::new();
    for (index, sample) in samples.enumerate() {
        if index > 0 {
            into.push(' ');
        }
        into.push_str(buffer.format(sample));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(parts: &[&str]) -> Digits {
        let mut digits = Digits::default();
        for part in parts {
            digits.push(part.as_bytes(), 100);
        }
        digits.finish();
        digits
    }

    #[test]
    fn any_blanks_separate_numbers_and_parts_join() {
        // lxml and numpy read the same text as the same numbers (tests/reference/aecg_check.py).
        assert_eq!(read(&["\n 80 65 \n -10 \t 12\r\n"]).samples, [80, 65, -10, 12]);
        assert_eq!(read(&["1", "2 3", " ", "4", " 5", "6"]).samples, [12, 3, 4, 56]);
        assert_eq!(read(&["-2147483648 2147483647 -0 007"]).samples, [i32::MIN, i32::MAX, 0, 7]);
        assert_eq!(read(&[" \n "]).samples, [0i32; 0]);
    }

    #[test]
    fn decimals_are_kept_exactly_by_a_finer_scale() {
        let digits = read(&["1 2.5 -3 +4 1E1 0.25"]);
        assert_eq!(
            (digits.samples.as_slice(), digits.places),
            ([100, 250, -300, 400, 1000, 25].as_slice(), 2)
        );
        let digits = read(&["+5 3.0 1E2"]);
        assert_eq!(
            (digits.samples.as_slice(), digits.places, digits.odd_spelling),
            ([5, 3, 100].as_slice(), 0, true)
        );
    }

    #[test]
    fn what_is_no_number_is_named_with_its_position() {
        for (text, index, found) in [
            ("1 NaN 2", 1, "NaN"),
            ("null", 0, "null"),
            ("3 -", 1, "-"),
            ("1,2 3", 0, "1,2"),
            ("1 2 2147483648", 2, "2147483648"),
            ("99999999999999999999999 1", 0, "99999999999999999999999"),
            ("1/2", 0, "1/2"),
            ("1 2147483647 0.5", 2, "0.5"),
        ] {
            let bad = read(&[text]).bad.expect("no number");
            assert_eq!((bad.index, bad.found.as_str()), (index, found), "{text}");
        }
    }

    #[test]
    fn more_numbers_than_allowed_are_not_kept() {
        let mut digits = Digits::default();
        digits.push(b"1 2 3 4 5 6 ", 4);
        assert!(digits.is_too_long() && digits.samples.len() <= 5);
        let mut digits = Digits::default();
        digits.push(b"1 2 3 4", 4);
        assert!(!digits.is_too_long());
    }

    #[test]
    fn what_is_written_is_read_back() {
        let mut text = String::new();
        write([0, -1, i32::MIN, i32::MAX].into_iter(), &mut text);
        assert_eq!(text, "0 -1 -2147483648 2147483647");
    }
}
