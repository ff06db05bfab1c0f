//! Datasets of rows (HDF5 compounds): whole and floating-point numbers, then texts that all have one length.
//!
//! One length for all texts of a dataset makes its type known from its size, so that it can be compared as a whole before
//! anything is read.

use std::ops::Range;

use ecgkeep_format::{Error, Kind, Result};
use hdf5::plist::dataset_create::Layout;
use hdf5::types::{CompoundField, CompoundType, FixedUnicode, TypeDescriptor};
use hdf5::{Dataset, Group};

use crate::attributes::{FIXED_LENGTH, is_type};
use crate::node::Stored;

/// Bytes of the longest text in a row or attribute; a longer one is a value of its own.
pub(crate) const MOST_WIDTH: usize = 4096;
/// Bytes of rows that are kept in the header of their dataset, uncompressed; more are worth a block of their own.
const COMPACT_BYTES: usize = 8192;
/// Bytes of rows in one compressed block, about.
const CHUNK_BYTES: usize = 1 << 16;
/// Bytes of rows that are in memory as they stand in the file.
const BLOCK_BYTES: usize = 1 << 20;
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
                const $N: usize = $crate::rows::MOST_WIDTH;
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

/// A row.
pub(crate) trait Row: Sized {
    /// The columns of numbers, in order.
    fn numbers() -> Vec<(&'static str, TypeDescriptor)>;
    /// The columns of texts behind them, in order.
    fn texts() -> &'static [&'static str];
    /// Bytes of the longest text.
    fn longest(&self) -> usize;
    /// Writes rows from a place on.
    fn put(dataset: &Dataset, rows: &[Self], from: usize, width: usize) -> hdf5::Result<()>;
    /// Reads rows; `None` for one whose texts are not UTF-8.
    fn take(dataset: &Dataset, rows: Range<usize>, width: usize) -> hdf5::Result<Vec<Option<Self>>>;
}

/// Makes a row and how it is stored: `table! { /// Doc. Name, Stored { numbers; texts } }`.
macro_rules! table {
    ($(#[$doc:meta])+ $row:ident, $stored:ident {
        $($(#[$number_doc:meta])+ $number:ident: $kind:ty,)*;
        $($(#[$text_doc:meta])+ $text:ident,)*
    }) => {
        $(#[$doc])+
        #[derive(Clone, Debug, Default, PartialEq)]
        pub(crate) struct $row {
            $($(#[$number_doc])+ pub(crate) $number: $kind,)*
            $($(#[$text_doc])+ pub(crate) $text: String,)*
        }

        #[derive(Clone, Copy, hdf5::H5Type)]
        #[repr(C)]
        struct $stored<const N: usize> {
            $($number: $kind,)*
            $($text: hdf5::types::FixedUnicode<N>,)*
        }

        impl $crate::rows::Row for $row {
            fn numbers() -> Vec<(&'static str, hdf5::types::TypeDescriptor)> {
                vec![$((stringify!($number), <$kind as hdf5::H5Type>::type_descriptor()),)*]
            }

            fn texts() -> &'static [&'static str] {
                &[$(stringify!($text),)*]
            }

            fn longest(&self) -> usize {
                [0 $(, self.$text.len())*].into_iter().max().unwrap_or(0)
            }

            fn put(
                dataset: &hdf5::Dataset,
                rows: &[$row],
                from: usize,
                width: usize,
            ) -> hdf5::Result<()> {
                $crate::rows::by_width!(width, N => {
                    let stored: Vec<$stored<N>> = rows
                        .iter()
                        .map(|row| Ok($stored {
                            $($number: row.$number,)*
                            $($text: $crate::rows::fixed(&row.$text)?,)*
                        }))
                        .collect::<hdf5::Result<_>>()?;
                    dataset.write_slice(ndarray::ArrayView1::from(&stored[..]), from..from + stored.len())
                })
            }

            fn take(
                dataset: &hdf5::Dataset,
                rows: std::ops::Range<usize>,
                width: usize,
            ) -> hdf5::Result<Vec<Option<$row>>> {
                $crate::rows::by_width!(width, N => {
                    let stored = dataset.read_slice_1d::<$stored<N>, _>(rows)?;
                    let row = |stored: &$stored<N>| Some($row {
                        $($number: stored.$number,)*
                        $($text: String::from_utf8(stored.$text.as_bytes().to_vec()).ok()?,)*
                    });
                    Ok(stored.iter().map(row).collect())
                })
            }
        }
    };
}
pub(crate) use table;

/// Writes rows as a dataset; nothing where there are none.
pub(crate) fn write<R: Row>(group: &Group, name: &str, rows: &[R]) -> hdf5::Result<()> {
    if rows.is_empty() {
        return Ok(());
    }
    let width = rows.iter().map(Row::longest).max().unwrap_or(0).max(1);
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
    let at_once = (BLOCK_BYTES / row_bytes).max(1);
    for (number, block) in rows.chunks(at_once).enumerate() {
        R::put(&dataset, block, number * at_once, width)?;
    }
    Ok(())
}

/// Reads the rows of a dataset in order.
/// # Errors
/// [`Kind::Malformed`] where it has other columns, [`Kind::Limit`] where it has more than `most` rows, and what `each` says.
pub(crate) fn read<R: Row>(
    stored: &Stored,
    most: usize,
    mut each: impl FnMut(usize, R) -> Result<()>,
) -> Result<()> {
    let (rows, kind) = (stored.shape[0], &stored.kind);
    let number_bytes: usize = R::numbers().iter().map(|(_, kind)| kind.size()).sum();
    let text_bytes = kind.size().saturating_sub(number_bytes);
    let width = text_bytes.checked_div(R::texts().len()).unwrap_or(1);
    let is_ours =
        (1..=MOST_WIDTH).contains(&width) && is_type(kind, &TypeDescriptor::Compound(packed::<R>(width)));
    if !is_ours {
        let numbers = R::numbers();
        let names: Vec<&str> =
            numbers.iter().map(|(name, _)| *name).chain(R::texts().iter().copied()).collect();
        return Err(Error::malformed(
            stored.place.clone(),
            format!(
                "its columns are not, in this order and packed, {}: {} numbers of 8 bytes, then texts of one length",
                names.join(", "),
                numbers.len()
            ),
        )
        .remedy(FIXED_LENGTH));
    }
    if rows > most {
        return Err(
            Error::new(Kind::Limit, format!("{rows} rows, the limit is {most}")).at(stored.place.clone())
        );
    }
    let at_once = (BLOCK_BYTES / kind.size()).max(1);
    for from in (0..rows).step_by(at_once) {
        let block = R::take(&stored.dataset, from..rows.min(from + at_once), width)
            .map_err(|error| stored.unreadable(&error))?;
        for (number, row) in (from..).zip(block) {
            let row = row.ok_or_else(|| {
                Error::malformed(stored.place.clone(), format!("row {number} is not UTF-8"))
            })?;
            each(number, row)?;
        }
    }
    Ok(())
}

/// The type of the rows in the file, one column right behind the other.
fn packed<R: Row>(width: usize) -> CompoundType {
    let texts = R::texts().iter().map(|name| (*name, TypeDescriptor::FixedUnicode(width)));
    let mut size = 0;
    let mut fields = Vec::new();
    for (name, kind) in R::numbers().into_iter().chain(texts) {
        let bytes = kind.size();
        fields.push(CompoundField::new(name, kind, size, fields.len()));
        size += bytes;
    }
    CompoundType { fields, size }
}
