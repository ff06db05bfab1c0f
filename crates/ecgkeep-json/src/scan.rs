//! One walk over the bytes before anything is built of them: depth, objects and text lengths.
//!
//! An empty object of 2 bytes can stand for a person of 250, so the objects are counted before they are made.

use ecgkeep_format::{Error, Kind, Limits, Place, Result};

use crate::constants::{MOST_DEPTH, MOST_OTHER_OBJECTS};

/// Whether the document stays within the limits; what is no JSON at all is left to the parser.
/// # Errors
/// [`Kind::Limit`] at the byte that goes beyond one.
pub fn scan(file: &str, bytes: &[u8], limits: &Limits) -> Result<()> {
    let most_objects = limits.marks.saturating_add(MOST_OTHER_OBJECTS);
    let (mut depth, mut objects, mut at) = (0usize, 0usize, 0usize);
    while let Some(&byte) = bytes.get(at) {
        match byte {
            b'"' => {
                let length = text_length(&bytes[at + 1..]);
                if length > limits.text_bytes {
                    return Err(beyond(file, at, format!("a text of more than {} bytes", limits.text_bytes)));
                }
                at += length + 1;
            }
            b'{' | b'[' => {
                depth += 1;
                objects += usize::from(byte == b'{');
                if depth > MOST_DEPTH {
                    return Err(beyond(file, at, format!("more than {MOST_DEPTH} levels")));
                }
                if objects > most_objects {
                    return Err(beyond(file, at, format!("more than {most_objects} objects")));
                }
            }
            b'}' | b']' => depth = depth.saturating_sub(1),
            _ => {}
        }
        at += 1;
    }
    Ok(())
}

/// Bytes of a text before its closing quotation mark, as they stand in the document.
fn text_length(bytes: &[u8]) -> usize {
    let mut at = 0;
    while let Some(&byte) = bytes.get(at) {
        match byte {
            b'"' => return at,
            b'\\' => at += 2,
            _ => at += 1,
        }
    }
    bytes.len()
}

fn beyond(file: &str, at: usize, what: String) -> Error {
    Error::new(Kind::Limit, what).at(Place::file(file).byte(at as u64))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(bytes: &[u8], limits: &Limits) -> String {
        let error = scan("a.json", bytes, limits).unwrap_err();
        assert_eq!(error.kind(), Kind::Limit);
        error.to_string()
    }

    #[test]
    fn the_limits_name_the_byte_that_goes_beyond() {
        let limits = Limits { text_bytes: 3, ..Limits::default() };
        assert_eq!(refused(br#"{"a":"\"bcd"}"#, &limits), "a.json, byte 5: a text of more than 3 bytes");
        let deep = "[".repeat(MOST_DEPTH + 1);
        assert_eq!(refused(deep.as_bytes(), &Limits::default()), "a.json, byte 32: more than 32 levels");
        let many = "{}".repeat(MOST_OTHER_OBJECTS + 2);
        let few_marks = Limits { marks: 1, ..Limits::default() };
        assert_eq!(refused(many.as_bytes(), &few_marks), "a.json, byte 2000002: more than 1000001 objects");
    }

    #[test]
    fn brackets_in_a_text_and_a_text_without_end_are_no_depth() {
        let text = format!("{:?}", "[{".repeat(100));
        assert!(scan("a", text.as_bytes(), &Limits::default()).is_ok());
        for text in [&b"\""[..], b"\"\\", b"", b"]]}"] {
            assert!(scan("a", text, &Limits::default()).is_ok());
        }
    }
}
