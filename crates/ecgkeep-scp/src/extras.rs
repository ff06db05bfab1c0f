//! What the model does not name, under an address from which it can be written back.

use ecgkeep_recording::{Extra, ExtraValue, Recording};

use crate::constants::LAST_SECTION;

/// The id of this format in an extra item.
pub(crate) const FORMAT: &str = "scp";

/// The address of a field of section 1: `section 1 tag 204`.
pub(crate) fn tag_address(number: u8) -> String {
    format!("section 1 tag {number}")
}

/// The address of a section kept as bytes: `section 9`.
pub(crate) fn section_address(number: u16) -> String {
    format!("section {number}")
}

/// The address of an opaque section's version where it is not the one that is written.
pub(crate) fn version_address(number: u16) -> String {
    format!("section {number} version")
}

/// An item of bytes.
pub(crate) fn bytes(address: impl Into<String>, value: &[u8]) -> Extra {
    Extra { format: FORMAT.to_owned(), address: address.into(), value: ExtraValue::Bytes(value.to_vec()) }
}

/// An item of text.
pub(crate) fn text(address: impl Into<String>, value: impl Into<String>) -> Extra {
    Extra { format: FORMAT.to_owned(), address: address.into(), value: ExtraValue::Text(value.into()) }
}

/// The items of a recording that came from SCP-ECG.
pub(crate) struct Extras<'a>(&'a [Extra]);

impl<'a> Extras<'a> {
    /// No items.
    pub(crate) fn none() -> Extras<'static> {
        Extras(&[])
    }

    /// Those of this recording.
    pub(crate) fn of(recording: &'a Recording) -> Extras<'a> {
        Extras(&recording.extras)
    }

    fn own(&self) -> impl Iterator<Item = &'a Extra> + use<'a> {
        self.0.iter().filter(|extra| extra.format == FORMAT)
    }

    /// The bytes at an address.
    pub(crate) fn bytes(&self, address: &str) -> Option<&'a [u8]> {
        self.own().find(|extra| extra.address == address).and_then(|extra| match &extra.value {
            ExtraValue::Bytes(bytes) => Some(bytes.as_slice()),
            ExtraValue::Text(_) => None,
        })
    }

    /// The text at an address.
    pub(crate) fn text(&self, address: &str) -> Option<&'a str> {
        self.own().find(|extra| extra.address == address).and_then(|extra| match &extra.value {
            ExtraValue::Text(text) => Some(text.as_str()),
            ExtraValue::Bytes(_) => None,
        })
    }

    /// Every text with its address.
    pub(crate) fn texts(&self) -> impl Iterator<Item = (&'a str, &'a str)> + use<'a> {
        self.own().filter_map(|extra| match &extra.value {
            ExtraValue::Text(text) => Some((extra.address.as_str(), text.as_str())),
            ExtraValue::Bytes(_) => None,
        })
    }

    /// The number at an address, where it fits.
    pub(crate) fn number<T: std::str::FromStr>(&self, address: &str) -> Option<T> {
        self.text(address)?.parse().ok()
    }

    /// Whole fields of section 1, by tag, in their order.
    pub(crate) fn tags(&self) -> impl Iterator<Item = (u8, &'a [u8])> + use<'a> {
        self.own().filter_map(|extra| {
            let number = extra.address.strip_prefix("section 1 tag ")?.parse().ok()?;
            match &extra.value {
                ExtraValue::Bytes(bytes) if number != crate::constants::tag::END => {
                    Some((number, bytes.as_slice()))
                }
                _ => None,
            }
        })
    }

    /// Whole sections that are kept as bytes, by number, each number once.
    pub(crate) fn sections(&self) -> Vec<(u16, &'a [u8])> {
        let mut found: Vec<(u16, &[u8])> = Vec::new();
        for extra in self.own() {
            let number = extra.address.strip_prefix("section ").and_then(|number| number.parse().ok());
            if let (Some(number), ExtraValue::Bytes(bytes)) = (number, &extra.value)
                && is_opaque(number)
                && !bytes.is_empty()
            {
                found.push((number, bytes));
            }
        }
        found.sort_by_key(|(number, _)| *number);
        found.dedup_by_key(|(number, _)| *number);
        found
    }
}

/// Whether a section is kept as bytes: the maker's own, those of version 3, and the reserved ones.
pub(crate) fn is_opaque(number: u16) -> bool {
    number == 9 || (12..=LAST_SECTION).contains(&number)
}
