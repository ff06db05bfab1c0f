//! Values: what is too long for a row or an attribute, or no text.

use hdf5::Group;
use hdf5::plist::dataset_create::Layout;
use ndarray::ArrayView1;

use crate::cell::{Cell, escape};
use crate::values::VALUES;
use crate::write::rows::DEFLATE_LEVEL;
use crate::write::scratch::group_in;

/// Bytes of the longest text that is written in a row or attribute; a longer one is a value of its own.
pub(crate) const MOST_WIDTH: usize = 4096;
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
