//! From bytes to text: byte order marks, the XML declaration, and the encodings they name.

use std::borrow::Cow;

use ecgkeep_format::{Error, Kind, Place, Result};
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};

use crate::constants::XML;

/// The byte order mark (Unicode, 23.8).
const MARK: char = '\u{FEFF}';

/// The document's text and, where mark and declaration disagree, what was done about it.
pub(crate) struct Decoded<'a> {
    /// The text without its byte order mark, and without any more of them.
    pub(crate) text: Cow<'a, str>,
    /// A departure, as a lower-case fragment.
    pub(crate) departure: Option<String>,
}

/// What the first bytes say.
enum Scheme {
    Utf16(&'static Encoding, usize),
    Utf8Mark,
    Ascii,
}

/// Decodes a document in UTF-8, UTF-16, ISO 8859-1, or another encoding that its declaration names.
/// # Errors
/// [`Kind::Malformed`] for bytes that the encoding does not have, [`Kind::Unsupported`] for an unknown encoding
/// and for a compressed file.
pub(crate) fn decode<'a>(file: &str, bytes: &'a [u8]) -> Result<Decoded<'a>> {
    let Decoded { text, departure } = decode_marked(file, bytes)?;
    if !text.starts_with(MARK) {
        return Ok(Decoded { text, departure });
    }
    // The parser would pass over the second mark and count its places from there on.
    let text = match text {
        Cow::Borrowed(text) => Cow::Borrowed(text.trim_start_matches(MARK)),
        Cow::Owned(text) => Cow::Owned(text.trim_start_matches(MARK).to_owned()),
    };
    let twice = "more than one byte order mark".to_owned();
    Ok(Decoded {
        text,
        departure: Some(departure.map_or(twice.clone(), |first| format!("{first}; {twice}"))),
    })
}

/// The text behind the first byte order mark.
fn decode_marked<'a>(file: &str, bytes: &'a [u8]) -> Result<Decoded<'a>> {
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(&[0x1F, 0x8B]) {
        return Err(Error::new(Kind::Unsupported, "the file is compressed")
            .at(Place::file(file))
            .remedy("unpack it first"));
    }
    let malformed = |what: String| Error::malformed(Place::file(file), what).clause("XML 1.0, 4.3.3");
    match scheme(bytes) {
        Scheme::Utf16(encoding, mark) => {
            let text = strictly(encoding, &bytes[mark..])
                .ok_or_else(|| malformed(format!("not a text in {}", encoding.name())))?;
            Ok(Decoded { text, departure: None })
        }
        Scheme::Utf8Mark => {
            let text = utf8(&bytes[3..]).map_err(|at| malformed(bad_byte(at + 3)))?;
            let departure =
                declared(&bytes[3..]).filter(|label| !label.eq_ignore_ascii_case("utf-8")).map(|label| {
                    format!("declares the encoding {label} after a UTF-8 byte order mark: the mark rules")
                });
            Ok(Decoded { text: Cow::Borrowed(text), departure })
        }
        Scheme::Ascii => {
            let label = declared(bytes).unwrap_or("utf-8");
            let lower = label.to_ascii_lowercase();
            if matches!(lower.as_str(), "iso-8859-1" | "iso8859-1" | "latin1" | "l1") {
                return Ok(Decoded { text: latin1(bytes), departure: None });
            }
            let is_utf8 = matches!(lower.as_str(), "utf-8" | "utf8" | "us-ascii" | "ascii");
            // Written by programs that declare the encoding of the text in memory, not of the file.
            let is_utf16 = lower.starts_with("utf-16") || lower == "ucs-2";
            if is_utf8 || is_utf16 {
                let text = utf8(bytes).map_err(|at| malformed(bad_byte(at)))?;
                let departure = is_utf16.then(|| format!("declares the encoding {label} and is UTF-8"));
                return Ok(Decoded { text: Cow::Borrowed(text), departure });
            }
            let encoding = Encoding::for_label(label.as_bytes()).ok_or_else(|| {
                Error::new(Kind::Unsupported, format!("declares the encoding {label:?}, which is not known"))
                    .at(Place::file(file))
                    .remedy("store the document in UTF-8")
            })?;
            let text = strictly(encoding, bytes)
                .ok_or_else(|| malformed(format!("not a text in {}, which it declares", encoding.name())))?;
            Ok(Decoded { text, departure: None })
        }
    }
}

/// The head of a file, decoded as far as it goes, for recognising it.
pub(crate) fn decode_head(bytes: &[u8]) -> Cow<'_, str> {
    match scheme(bytes) {
        Scheme::Utf16(encoding, mark) => {
            // an odd last byte is half a character
            let even = mark + (bytes.len() - mark) / 2 * 2;
            encoding.decode_without_bom_handling(&bytes[mark..even]).0
        }
        Scheme::Utf8Mark => String::from_utf8_lossy(&bytes[3..]),
        Scheme::Ascii => String::from_utf8_lossy(bytes),
    }
}

