//! What is too long for a row or an attribute, or no text: datasets of bytes in `values`, numbered from 0, to which cells
//! point.

use ecgkeep_format::{Error, Kind, Place, Result};
use hdf5::Group;
use hdf5::plist::dataset_create::Layout;
use hdf5::types::{IntSize, TypeDescriptor};
use ndarray::ArrayView1;

use crate::attributes::is_type;
use crate::cell::{Cell, escape};
use crate::node::{Node, Reading};
use crate::rows::{DEFLATE_LEVEL, MOST_WIDTH};
use crate::scratch::group_in;

/// The name of the group.
pub(crate) const VALUES: &str = "values";
/// Bytes of one item that is no text. No section or element of a recording's source is nearly as long.
const MOST_BYTES: usize = 64 << 20;
/// Bytes of one compressed block.
const CHUNK_BYTES: usize = 1 << 18;

/// Values to be written.
#[derive(Default)]
pub(crate) struct Values(Vec<Vec<u8>>);

impl Values {
    /// The cell of a text that may be silent.
    pub(crate) fn cell(&mut self, text: Option<&str>) -> String {
        let Some(text) = text else { return Cell::Silent.write() };
        let cell = Cell::Text(text.to_owned()).write();
        if cell.len() > MOST_WIDTH { self.hold(text.as_bytes()) } else { cell }
    }

    /// A text as it stands in an attribute, which is never silent.
    pub(crate) fn attribute(&mut self, text: &str) -> String {
        let escaped = escape(text);
        if escaped.len() > MOST_WIDTH { self.hold(text.as_bytes()) } else { escaped }
    }

    /// The cell of bytes.
    pub(crate) fn hold(&mut self, bytes: &[u8]) -> String {
        self.0.push(bytes.to_vec());
        Cell::Value(self.0.len() - 1).write()
    }

    /// Writes them.
    pub(crate) fn write(&self, parent: &Group) -> hdf5::Result<()> {
        if self.0.is_empty() {
            return Ok(());
        }
        let group = group_in(parent, VALUES)?;
        for (number, bytes) in self.0.iter().enumerate() {
            let data =
                group.new_dataset_builder().obj_track_times(false).with_data(ArrayView1::from(&bytes[..]));
            let data = match bytes.len() {
                0..=MOST_WIDTH => data.layout(Layout::Compact),
                length => data.chunk(length.min(CHUNK_BYTES)).deflate(DEFLATE_LEVEL).fletcher32(),
            };
            data.create(number.to_string().as_str())?;
        }
        Ok(())
    }
}

/// Values of a file.
pub(crate) struct Kept(Option<Node>);

impl Kept {
    /// Those of a recording.
    pub(crate) fn of(reading: &Reading, recording: &Node) -> Result<Kept> {
        recording.child(reading, VALUES).map(Kept)
    }

    /// What a cell of a row says; `None` where it is silent.
    pub(crate) fn text(&self, reading: &Reading, place: &Place, cell: &str) -> Result<Option<String>> {
        match Cell::read(cell) {
            Some(Cell::Silent) => Ok(None),
            Some(Cell::Text(text)) => Ok(Some(text)),
            Some(Cell::Value(number)) => {
                let bytes = self.bytes(reading, place, number)?;
                if bytes.len() > reading.limits.text_bytes {
                    let text = format!(
                        "a text of {} bytes, the limit is {}",
                        bytes.len(),
                        reading.limits.text_bytes
                    );
                    return Err(Error::new(Kind::Limit, text).at(place.clone()));
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
    pub(crate) fn bytes_of(&self, reading: &Reading, place: &Place, cell: &str) -> Result<Vec<u8>> {
        match Cell::read(cell) {
            Some(Cell::Value(number)) => self.bytes(reading, place, number),
            _ => Err(not_a_cell(place, cell)),
        }
    }

    fn bytes(&self, reading: &Reading, place: &Place, number: usize) -> Result<Vec<u8>> {
        let stored = match &self.0 {
            Some(node) => node.dataset(reading, &number.to_string(), 1)?,
            None => None,
        };
        let stored =
            stored.ok_or_else(|| Error::malformed(place.clone(), format!("there is no value {number}")))?;
        if !is_type(&stored.kind, &TypeDescriptor::Unsigned(IntSize::U1)) {
            return Err(Error::malformed(stored.place, "is not of bytes (8-bit unsigned whole numbers)"));
        }
        if stored.shape[0] > MOST_BYTES {
            let text = format!("{} bytes, the limit is {MOST_BYTES}", stored.shape[0]);
            return Err(Error::new(Kind::Limit, text).at(stored.place));
        }
        stored.dataset.read_raw().map_err(|error| stored.unreadable(&error))
    }
}

fn not_a_cell(place: &Place, cell: &str) -> Error {
    let shown: String = cell.chars().take(40).collect();
    Error::malformed(place.clone(), format!("the sign for escape (U+241B) stands alone in {shown:?}"))
}
