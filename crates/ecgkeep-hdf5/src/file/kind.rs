//! Types of elements: IV.A.2.d.

use ecgkeep_format::{Cursor, Error, Result};

use super::number_of;

/// Compounds within compounds.
const MOST_DEPTH: usize = 4;
/// Members of a compound.
const MOST_MEMBERS: u32 = 1024;

/// The type of an element.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A whole number of 1, 2, 4 or 8 bytes.
    Whole {
        /// Its length.
        bytes: usize,
        /// Whether it has a sign.
        signed: bool,
        /// Whether the high byte comes first.
        high_first: bool,
    },
    /// A floating-point number of 4 or 8 bytes (IEEE 754).
    Floating {
        /// Its length.
        bytes: usize,
        /// Whether the high byte comes first.
        high_first: bool,
    },
    /// A text of a fixed length.
    Text {
        /// Its length.
        bytes: usize,
        /// How it ends.
        padding: Padding,
    },
    /// A text of variable length, which stands in a global heap.
    VariableText,
    /// Several elements under names.
    Compound {
        /// Its length.
        bytes: usize,
        /// Name, place and type of each member.
        members: Vec<(String, usize, Kind)>,
    },
    /// Another one, which this layout does not use.
    Other {
        /// Its length.
        bytes: usize,
        /// What the specification calls it.
        name: &'static str,
    },
}

/// How a text of fixed length ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Padding {
    /// At the first zero.
    Terminated,
    /// Zeros behind it.
    Zeros,
    /// Blanks behind it.
    Blanks,
}

impl Kind {
    pub(super) fn read(cursor: &mut Cursor) -> Result<Kind> {
        read(cursor, 0)
    }

    /// Bytes of one element.
    pub(crate) fn bytes(&self) -> usize {
        match self {
            Kind::Whole { bytes, .. }
            | Kind::Floating { bytes, .. }
            | Kind::Text { bytes, .. }
            | Kind::Compound { bytes, .. }
            | Kind::Other { bytes, .. } => *bytes,
            // length, address and number in the heap
            Kind::VariableText => 16,
        }
    }

    /// What it is, for messages.
    pub(crate) fn name(&self) -> String {
        match self {
            Kind::Whole { bytes, signed, .. } => {
                format!("{}int{}", if *signed { "" } else { "u" }, bytes * 8)
            }
            Kind::Floating { bytes, .. } => format!("float{}", bytes * 8),
            Kind::Text { bytes, .. } => format!("text of {bytes} bytes"),
            Kind::VariableText => "text".to_owned(),
            Kind::Compound { members, .. } => format!("{} columns", members.len()),
            Kind::Other { name, .. } => (*name).to_owned(),
        }
    }
}

