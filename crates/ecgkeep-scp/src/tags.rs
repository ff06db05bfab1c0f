//! The grammar of section 1: tag, length, value, until tag 255 (5.4).

use ecgkeep_format::Weight;

use crate::constants::{MOST_TAGS, tag};
use crate::reading::{Reading, Section};

const SECTION: u16 = 1;

/// One field of section 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Tag<'a> {
    /// Its number.
    pub(crate) number: u8,
    /// The byte of the file at which it begins.
    pub(crate) at: usize,
    /// Its value.
    pub(crate) value: &'a [u8],
}

/// The fields of section 1 in its order, up to tag 255.
pub(crate) fn read_tags<'a>(reading: &mut Reading<'a>, section: &Section<'a>) -> Vec<Tag<'a>> {
    let mut cursor = reading.cursor(section);
    let mut tags = Vec::new();
    loop {
        let at = section.body_start() + cursor.position();
        let (Ok(number), Ok(length)) = (cursor.u8(), cursor.u16()) else {
            reading.note(Weight::Departure, SECTION, at, "the closing tag 255 is missing");
            return tags;
        };
        if number == tag::END {
            if length != 0 {
                let text = format!("the closing tag 255 has length {length}, the standard has 0");
                reading.note(Weight::Departure, SECTION, at, text);
                cursor.take(cursor.left().min(length.into())).expect("no more than is left");
            }
            // one byte may fill the section to an even length
            if cursor.left() > 1 {
                let text = format!("{} bytes after the closing tag are not read", cursor.left());
                reading.note(Weight::NotTaken, SECTION, at, text);
            }
            return tags;
        }
        if tags.len() == MOST_TAGS {
            let text = format!("{} bytes after the {MOST_TAGS}th tag are not read", cursor.left());
            reading.note(Weight::Damage, SECTION, at, text);
            return tags;
        }
        let Ok(value) = cursor.take(length.into()) else {
            let text = format!("tag {number} is cut: {length} bytes are stated, {} are there", cursor.left());
            reading.note(Weight::Damage, SECTION, at, text);
            return tags;
        };
        tags.push(Tag { number, at, value });
    }
}

/// Appends a field; a value of more than 65535 bytes is cut there.
pub(crate) fn push_tag(body: &mut Vec<u8>, number: u8, value: &[u8]) {
    let length = u16::try_from(value.len()).unwrap_or(u16::MAX);
    body.push(number);
    body.extend(length.to_le_bytes());
    body.extend(&value[..length.into()]);
}
