//! What is too long for a row or an attribute, or no text: datasets of bytes in `values`, numbered from 0, to which cells
//! point.

use ecgkeep_format::{Error, Kind as Fault, Place, Result};

use crate::cell::Cell;
use crate::file::Kind;
use crate::node::{Node, Reading};

/// The name of the group.
pub(crate) const VALUES: &str = "values";
/// Bytes of one item that is no text. No section or element of a recording's source is nearly as long.
const MOST_BYTES: usize = 64 << 20;

/// Values of a file.
pub(crate) struct Kept<'a>(Option<Node<'a>>);

impl<'a> Kept<'a> {
    /// Those of a recording.
    pub(crate) fn of(recording: &Node<'a>) -> Result<Kept<'a>> {
        recording.child(VALUES).map(Kept)
    }

    /// What a cell of a row says; `None` where it is silent.
    pub(crate) fn text(&self, reading: &Reading, place: &Place, cell: &str) -> Result<Option<String>> {
        match Cell::read(cell) {
            Some(Cell::Silent) => Ok(None),
            Some(Cell::Text(text)) => Ok(Some(text)),
            Some(Cell::Value(number)) => {
                let bytes = self.bytes(place, number)?;
                if bytes.len() > reading.limits.text_bytes {
                    let text = format!(
                        "a text of {} bytes, the limit is {}",
                        bytes.len(),
                        reading.limits.text_bytes
                    );
                    return Err(Error::new(Fault::Limit, text).at(place.clone()));
                }
                String::from_utf8(bytes).map(Some).map_err(|_| {
                    Error::malformed(place.clone(), format!("the value {number} is a text and not UTF-8"))
                })
            }
            None => Err(not_a_cell(place, cell)),
        }
    }

    /// What an attribute says.
    pub(crate) fn attribute(&self, reading: &Reading, place: &Place, text: &str) -> Result<String> {
        self.text(reading, place, text).map(Option::unwrap_or_default)
    }

    /// The bytes to which a cell points.
    pub(crate) fn bytes_of(&self, place: &Place, cell: &str) -> Result<Vec<u8>> {
        match Cell::read(cell) {
            Some(Cell::Value(number)) => self.bytes(place, number),
            _ => Err(not_a_cell(place, cell)),
        }
    }

    fn bytes(&self, place: &Place, number: usize) -> Result<Vec<u8>> {
        let stored = match &self.0 {
            Some(node) => node.dataset(&number.to_string(), 1)?,
            None => None,
        };
        let stored =
            stored.ok_or_else(|| Error::malformed(place.clone(), format!("there is no value {number}")))?;
        if !matches!(stored.kind, Kind::Whole { bytes: 1, .. }) {
            return Err(Error::malformed(
                stored.place,
                format!("is of {}, not of bytes", stored.kind.name()),
            ));
        }
        if stored.shape[0] > MOST_BYTES {
            let text = format!("{} bytes, the limit is {MOST_BYTES}", stored.shape[0]);
            return Err(Error::new(Fault::Limit, text).at(stored.place));
        }
        Ok(stored.values()?.into_bytes())
    }
}

fn not_a_cell(place: &Place, cell: &str) -> Error {
    let shown: String = cell.chars().take(40).collect();
    Error::malformed(place.clone(), format!("the sign for escape (U+241B) stands alone in {shown:?}"))
}