fn read(cursor: &mut Cursor, depth: usize) -> Result<Kind> {
    let place = cursor.place();
    let malformed = |what: &str| Error::malformed(place.clone(), what);
    let class = cursor.u8()?;
    let (version, class) = (class >> 4, class & 15);
    let bits = number_of(cursor, 3)?;
    let bytes = usize::try_from(cursor.u32()?).unwrap_or(usize::MAX);
    if bytes == 0 {
        return Err(malformed("a type of 0 bytes"));
    }
    match class {
        0 => {
            let (offset, precision) = (cursor.u16()?, cursor.u16()?);
            let is_whole = offset == 0 && usize::from(precision) == bytes.saturating_mul(8);
            if !is_whole || !matches!(bytes, 1 | 2 | 4 | 8) {
                return Ok(Kind::Other { bytes, name: "whole number of unusual length" });
            }
            Ok(Kind::Whole { bytes, signed: bits & 8 != 0, high_first: bits & 1 != 0 })
        }
        1 => {
            let properties = cursor.take(12)?;
            let high_first = match bits & 0x41 {
                0 => false,
                1 => true,
                _ => return Ok(Kind::Other { bytes, name: "floating-point number of unusual byte order" }),
            };
            // offset, precision, place and length of exponent and mantissa, bias (IEEE 754)
            let double = [0, 0, 64, 0, 52, 11, 0, 52, 0xff, 3, 0, 0];
            let single = [0, 0, 32, 0, 23, 8, 0, 23, 0x7f, 0, 0, 0];
            match bytes {
                8 if properties == double => Ok(Kind::Floating { bytes, high_first }),
                4 if properties == single => Ok(Kind::Floating { bytes, high_first }),
                _ => Ok(Kind::Other { bytes, name: "floating-point number of unusual form" }),
            }
        }
        3 => {
            let padding = match bits & 15 {
                0 => Padding::Terminated,
                1 => Padding::Zeros,
                2 => Padding::Blanks,
                _ => return Err(malformed("a text with unknown padding")),
            };
            Ok(Kind::Text { bytes, padding })
        }
        6 => read_compound(cursor, version, bits, bytes, depth),
        9 => {
            let is_text = bits & 15 == 1;
            let base = read(cursor, depth + 1)?;
            Ok(match (is_text, bytes, base.bytes()) {
                (true, 16, 1) => Kind::VariableText,
                _ => Kind::Other { bytes, name: "list of variable length" },
            })
        }
        _ => {
            let names = [
                (2, "time"),
                (4, "bit field"),
                (5, "opaque"),
                (7, "reference"),
                (8, "enumeration"),
                (10, "array"),
            ];
            let name = names.iter().find(|(number, _)| *number == class).map_or("unknown", |(_, name)| name);
            Ok(Kind::Other { bytes, name })
        }
    }
}

fn read_compound(cursor: &mut Cursor, version: u8, bits: u64, bytes: usize, depth: usize) -> Result<Kind> {
    let place = cursor.place();
    let malformed = |what: String| Error::malformed(place.clone(), what);
    let count = u32::try_from(bits & 0xffff).unwrap_or(u32::MAX);
    if depth >= MOST_DEPTH || count > MOST_MEMBERS {
        return Err(malformed(format!("a compound of {count} members, {depth} deep")));
    }
    // version 3 takes as many bytes for an offset as the size needs
    let offset_bytes = match (version, bytes) {
        (1 | 2, _) => 4,
        (3.., ..0x100) => 1,
        (3.., ..0x1_0000) => 2,
        (3.., ..0x100_0000) => 3,
        _ => 4,
    };
    let mut members = Vec::new();
    for _ in 0..count {
        let name = name_of(cursor, version < 3)?;
        let offset = usize::try_from(number_of(cursor, offset_bytes)?).unwrap_or(usize::MAX);
        if version == 1 {
            let dimensions = cursor.u8()?;
            cursor.take(27)?;
            if dimensions > 0 {
                return Ok(Kind::Other { bytes, name: "compound of arrays" });
            }
        }
        let kind = read(cursor, depth + 1)?;
        if offset.checked_add(kind.bytes()).is_none_or(|end| end > bytes) {
            return Err(malformed(format!("the member {name} stands outside its compound")));
        }
        // what follows a type that is not read in full cannot be found
        if matches!(kind, Kind::Other { .. }) {
            return Ok(Kind::Other { bytes, name: "compound of other types than numbers and texts" });
        }
        members.push((name, offset, kind));
    }
    Ok(Kind::Compound { bytes, members })
}

/// A name up to a zero, in versions before 3 padded to a multiple of eight bytes.
fn name_of(cursor: &mut Cursor, padded: bool) -> Result<String> {
    let place = cursor.place();
    let rest = cursor.clone().rest();
    let length = rest.iter().position(|byte| *byte == 0);
    let length = length.ok_or_else(|| Error::malformed(place.clone(), "a name without an end"))?;
    let taken = if padded { (length + 1).next_multiple_of(8) } else { length + 1 };
    let name = String::from_utf8(cursor.take(taken)?[..length].to_vec());
    name.map_err(|_| Error::malformed(place, "a name that is not UTF-8"))
}
