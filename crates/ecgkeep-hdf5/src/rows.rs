//! Datasets of rows (HDF5 compounds): whole and floating-point numbers, and texts.
//!
//! They are written packed, the numbers first, all texts of the length of the longest; they are read by the names of their
//! columns, whatever their order and length.

use std::marker::PhantomData;

use ecgkeep_format::{Error, Kind as Fault, Place, Result};

use crate::file::{self, Dataset, Kind, Values};
use crate::node::{Node, Reading};

/// Bytes of the rows of one dataset, as they are before they are compressed.
const MOST_BYTES: usize = 1 << 30;

/// A row.
pub(crate) trait Row: Sized {
    /// The columns of numbers, in order.
    const NUMBERS: &'static [&'static str];
    /// The columns of texts, in order.
    const TEXTS: &'static [&'static str];
    /// The row that a line of cells is: first the numbers, then the texts, in this order.
    fn from_line(line: &mut Line) -> Result<Self>;
}

/// A number of a row.
pub(crate) trait Number: Sized {
    /// The next number of a line.
    fn next(line: &mut Line) -> Result<Self>;
}

impl Number for i64 {
    fn next(line: &mut Line) -> Result<i64> {
        line.number(file::whole)
    }
}

impl Number for f64 {
    fn next(line: &mut Line) -> Result<f64> {
        line.number(file::floating)
    }
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

        impl $crate::rows::Row for $row {
            const NUMBERS: &'static [&'static str] = &[$(stringify!($number),)*];
            const TEXTS: &'static [&'static str] = &[$(stringify!($text),)*];

            fn from_line(line: &mut $crate::rows::Line) -> ecgkeep_format::Result<$row> {
                Ok($row {
                    $($number: <$kind as $crate::rows::Number>::next(line)?,)*
                    $($text: line.text()?,)*
                })
            }
        }

        #[cfg(feature = "hdf5")]
        #[derive(Clone, Copy, hdf5::H5Type)]
        #[repr(C)]
        struct $stored<const N: usize> {
            $($number: $kind,)*
            $($text: hdf5::types::FixedUnicode<N>,)*
        }

        #[cfg(feature = "hdf5")]
        impl $crate::write::rows::WrittenRow for $row {
            fn number_types() -> Vec<hdf5::types::TypeDescriptor> {
                vec![$(<$kind as hdf5::H5Type>::type_descriptor(),)*]
            }

            fn longest(&self) -> usize {
                [0 $(, self.$text.len())*].into_iter().max().unwrap_or(0)
            }

            fn put(dataset: &hdf5::Dataset, rows: &[$row], from: usize, width: usize) -> hdf5::Result<()> {
                $crate::write::rows::by_width!(width, N => {
                    let stored: Vec<$stored<N>> = rows
                        .iter()
                        .map(|row| Ok($stored {
                            $($number: row.$number,)*
                            $($text: $crate::write::rows::fixed(&row.$text)?,)*
                        }))
                        .collect::<hdf5::Result<_>>()?;
                    dataset.write_slice(ndarray::ArrayView1::from(&stored[..]), from..from + stored.len())
                })
            }
        }
    };
}
pub(crate) use table;

/// Rows of a file.
pub(crate) struct Table<'a, R> {
    dataset: Dataset<'a>,
    /// Where the cells of each column stand in a row; texts may have no column, and are then silent.
    columns: Vec<Option<(usize, Kind)>>,
    row: PhantomData<R>,
}

impl<'a, R: Row> Table<'a, R> {
    /// The rows of this name in a group; columns that the layout does not have are noted.
    /// # Errors
    /// [`Fault::Malformed`] where they are none, or a number has no column.
    pub(crate) fn open(reading: &mut Reading, node: &Node<'a>, name: &str) -> Result<Option<Table<'a, R>>> {
        let Some(dataset) = node.dataset(name, 1)? else { return Ok(None) };
        let place = dataset.place.clone();
        let Kind::Compound { members, .. } = &dataset.kind else {
            return Err(Error::malformed(place, format!("is of {}, not of rows", dataset.kind.name())));
        };
        let mut columns = Vec::new();
        for (column, is_text) in
            R::NUMBERS.iter().map(|name| (name, false)).chain(R::TEXTS.iter().map(|name| (name, true)))
        {
            let found = members.iter().find(|(name, ..)| name == column);
            let fits = |kind: &Kind| match kind {
                Kind::Text { .. } | Kind::VariableText => is_text,
                Kind::Whole { .. } | Kind::Floating { .. } => !is_text,
                _ => false,
            };
            match found {
                Some((_, offset, kind)) if fits(kind) => columns.push(Some((*offset, kind.clone()))),
                None if is_text => columns.push(None),
                Some((.., kind)) => {
                    let expected = if is_text { "a text" } else { "a number" };
                    let what = format!("its column {column} is {}, expected {expected}", kind.name());
                    return Err(Error::malformed(place, what));
                }
                None => return Err(Error::malformed(place, format!("has no column {column}"))),
            }
        }
        for (other, ..) in members {
            if !R::NUMBERS.contains(&other.as_str()) && !R::TEXTS.contains(&other.as_str()) {
                reading.not_taken(place.clone(), format!("{other} is no column of it"));
            }
        }
        Ok(Some(Table { dataset, columns, row: PhantomData }))
    }

    /// Where they are.
    pub(crate) fn place(&self) -> &Place {
        &self.dataset.place
    }

    /// How many there are.
    pub(crate) fn count(&self) -> usize {
        self.dataset.shape[0]
    }

    /// Reads the rows in order, each with its number.
    /// # Errors
    /// [`Fault::Limit`] where there are more than `most`; [`Fault::Malformed`] for a cell that is none; what `each` says.
    pub(crate) fn each(&self, most: usize, mut each: impl FnMut(usize, R) -> Result<()>) -> Result<()> {
        let rows = self.count();
        if rows > most || rows.saturating_mul(self.dataset.kind.bytes()) > MOST_BYTES {
            let what = format!("{rows} rows of {} bytes, the limit is {most}", self.dataset.kind.bytes());
            return Err(Error::new(Fault::Limit, what).at(self.place().clone()));
        }
        let values = self.dataset.values()?;
        for (number, element) in values.elements().enumerate() {
            let place = self.place();
            let mut line = Line { values: &values, columns: self.columns.iter(), element, number, place };
            each(number, R::from_line(&mut line)?)?;
        }
        Ok(())
    }
}

/// The cells of a row, one after the other.
pub(crate) struct Line<'l, 'a> {
    values: &'l Values<'l, 'a>,
    columns: std::slice::Iter<'l, Option<(usize, Kind)>>,
    element: &'l [u8],
    number: usize,
    place: &'l Place,
}

impl Line<'_, '_> {
    fn next(&mut self) -> Option<(&[u8], &Kind)> {
        let (offset, kind) = self.columns.next()?.as_ref()?;
        Some((self.element.get(*offset..*offset + kind.bytes())?, kind))
    }

    fn number<T>(&mut self, of: fn(&Kind, &[u8]) -> Option<T>) -> Result<T> {
        let number = self.number;
        let found = self.next().and_then(|(cell, kind)| of(kind, cell));
        found.ok_or_else(|| {
            Error::malformed(self.place.clone(), format!("row {number} has a number that is out of range"))
        })
    }

    /// The next text; empty where there is no column for it.
    pub(crate) fn text(&mut self) -> Result<String> {
        let values = self.values;
        match self.next() {
            Some((cell, kind)) => values.text(kind, cell),
            None => Ok(String::new()),
        }
    }
}
