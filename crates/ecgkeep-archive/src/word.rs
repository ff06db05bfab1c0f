//! The words a journal line is made of: keys, digests, codes and moments.

use std::fmt;
use std::str::FromStr;

use ecgkeep_format::{Error, Kind, Result};
use sha2::{Digest as _, Sha256 as Hasher};

/// The key of a recording: 128 bits, written as 32 lower-case hexadecimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key([u8; 16]);

/// A SHA-256, written as 64 lower-case hexadecimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest(pub [u8; 32]);

/// An agreed code for a person, role, reason, receiver or rule: 1 to 64 of `A-Z a-z 0-9 . _ @ -`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Code(String);

/// A second of UTC, written `2026-03-02T09:30:00Z`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(jiff::Timestamp);

impl Key {
    /// Which of `parts` equal parts of all keys it falls into, from 0; `parts` is not 0.
    #[must_use]
    pub fn part_of(self, parts: u64) -> u64 {
        let [.., a, b, c, d, e, f, g, h] = self.0;
        u64::from_be_bytes([a, b, c, d, e, f, g, h]) % parts
    }
}

impl Digest {
    /// The SHA-256 of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Digest {
        Digest(Hasher::digest(bytes).into())
    }
}

impl Code {
    /// The code as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Moment {
    /// Whole seconds from `earlier` to this moment; below zero where it is later.
    #[must_use]
    pub fn seconds_since(self, earlier: Moment) -> i64 {
        self.0.as_second() - earlier.0.as_second()
    }
}

impl FromStr for Key {
    type Err = Error;

    fn from_str(text: &str) -> Result<Key> {
        hexadecimal(text)
            .map(Key)
            .ok_or_else(|| Error::new(Kind::Usage, "a key is 32 hexadecimal digits, a to f in lower case"))
    }
}

impl FromStr for Digest {
    type Err = Error;

    fn from_str(text: &str) -> Result<Digest> {
        hexadecimal(text).map(Digest).ok_or_else(|| {
            Error::new(Kind::Usage, "a SHA-256 is 64 hexadecimal digits, a to f in lower case")
        })
    }
}

impl FromStr for Code {
    type Err = Error;

    /// # Errors
    /// [`Kind::Usage`]; the text is not repeated, for it might be somebody's name.
    fn from_str(text: &str) -> Result<Code> {
        let is_plain = |c: char| c.is_ascii_alphanumeric() || "._@-".contains(c);
        if (1..=64).contains(&text.len()) && text.chars().all(is_plain) {
            return Ok(Code(text.to_owned()));
        }
        Err(Error::new(Kind::Usage, "a code is 1 to 64 of A-Z a-z 0-9 . _ @ -")
            .remedy("give an agreed code or role rather than a name"))
    }
}

impl FromStr for Moment {
    type Err = Error;

    fn from_str(text: &str) -> Result<Moment> {
        let wrong = || Error::new(Kind::Usage, "a moment is written 2026-03-02T09:30:00Z");
        let moment = Moment(text.parse().map_err(|_| wrong())?);
        // One way to write it: no fraction, no offset, no lower case.
        if moment.to_string() == text { Ok(moment) } else { Err(wrong()) }
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_hexadecimal(f, &self.0)
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_hexadecimal(f, &self.0)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0.strftime("%Y-%m-%dT%H:%M:%SZ"))
    }
}

fn hexadecimal<const N: usize>(text: &str) -> Option<[u8; N]> {
    let digits = text.as_bytes();
    if digits.len() != 2 * N {
        return None;
    }
    let mut bytes = [0; N];
    for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
        *byte = digit(pair[0])? << 4 | digit(pair[1])?;
    }
    Some(bytes)
}

fn digit(c: u8) -> Option<u8> {
    match c {
        b'0'..=b'9' => Some(c - b'0'),
        b'a'..=b'f' => Some(c - b'a' + 10),
        _ => None,
    }
}

fn write_hexadecimal(f: &mut fmt::Formatter<'_>, bytes: &[u8]) -> fmt::Result {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    bytes.iter().try_for_each(|byte| {
        write!(f, "{}{}", DIGITS[usize::from(byte >> 4)] as char, DIGITS[usize::from(byte & 15)] as char)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_has_one_spelling() {
        let key: Key = "3f9c0000000000000000000000000a01".parse().unwrap();
        assert_eq!(key.to_string(), "3f9c0000000000000000000000000a01");
        for wrong in ["3F9C0000000000000000000000000A01", "3f9c", "3f9c0000000000000000000000000a0g", ""] {
            assert!(wrong.parse::<Key>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_code_is_no_free_text() {
        assert!("ward-3_night@larkmoor".parse::<Code>().is_ok());
        for wrong in ["", "two words", "quote\"", "é", &"a".repeat(65)] {
            let error = wrong.parse::<Code>().unwrap_err().to_string();
            assert!(wrong.is_empty() || !error.contains(wrong), "{error}");
        }
    }

    #[test]
    fn a_moment_is_a_whole_second_of_utc() {
        let moment: Moment = "2026-03-02T09:30:00Z".parse().unwrap();
        assert_eq!(moment.to_string(), "2026-03-02T09:30:00Z");
        let day = "2026-03-03T09:30:00Z".parse::<Moment>().unwrap();
        assert_eq!(day.seconds_since(moment), 86_400);
        for wrong in [
            "2026-03-02T09:30:00.5Z",
            "2026-03-02T10:30:00+01:00",
            "2026-03-02 09:30:00Z",
            "2026-02-30T09:30:00Z",
        ] {
            assert!(wrong.parse::<Moment>().is_err(), "{wrong}");
        }
    }
}