fn scheme(bytes: &[u8]) -> Scheme {
    match bytes {
        [0xFF, 0xFE, ..] => Scheme::Utf16(UTF_16LE, 2),
        [0xFE, 0xFF, ..] => Scheme::Utf16(UTF_16BE, 2),
        [0xEF, 0xBB, 0xBF, ..] => Scheme::Utf8Mark,
        [b'<', 0, ..] => Scheme::Utf16(UTF_16LE, 0),
        [0, b'<', ..] => Scheme::Utf16(UTF_16BE, 0),
        _ => Scheme::Ascii,
    }
}

fn strictly<'a>(encoding: &'static Encoding, bytes: &'a [u8]) -> Option<Cow<'a, str>> {
    encoding.decode_without_bom_handling_and_without_replacement(bytes)
}

fn utf8(bytes: &[u8]) -> std::result::Result<&str, usize> {
    std::str::from_utf8(bytes).map_err(|error| error.valid_up_to())
}

fn bad_byte(at: usize) -> String {
    format!("byte {at} is not {}, and no other encoding is declared", UTF_8.name())
}

/// ISO 8859-1: each byte is the character of its number.
fn latin1(bytes: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) if text.is_ascii() => Cow::Borrowed(text),
        _ => Cow::Owned(bytes.iter().map(|byte| char::from(*byte)).collect()),
    }
}

/// The encoding that the XML declaration names.
fn declared(bytes: &[u8]) -> Option<&str> {
    let rest = bytes.strip_prefix(b"<?xml")?;
    let end = rest.iter().take(512).position(|byte| *byte == b'>')?;
    let declaration = std::str::from_utf8(&rest[..end]).ok()?;
    let value = declaration.split_once("encoding")?.1.trim_start().strip_prefix('=')?.trim_start();
    let quote = value.chars().next().filter(|quote| matches!(quote, '"' | '\''))?;
    value[1..].split_once(quote).map(|(label, _)| label)
}

/// Whether a character may stand in an XML document (XML 1.0, 2.2).
pub(crate) fn is_xml_char(c: char) -> bool {
    !matches!(c, '\0'..='\u{8}' | '\u{B}' | '\u{C}' | '\u{E}'..='\u{1F}' | '\u{FFFE}' | '\u{FFFF}')
}

/// The first character of a text that XML does not allow, as an error.
pub(crate) fn check_chars(text: &str) -> std::result::Result<(), Error> {
    match text.chars().find(|c| !is_xml_char(*c)) {
        None => Ok(()),
        Some(c) => Err(Error::new(
            Kind::Malformed,
            format!("the character U+{:04X} is not allowed in {XML}", c as u32),
        )
        .clause("XML 1.0, 2.2")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(bytes: &[u8]) -> String {
        decode("r.xml", bytes).unwrap().text.into_owned()
    }

    #[test]
    fn marks_and_declarations_are_followed() {
        assert_eq!(text("\u{FEFF}<a/>".as_bytes()), "<a/>");
        let utf16: Vec<u8> = "\u{FEFF}<å/>".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(text(&utf16), "<å/>");
        let utf16: Vec<u8> = "<å/>".encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(text(&utf16), "<å/>");
    }

    #[test]
    fn a_second_mark_is_passed_over_and_said() {
        let utf16: Vec<u8> = "\u{FEFF}\u{FEFF}<a/>".encode_utf16().flat_map(u16::to_le_bytes).collect();
        let utf8 = "\u{FEFF}\u{FEFF}\u{FEFF}<a/>".as_bytes();
        for bytes in [utf16.as_slice(), utf8] {
            let decoded = decode("r", bytes).unwrap();
            assert_eq!(&*decoded.text, "<a/>");
            assert_eq!(decoded.departure.as_deref(), Some("more than one byte order mark"));
        }
        let decoded = decode("r", "\u{FEFF}\u{FEFF}<?xml encoding='x'?>".as_bytes()).unwrap();
        assert_eq!(&*decoded.text, "<?xml encoding='x'?>");
        let latin = b"<?xml version='1.0' encoding='ISO-8859-1'?><a>\xE5\x85</a>";
        assert!(text(latin).ends_with("<a>å\u{85}</a>"));
        let windows = b"<?xml version=\"1.0\" encoding=\"windows-1252\"?><a>\x85</a>";
        assert!(text(windows).ends_with("<a>…</a>"));
    }

    #[test]
    fn a_declaration_that_cannot_be_true_is_noted() {
        let decoded = decode("r", b"<?xml version='1.0' encoding='UTF-16'?><a/>").unwrap();
        assert_eq!(decoded.departure.as_deref(), Some("declares the encoding UTF-16 and is UTF-8"));
    }

    #[test]
    fn what_is_no_text_is_refused() {
        for bytes in
            [b"<a>\xFF</a>".as_slice(), b"\xFF\xFE<\0\0", b"PK\x03\x04", b"<?xml encoding='klingon'?><a/>"]
        {
            assert!(decode("r", bytes).is_err(), "{bytes:?}");
        }
    }
}
