//! Text of tag files: encodings and lines (RFC 8493, 2.3).

/// An encoding that tag files may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Encoding {
    /// UTF-8 (RFC 3629) and its subset US-ASCII.
    Utf8,
    /// ISO-8859-1: a byte is the code point of its character.
    Latin1,
    /// UTF-16 with a byte order mark, big-endian without one (RFC 2781, 4.3).
    Utf16,
}

impl Encoding {
    /// The encoding of this IANA name, upper or lower case.
    pub(crate) fn named(name: &str) -> Option<Encoding> {
        match name.to_ascii_uppercase().as_str() {
            "UTF-8" | "US-ASCII" => Some(Encoding::Utf8),
            "ISO-8859-1" => Some(Encoding::Latin1),
            "UTF-16" => Some(Encoding::Utf16),
            _ => None,
        }
    }

    /// The text, or what hinders.
    pub(crate) fn decode(self, bytes: &[u8]) -> Result<String, String> {
        match self {
            Encoding::Utf8 if bytes.starts_with(BYTE_ORDER_MARK) => {
                Err("begins with a byte order mark".to_owned())
            }
            Encoding::Utf8 => str::from_utf8(bytes)
                .map(str::to_owned)
                .map_err(|error| format!("not UTF-8 from byte {}", error.valid_up_to())),
            Encoding::Latin1 => Ok(bytes.iter().copied().map(char::from).collect()),
            Encoding::Utf16 => utf16(bytes),
        }
    }
}

/// U+FEFF in UTF-8.
pub(crate) const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

fn utf16(bytes: &[u8]) -> Result<String, String> {
    let (bytes, is_little_endian) = match bytes {
        [0xFF, 0xFE, rest @ ..] => (rest, true),
        [0xFE, 0xFF, rest @ ..] => (rest, false),
        _ => (bytes, false),
    };
    let number = |unit: &[u8; 2]| match is_little_endian {
        true => u16::from_le_bytes(*unit),
        false => u16::from_be_bytes(*unit),
    };
    let (units, odd) = bytes.as_chunks::<2>();
    if !odd.is_empty() {
        return Err("an odd number of bytes in UTF-16".to_owned());
    }
    char::decode_utf16(units.iter().map(number))
        .collect::<Result<String, _>>()
        .map_err(|_| "not UTF-16: half of a surrogate pair".to_owned())
}

/// The lines of a text, ended by LF, CR or CRLF; the last one need not be ended.
pub(crate) fn lines(text: &str) -> impl Iterator<Item = &str> {
    let mut rest = text;
    std::iter::from_fn(move || {
        if rest.is_empty() {
            return None;
        }
        let end = rest.find(['\r', '\n']).unwrap_or(rest.len());
        let line = &rest[..end];
        let ended = &rest[end..];
        rest = ended.strip_prefix("\r\n").or_else(|| ended.get(1..)).unwrap_or("");
        Some(line)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_end_with_lf_cr_or_crlf() {
        let split = |text| lines(text).collect::<Vec<_>>();
        assert_eq!(split("a\nb\rc\r\nd"), ["a", "b", "c", "d"]);
        assert_eq!(split("a\r\n"), ["a"]);
        assert_eq!(split("\n\r\n\n"), ["", "", ""]);
        assert!(split("").is_empty());
    }

    #[test]
    fn text_is_decoded_as_declared() {
        assert_eq!(Encoding::Utf8.decode("é".as_bytes()), Ok("é".to_owned()));
        assert!(Encoding::Utf8.decode(b"\xEF\xBB\xBFa").is_err());
        assert!(Encoding::Utf8.decode(b"a\xFF").is_err());
        assert_eq!(Encoding::Latin1.decode(b"\xE9"), Ok("é".to_owned()));
        assert_eq!(Encoding::Utf16.decode(b"\xFF\xFEa\0"), Ok("a".to_owned()));
        assert_eq!(Encoding::Utf16.decode(b"\xFE\xFF\0a"), Ok("a".to_owned()));
        assert_eq!(Encoding::Utf16.decode(b"\0a"), Ok("a".to_owned()));
        assert!(Encoding::Utf16.decode(b"\0").is_err());
        assert!(Encoding::Utf16.decode(b"\xD8\0").is_err());
        assert_eq!(Encoding::named("utf-8"), Some(Encoding::Utf8));
        assert_eq!(Encoding::named("EBCDIC"), None);
    }
}
