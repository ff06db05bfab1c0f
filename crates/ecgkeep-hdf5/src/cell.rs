//! Texts as they stand in attributes and rows.
//!
//! HDF5 ends or pads a text with U+0000, and a row has no way to be silent. So, with the visible sign for escape, `␛`
//! (U+241B): `␛0` is U+0000, `␛␛` is the sign itself; in a row an empty cell is silence, `␛` alone is an empty text,
//! and `␛@3` is the fourth of the recording's `values`, where what is long or no text stands.

/// U+241B SYMBOL FOR ESCAPE.
const ESCAPE: char = '\u{241B}';

/// What a cell of a row says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Cell {
    /// Nothing.
    Silent,
    /// A text, possibly empty.
    Text(String),
    /// The text or the bytes with this number among the values.
    Value(usize),
}

/// A text without U+0000.
#[cfg(feature = "hdf5")]
pub(crate) fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '\0' => escaped.extend([ESCAPE, '0']),
            ESCAPE => escaped.extend([ESCAPE, ESCAPE]),
            other => escaped.push(other),
        }
    }
    escaped
}

/// The inverse of [`escape`]; `None` where the sign for escape stands before anything else.
pub(crate) fn unescape(escaped: &str) -> Option<String> {
    let mut text = String::with_capacity(escaped.len());
    let mut signs = escaped.chars();
    while let Some(sign) = signs.next() {
        text.push(match sign {
            ESCAPE => match signs.next()? {
                '0' => '\0',
                ESCAPE => ESCAPE,
                _ => return None,
            },
            other => other,
        });
    }
    Some(text)
}

impl Cell {
    /// As it stands in a row.
    #[cfg(feature = "hdf5")]
    pub(crate) fn write(&self) -> String {
        match self {
            Cell::Silent => String::new(),
            Cell::Text(text) if text.is_empty() => ESCAPE.to_string(),
            Cell::Text(text) => escape(text),
            Cell::Value(number) => format!("{ESCAPE}@{number}"),
        }
    }

    /// What stands in a row; `None` where it is none of these.
    pub(crate) fn read(text: &str) -> Option<Cell> {
        let Some(rest) = text.strip_prefix(ESCAPE) else {
            return if text.is_empty() { Some(Cell::Silent) } else { unescape(text).map(Cell::Text) };
        };
        match rest.strip_prefix('@') {
            _ if rest.is_empty() => Some(Cell::Text(String::new())),
            Some(number) => number.parse().ok().map(Cell::Value),
            None => unescape(text).map(Cell::Text),
        }
    }
}

#[cfg(all(test, feature = "hdf5"))]
mod tests {
    use super::*;

    #[test]
    fn every_text_and_silence_come_back() {
        let texts = ["", "x", " a ", "a\0b", "\0", "\u{241B}", "\u{241B}@1", "\u{241B}0", "µ\u{1F493}", "@1"];
        for text in texts {
            let escaped = escape(text);
            assert!(!escaped.contains('\0'));
            assert_eq!(unescape(&escaped).as_deref(), Some(text));
            let cell = Cell::Text(text.to_owned());
            assert!(!cell.write().contains('\0') && !cell.write().is_empty());
            assert_eq!(Cell::read(&cell.write()), Some(cell));
        }
        for cell in [Cell::Silent, Cell::Value(0), Cell::Value(31)] {
            assert_eq!(Cell::read(&cell.write()), Some(cell));
        }
        for text in ["a\u{241B}", "\u{241B}x", "\u{241B}@", "\u{241B}@-1"] {
            assert_eq!(Cell::read(text), None, "{text}");
        }
    }
}
