//! Attributes as they are written: texts of a fixed length, 64-bit numbers and flags, single or in a list.

use hdf5::types::{FixedUnicode, TypeDescriptor};
use hdf5::{Extents, Location};
use ndarray::{ArrayView1, arr0};

use ecgkeep_recording::Exact;

use crate::number;
use crate::write::rows::{by_width, fixed};

/// A text; of `text` no more than [`crate::write::values::MOST_WIDTH`] bytes.
pub(crate) fn put_text(at: &Location, name: &str, text: &str) -> hdf5::Result<()> {
    by_width!(text.len(), N => {
        let array = arr0(fixed::<N>(text)?);
        let kind = TypeDescriptor::FixedUnicode(text.len().max(1));
        at.new_attr_builder().with_data_as(&array, kind).create(name)?;
    });
    Ok(())
}

/// Texts, all of the length of the longest.
pub(crate) fn put_texts<T: AsRef<str>>(at: &Location, name: &str, texts: &[T]) -> hdf5::Result<()> {
    let width = texts.iter().map(|text| text.as_ref().len()).max().unwrap_or(0);
    by_width!(width, N => {
        let array: Vec<FixedUnicode<N>> =
            texts.iter().map(|text| fixed::<N>(text.as_ref())).collect::<hdf5::Result<_>>()?;
        let kind = TypeDescriptor::FixedUnicode(width.max(1));
        at.new_attr_builder().with_data_as(ArrayView1::from(&array[..]), kind).create(name)?;
    });
    Ok(())
}

/// A number.
pub(crate) fn put_number(at: &Location, name: &str, number: f64) -> hdf5::Result<()> {
    at.new_attr_builder().with_data(&arr0(number)).create(name).map(drop)
}

/// Numbers.
pub(crate) fn put_numbers(at: &Location, name: &str, numbers: &[f64]) -> hdf5::Result<()> {
    at.new_attr_builder().with_data(ArrayView1::from(numbers)).create(name).map(drop)
}

/// Flags, 0 or 1.
pub(crate) fn put_flags(at: &Location, name: &str, flags: &[u8]) -> hdf5::Result<()> {
    at.new_attr_builder().with_data(ArrayView1::from(flags)).create(name).map(drop)
}

/// That there is something of which nothing is said.
pub(crate) fn put_nothing(at: &Location, name: &str) -> hdf5::Result<()> {
    let kind = TypeDescriptor::FixedUnicode(1);
    at.new_attr_builder().empty_as(&kind).shape(Extents::null()).create(name).map(drop)
}

/// A number, and its text where the number alone does not say it.
pub(crate) fn put_exact(at: &Location, name: &str, exact: Exact) -> hdf5::Result<()> {
    let (number, text) = number::write(exact);
    put_number(at, name, number)?;
    text.map_or(Ok(()), |text| put_text(at, &format!("{name}_exact"), &text))
}

/// Numbers, and their texts where one of the numbers alone does not say it.
pub(crate) fn put_exacts(at: &Location, name: &str, exacts: &[Exact]) -> hdf5::Result<()> {
    let (numbers, texts): (Vec<f64>, Vec<Option<String>>) =
        exacts.iter().map(|exact| number::write(*exact)).unzip();
    put_numbers(at, name, &numbers)?;
    if texts.iter().all(Option::is_none) {
        return Ok(());
    }
    let texts: Vec<String> = texts.into_iter().map(Option::unwrap_or_default).collect();
    put_texts(at, &format!("{name}_exact"), &texts)
}
