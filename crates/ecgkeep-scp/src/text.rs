//! Character sets: the language support code of tag 14 governs every text of the record (5.4, annex A).

use std::borrow::Cow;

use encoding_rs::{
    EUC_JP, EUC_KR, Encoding, GBK, ISO_2022_JP, ISO_8859_2, ISO_8859_4, ISO_8859_5, ISO_8859_6, ISO_8859_7,
    ISO_8859_8, ISO_8859_15, SHIFT_JIS, UTF_8, WINDOWS_874, mem,
};

use crate::constants::UTF8_VERSION;

/// The bytes that a text may take with its closing zero: a tag's length has 16 bits.
pub(crate) const MOST_TEXT_BYTES: usize = 65_535;

/// How the texts of a record are coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct CharacterSet {
    /// The language support code, tag 14 byte 17.
    pub(crate) code: u8,
    /// Whether the record is of version 3, whose texts are UTF-8 whatever the code says.
    is_version_3: bool,
}

/// A text as read, and what had to be supposed to read it.
pub(crate) struct Decoded {
    /// The text up to its closing zero, without blanks and line ends behind it.
    pub(crate) text: String,
    /// What departs from the standard, as a lower-case fragment.
    pub(crate) departure: Option<String>,
}

/// A character set that cannot hold a text; the next wider one may.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct TooNarrow;

impl CharacterSet {
    /// The sets that are written, the narrowest first; the last one holds every text.
    pub(crate) const WRITTEN: [CharacterSet; 3] =
        [CharacterSet::of(0x00, 0), CharacterSet::of(0x01, 0), CharacterSet::of(0x07, 0)];

    /// The set that a language support code names in a record of this version (times ten).
    pub(crate) const fn of(code: u8, version: u8) -> CharacterSet {
        CharacterSet { code, is_version_3: version >= UTF8_VERSION }
    }

    /// Reads a text up to its closing zero.
    pub(crate) fn decode(self, bytes: &[u8]) -> Decoded {
        let end = bytes.iter().position(|byte| *byte == 0);
        let (bytes, after) = match end {
            Some(end) => (&bytes[..end], &bytes[end + 1..]),
            None => (bytes, &[][..]),
        };
        let (text, guess) = self.characters(bytes);
        let departure = if end.is_none() {
            Some("the text does not end with a zero".to_owned())
        } else if after.iter().any(|byte| *byte != 0) {
            Some(format!("{} bytes after the text's closing zero are not read", after.len()))
        } else {
            None
        };
        let departure = match (guess, departure) {
            (Some(guess), _) => Some(guess.to_owned()),
            (None, departure) => departure,
        };
        Decoded { text: text.trim_end_matches([' ', '\r', '\n']).to_owned(), departure }
    }

    /// The characters of bytes without a closing zero, and what was supposed.
    fn characters(self, bytes: &[u8]) -> (Cow<'_, str>, Option<&'static str>) {
        let latin_1 = |guess| (mem::decode_latin1(bytes), Some(guess));
        if self.is_version_3 {
            return match str::from_utf8(bytes) {
                Ok(text) => (text.into(), None),
                Err(_) => latin_1("the text is not UTF-8, which version 3 prescribes; read as ISO 8859-1"),
            };
        }
        if bytes.is_ascii() && !bytes.contains(&0x1B) {
            return (mem::decode_latin1(bytes), None);
        }
        let encoding: &Encoding = match self.code {
            0x01 => return (mem::decode_latin1(bytes), None),
            0x03 => ISO_8859_2,
            0x07 => UTF_8,
            0x0B => ISO_8859_4,
            0x13 => ISO_8859_5,
            0x1B => ISO_8859_6,
            0x23 => ISO_8859_7,
            0x2B => ISO_8859_8,
            0x33 => WINDOWS_874,
            0x3B => ISO_8859_15,
            0x0F => SHIFT_JIS,
            0x17 | 0x1F if bytes.contains(&0x1B) => ISO_2022_JP,
            0x17 | 0x1F => EUC_JP,
            0x27 => GBK,
            0x2F | 0x37 => EUC_KR,
            _ => {
                return match str::from_utf8(bytes) {
                    Ok(text) => (text.into(), Some("the text is not in the stated set; read as UTF-8")),
                    Err(_) => latin_1("the text is not in the stated set; read as ISO 8859-1"),
                };
            }
        };
        let (text, has_errors) = encoding.decode_without_bom_handling(bytes);
        let guess = "bytes that are not of the stated character set are shown as U+FFFD";
        (text, has_errors.then_some(guess))
    }

