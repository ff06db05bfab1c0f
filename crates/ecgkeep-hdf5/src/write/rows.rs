//! Rows: the numbers first, then the texts, all of the length of the longest.

use hdf5::plist::dataset_create::Layout;
use hdf5::types::{CompoundField, CompoundType, FixedUnicode, TypeDescriptor};
use hdf5::{Dataset, Group};

use crate::rows::Row;

/// Bytes of rows that are kept in the header of their dataset, uncompressed; more are worth a block of their own.
const COMPACT_BYTES: usize = 8192;
/// Bytes of rows in one compressed block, about.
const CHUNK_BYTES: usize = 1 << 16;
/// Fast and near the smallest: a higher level takes several times as long for one per cent.
pub(crate) const DEFLATE_LEVEL: u8 = 6;

/// Runs `$body` with `$N` the least of three lengths that hold `$width` bytes: the crate's texts have their length in
/// their type.
macro_rules! by_width {
    ($width:expr, $N:ident => $body:expr) => {
        match $width {
            0..=32 => {
                const $N: usize = 32;
                $body
            }
            33..=256 => {
                const $N: usize = 256;
                $body
            }
            _ => {
                const $N: usize = $crate::write::values::MOST_WIDTH;
                $body
            }
        }
    };
}
pub(crate) use by_width;

/// A text of at most `N` bytes.
pub(crate) fn fixed<const N: usize>(text: &str) -> hdf5::Result<FixedUnicode<N>> {
    text.parse().map_err(|_| format!("a text of {} bytes where {N} fit", text.len()).into())
}

/// A row that is written.
pub(crate) trait WrittenRow: Row {
    /// The types of the columns of numbers.
    fn number_types() -> Vec<TypeDescriptor>;
    /// Bytes of the longest text.
    fn longest(&self) -> usize;
    /// Writes rows from a place on.
    fn put(dataset: &Dataset, rows: &[Self], from: usize, width: usize) -> hdf5::Result<()>;
}

/// Writes rows as a dataset; nothing where there are none.
pub(crate) fn write<R: WrittenRow>(group: &Group, name: &str, rows: &[R]) -> hdf5::Result<()> {
    if rows.is_empty() {
        return Ok(());
    }
    let width = rows.iter().map(WrittenRow::longest).max().unwrap_or(0).max(1);
    let kind = TypeDescriptor::Compound(packed::<R>(width));
    let row_bytes = kind.size();
    let builder =
        group.new_dataset_builder().obj_track_times(false).packed(true).empty_as(&kind).shape(rows.len());
    let dataset = if rows.len() * row_bytes <= COMPACT_BYTES {
        builder.layout(Layout::Compact).create(name)?
    } else {
        let chunk = (CHUNK_BYTES / row_bytes).clamp(1, rows.len());
        builder.chunk(chunk).shuffle().deflate(DEFLATE_LEVEL).fletcher32().create(name)?
    };
    // whole chunks at a time, so that none is compressed twice
    let at_once = (CHUNK_BYTES / row_bytes).max(1);
    for (number, block) in rows.chunks(at_once).enumerate() {
        R::put(&dataset, block, number * at_once, width)?;
    }
    Ok(())
}

/// The type of the rows in the file, one column right behind the other.
fn packed<R: WrittenRow>(width: usize) -> CompoundType {
    let numbers = R::NUMBERS.iter().copied().zip(R::number_types());
    let texts = R::TEXTS.iter().map(|name| (*name, TypeDescriptor::FixedUnicode(width)));
    let mut size = 0;
    let mut fields = Vec::new();
    for (name, kind) in numbers.chain(texts) {
        let bytes = kind.size();
        fields.push(CompoundField::new(name, kind, size, fields.len()));
        size += bytes;
    }
    CompoundType { fields, size }
}
