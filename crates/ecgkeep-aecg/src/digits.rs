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

    /// Numbers with a blank after each, 64 bytes at a time.
    fn scan(&mut self, bytes: &[u8], most: usize) {
        // a number of two digits and its blank take three bytes; the list grows where numbers are shorter
        self.samples.reserve((bytes.len() / 3).min(most.saturating_sub(self.samples.len())));
        let mut start = 0;
        for (block, chunk) in bytes.as_chunks().0.iter().enumerate() {
            if self.samples.len().saturating_add(BLOCK) > most {
                break;
            }
            let mut blanks = blanks_in(chunk);
            while blanks != 0 {
                let end = block * BLOCK + blanks.trailing_zeros() as usize;
                blanks &= blanks - 1;
                match short_number(bytes, start, end) {
                    Some(value) if self.places == 0 => self.samples.push(value),
                    _ => self.each_number(&bytes[start..end], most),
                }
                start = end + 1;
            }
            if self.bad.is_some() {
                return;
            }
        }
        self.each_number(&bytes[start..], most);
    }

    /// Numbers between any blanks, one after the other.
    fn each_number(&mut self, bytes: &[u8], most: usize) {
        for token in bytes.split(|byte| is_blank(*byte)).filter(|token| !token.is_empty()) {
            if self.samples.len() >= most {
                self.too_long = true;
            }
            if self.too_long || self.bad.is_some() {
                return;
            }
            match whole_number(token) {
                Some(value) if self.places == 0 => self.samples.push(value),
                _ => self.number(token),
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

/// Bytes that are looked through for blanks at once.
const BLOCK: usize = 64;
const ZEROS: u64 = u64::from_le_bytes([b'0'; 8]);
const BLANKS: u64 = u64::from_le_bytes([b' '; 8]);
const LOW_BITS: u64 = u64::from_le_bytes([0x7F; 8]);
const HIGH_BITS: u64 = !LOW_BITS;

/// Which of 64 bytes are blanks (other white space is left to the slow way): the first byte is the lowest bit.
fn blanks_in(block: &[u8; BLOCK]) -> u64 {
    let mut bits = 0;
    for (index, word) in block.as_chunks().0.iter().enumerate() {
        let apart = u64::from_le_bytes(*word) ^ BLANKS;
        // the high bit of each byte that is zero now
        let zero = !(((apart & LOW_BITS) + LOW_BITS) | apart | LOW_BITS);
        // moved together: the bit of byte k goes to 56 + k
        bits |= ((zero >> 7).wrapping_mul(0x0102_0408_1020_4080) >> 56) << (8 * index);
    }
    bits
}

/// A whole number of one to seven digits that ends before the byte `end`, all digits taken at once.
fn short_number(bytes: &[u8], start: usize, end: usize) -> Option<i32> {
    let before: &[u8; 8] = bytes.get(..end)?.last_chunk()?;
    let negative = bytes[start] == b'-';
    let count = (end - start).wrapping_sub(usize::from(negative));
    if !(1..8).contains(&count) {
        return None;
    }
    // the last digit lies highest; below the first one there are zeros
    let digits = (u64::from_le_bytes(*before) ^ ZEROS) & (u64::MAX << (64 - 8 * count));
    if (digits.wrapping_add(0x7676_7676_7676_7676) | digits) & HIGH_BITS != 0 {
        return None;
    }
    let pairs = (digits.wrapping_mul(10 << 8 | 1) >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = (pairs.wrapping_mul(100 << 16 | 1) >> 16) & 0x0000_FFFF_0000_FFFF;
    let value = i32::try_from(fours.wrapping_mul(10_000 << 32 | 1) >> 32).ok()?;
    Some(if negative { -value } else { value })
}

/// A whole number of up to ten digits that fits 32 bits.
fn whole_number(token: &[u8]) -> Option<i32> {
    let (negative, digits) = match token {
        [b'-', digits @ ..] => (true, digits),
        digits => (false, digits),
    };
    if !(1..=10).contains(&digits.len()) {
        return None;
    }
    let mut value: i64 = 0;
    for byte in digits {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            return None;
        }
        value = value * 10 + i64::from(digit);
    }
    i32::try_from(if negative { -value } else { value }).ok()
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
    let mut list: Vec<u8> = Vec::with_capacity(8 * samples.size_hint().0);
    let mut buffer = itoa::Buffer::new();
    for sample in samples {
        let magnitude = sample.unsigned_abs();
        if magnitude < 10_000_000 {
            let sign = usize::from(sample < 0);
            let (word, length) = short_digits(magnitude);
            let end = list.len() + sign + length + 1;
            list.push(b'-');
            list.truncate(end - length - 1);
            list.extend_from_slice(&word.to_le_bytes());
            list.truncate(end);
        } else {
            list.extend_from_slice(buffer.format(sample).as_bytes());
            list.push(b' ');
        }
    }
    list.pop();
    into.push_str(std::str::from_utf8(&list).expect("signs, digits and blanks are ASCII"));
}

/// The digits of a number below 10^7, the first one lowest, a blank after them, and how many there are.
fn short_digits(number: u32) -> (u64, usize) {
    let number = u64::from(number);
    let fours = (number / 10_000) | ((number % 10_000) << 32);
    // 10486 / 2^20 and 103 / 2^10 divide by 100 below 10000 and by 10 below 100
    let hundreds = ((fours * 10_486) >> 20) & 0x0000_007F_0000_007F;
    let pairs = hundreds | ((fours - 100 * hundreds) << 16);
    let tens = ((pairs * 103) >> 10) & 0x000F_000F_000F_000F;
    let eight = tens | ((pairs - 10 * tens) << 8);
    // the last digit stands even where it is a zero
    let zeros = (eight | 1 << 56).trailing_zeros() / 8;
    let length = 8 - zeros;
    let word = (eight | ZEROS) >> (8 * zeros) | u64::from(b' ') << (8 * length);
    (word, length as usize)
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
    fn every_length_of_number_is_written_and_read() {
        let mut samples: Vec<i32> = (0..2_000_000).step_by(7).flat_map(|n| [n, -n]).collect();
        samples.extend((1..10).map(|power| 10i32.pow(power)).flat_map(|n| [n - 1, n, 1 - n, -n]));
        samples.extend([0, 9_999_999, 10_000_000, -9_999_999, -10_000_000, i32::MIN, i32::MAX]);
        let mut text = String::new();
        write(samples.iter().copied(), &mut text);
        let plain: Vec<String> = samples.iter().map(ToString::to_string).collect();
        assert_eq!(text, plain.join(" "));
        let mut digits = Digits::default();
        digits.push(text.as_bytes(), usize::MAX);
        digits.finish();
        assert!(digits.bad.is_none() && digits.samples == samples);
    }

    #[test]
    fn bytes_that_are_no_digits_end_a_number_wherever_they_stand() {
        for at in 0..8 {
            for byte in 0..=255u8 {
                // once in a block that is looked through at once, once at the end
                let mut bytes = [b"1234567 9 ".as_slice(), &b"10 ".repeat(at * 11)].concat();
                bytes[at] = byte;
                let mut digits = Digits::default();
                digits.push(&bytes, 100);
                digits.finish();
                let text = String::from_utf8_lossy(&bytes).into_owned();
                let plain: Option<Vec<i32>> = text
                    .split([' ', '\t', '\n', '\r'])
                    .filter(|part| !part.is_empty())
                    .map(|part| part.parse().ok())
                    .collect();
                match plain {
                    Some(plain) => assert_eq!(digits.samples, plain, "{text:?}"),
                    None => {
                        assert!(digits.bad.is_some() || digits.places > 0 || digits.odd_spelling, "{text:?}")
                    }
                }
            }
        }
    }

    #[test]
    fn what_is_written_is_read_back() {
        let mut text = String::new();
        write([0, -1, i32::MIN, i32::MAX].into_iter(), &mut text);
        assert_eq!(text, "0 -1 -2147483648 2147483647");
    }
}