    /// A text with its closing zero, as far as it fits `most` bytes; a text ends where it holds a zero.
    /// # Errors
    /// [`TooNarrow`] where this set does not hold a character of it.
    pub(crate) fn encode(self, text: &str, most: usize) -> Result<Vec<u8>, TooNarrow> {
        let text = text.split('\0').next().unwrap_or_default();
        let mut bytes = Vec::with_capacity(text.len() + 1);
        for character in text.chars() {
            let mut utf8 = [0; 4];
            let coded: &[u8] = match (self.code, u8::try_from(character)) {
                (0x00, _) if !character.is_ascii() => return Err(TooNarrow),
                (0x01, Err(_)) => return Err(TooNarrow),
                (0x01, Ok(byte)) => {
                    utf8[0] = byte;
                    &utf8[..1]
                }
                _ => character.encode_utf8(&mut utf8).as_bytes(),
            };
            if bytes.len() + coded.len() + 1 > most {
                break;
            }
            bytes.extend(coded);
        }
        bytes.push(0);
        Ok(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_read_by_the_language_code() {
        // Code tables of ISO/IEC 8859 parts 1, 2, 5, 7 and 15 and of JIS, GB and KS sets as encoding_rs has them.
        for (code, bytes, text) in [
            (0x00, &b"Larkmoor\0"[..], "Larkmoor"),
            (0x01, b"J\xF6rg\0", "Jörg"),
            (0x03, b"Wa\xB3\xEAsa\0", "Wałęsa"),
            (0x07, b"J\xC3\xB6rg\0", "Jörg"),
            (0x13, b"\xB8\xD2\xD0\xDD\0", "Иван"),
            (0x23, b"\xC1\xED\xED\xE1\0", "Αννα"),
            (0x3B, b"\xA4\0", "€"),
            (0x0F, b"\xB1\xB2\0", "ｱｲ"),
            (0x17, b"\x1B$B;3ED\x1B(B\0", "山田"),
            (0x27, b"\xD6\xD0\0", "中"),
            (0x37, b"\xB1\xE8\0", "김"),
        ] {
            let decoded = CharacterSet::of(code, 20).decode(bytes);
            assert_eq!((decoded.text.as_str(), decoded.departure), (text, None), "code {code:#04x}");
        }
    }

    #[test]
    fn a_guess_at_the_character_set_is_said() {
        let ascii = CharacterSet::of(0, 20);
        for (bytes, text) in [(&b"J\xF6rg\0"[..], "Jörg"), (b"J\xC3\xB6rg\0", "Jörg")] {
            let decoded = ascii.decode(bytes);
            assert_eq!(decoded.text, text);
            assert!(decoded.departure.unwrap().contains("not in the stated set"));
        }
        assert_eq!(CharacterSet::of(0x01, 30).decode(b"J\xC3\xB6rg\0").text, "Jörg");
    }

    #[test]
    fn a_text_ends_at_its_zero_and_loses_blanks_behind_it() {
        let ascii = CharacterSet::of(0, 20);
        assert_eq!(ascii.decode(b"V1  \r\n\0").text, "V1");
        assert!(ascii.decode(b"V1").departure.unwrap().contains("does not end"));
        assert!(ascii.decode(b"V1\0junk").departure.unwrap().contains("4 bytes"));
    }

    #[test]
    fn the_narrowest_set_that_holds_the_text_is_written() {
        let written = |text: &str| CharacterSet::WRITTEN.iter().position(|set| set.encode(text, 64).is_ok());
        assert_eq!(written("Nilsen"), Some(0));
        assert_eq!(written("Jörg"), Some(1));
        assert_eq!(written("Wałęsa"), Some(2));
        assert_eq!(CharacterSet::WRITTEN[2].encode("aöü", 5), Ok(b"a\xC3\xB6\0".to_vec()));
        assert_eq!(CharacterSet::WRITTEN[0].encode("a\0b", 5), Ok(b"a\0".to_vec()));
    }
}
