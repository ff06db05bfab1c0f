//! Attributes: texts of a fixed length, 64-bit numbers and flags, single or in a list; written, and checked before they
//! are read.

use std::collections::BTreeSet;

use ecgkeep_format::{Error, Kind, Place, Result};
use hdf5::types::{FixedAscii, FixedUnicode, FloatSize, IntSize, TypeDescriptor};
use hdf5::{Attribute, Datatype, Extents, Location};
use ndarray::{ArrayView1, arr0};

use crate::rows::{MOST_WIDTH, by_width, fixed};

/// Numbers or texts of one attribute. A waveform has as many as signals, which [`ecgkeep_format::Limits`] counts.
const MOST_ITEMS: usize = 65_536;
/// Bytes of one attribute.
const MOST_BYTES: usize = 16 << 20;

/// A text; of `text` no more than [`MOST_WIDTH`] bytes.
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

/// What an attribute holds.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Held<T> {
    /// Nothing: a null dataspace.
    Nothing,
    /// One.
    One(T),
    /// A list.
    Many(Vec<T>),
}

/// The attributes of one group or dataset.
pub(crate) struct Attributes<'a> {
    location: &'a Location,
    /// Their names.
    pub(crate) names: BTreeSet<String>,
    place: Place,
}

impl<'a> Attributes<'a> {
    /// Lists the attributes.
    pub(crate) fn of(location: &'a Location, place: &Place) -> Result<Attributes<'a>> {
        let names = location.attr_names().map_err(|error| {
            Error::malformed(place.clone(), "its attributes cannot be listed").because(error.to_string())
        })?;
        Ok(Attributes { location, names: names.into_iter().collect(), place: place.clone() })
    }

    /// The text of an attribute, as it stands there.
    pub(crate) fn text(&self, name: &str) -> Result<Option<String>> {
        match self.texts(name)? {
            None => Ok(None),
            Some(Held::One(text)) => Ok(Some(text)),
            Some(_) => Err(self.malformed(name, "is not one text")),
        }
    }

    /// The texts of an attribute that holds a list of so many.
    pub(crate) fn text_list(&self, name: &str, count: usize) -> Result<Option<Vec<String>>> {
        self.texts(name)?.map(|held| self.list(name, held, count)).transpose()
    }

    /// The numbers of an attribute that holds a list of so many.
    pub(crate) fn number_list(&self, name: &str, count: usize) -> Result<Option<Vec<f64>>> {
        self.numbers(name)?.map(|held| self.list(name, held, count)).transpose()
    }

    /// The number of an attribute.
    pub(crate) fn number(&self, name: &str) -> Result<Option<f64>> {
        match self.numbers(name)? {
            None => Ok(None),
            Some(Held::One(number)) => Ok(Some(number)),
            Some(_) => Err(self.malformed(name, "is not one number")),
        }
    }

    fn list<T>(&self, name: &str, held: Held<T>, count: usize) -> Result<Vec<T>> {
        match held {
            Held::Many(list) if list.len() == count => Ok(list),
            _ => Err(self.malformed(name, &format!("is not a list of {count}, one for each lead"))),
        }
    }

    /// The texts of an attribute, as they stand there.
    pub(crate) fn texts(&self, name: &str) -> Result<Option<Held<String>>> {
        let Some((attribute, extents, kind)) = self.open(name)? else { return Ok(None) };
        let width = kind.size();
        let is = |descriptor: TypeDescriptor| is_type(&kind, &descriptor);
        let is_unicode = is(TypeDescriptor::FixedUnicode(width));
        if !(is_unicode || is(TypeDescriptor::FixedAscii(width))) || !(1..=MOST_WIDTH).contains(&width) {
            let text = format!("is no text of a fixed length of 1 to {MOST_WIDTH} bytes");
            return Err(self.malformed(name, &text).remedy(FIXED_LENGTH));
        }
        let bytes: Vec<Vec<u8>> = by_width!(width, N => {
            let read = if is_unicode {
                attribute.read_raw::<FixedUnicode<N>>()
                    .map(|texts| texts.iter().map(|text| text.as_bytes().to_vec()).collect())
            } else {
                attribute.read_raw::<FixedAscii<N>>()
                    .map(|texts| texts.iter().map(|text| text.as_bytes().to_vec()).collect())
            };
            if extents == Extents::Null { Ok(Vec::new()) } else { read }
        })
        .map_err(|error| self.unreadable(name, &error))?;
        let texts: Option<Vec<String>> =
            bytes.into_iter().map(|bytes| String::from_utf8(bytes).ok()).collect();
        let texts = texts.ok_or_else(|| self.malformed(name, "is not UTF-8"))?;
        Ok(Some(held(&extents, texts)))
    }

    fn numbers(&self, name: &str) -> Result<Option<Held<f64>>> {
        let Some((attribute, extents, kind)) = self.open(name)? else { return Ok(None) };
        if !NUMBERS.iter().any(|descriptor| is_type(&kind, descriptor)) {
            return Err(self.malformed(name, "is no little-endian whole or floating-point number"));
        }
        let numbers = if extents == Extents::Null { Ok(Vec::new()) } else { attribute.read_raw::<f64>() };
        Ok(Some(held(&extents, numbers.map_err(|error| self.unreadable(name, &error))?)))
    }

    /// An attribute with its checked shape and its type; `None` where there is none of this name.
    fn open(&self, name: &str) -> Result<Option<(Attribute, Extents, Datatype)>> {
        if !self.names.contains(name) {
            return Ok(None);
        }
        let opened = || {
            let attribute = self.location.attr(name)?;
            let (extents, kind) = (attribute.space()?.extents()?, attribute.dtype()?);
            Ok((attribute, extents, kind))
        };
        let (attribute, extents, kind) = opened().map_err(|error| self.unreadable(name, &error))?;
        let count = extents.size();
        if extents.ndim() > 1 {
            return Err(self.malformed(name, &format!("has {} dimensions, not one", extents.ndim())));
        }
        if count > MOST_ITEMS || count.saturating_mul(kind.size()) > MOST_BYTES {
            let what = format!("{name}: {count} items of {} bytes", kind.size());
            return Err(Error::new(Kind::Limit, what).at(self.place.clone()));
        }
        Ok(Some((attribute, extents, kind)))
    }

    /// [`Kind::Malformed`] for an attribute.
    pub(crate) fn malformed(&self, name: &str, what: &str) -> Error {
        Error::malformed(self.place.clone(), format!("the attribute {name} {what}"))
    }

    /// [`Kind::Malformed`] for an attribute that is not there.
    pub(crate) fn missing(&self, name: &str) -> Error {
        self.malformed(name, "is missing")
    }

    fn unreadable(&self, name: &str, error: &hdf5::Error) -> Error {
        self.malformed(name, "cannot be read").because(error.to_string())
    }
}

/// How to write texts that can be checked before they are read.
pub(crate) const FIXED_LENGTH: &str = "texts of variable length cannot be checked before they are read: give them a fixed length, in h5py \
     with h5py.string_dtype(\"utf-8\", LENGTH) or numpy.bytes_";

/// The types of numbers that are taken.
const NUMBERS: &[TypeDescriptor] = &[
    TypeDescriptor::Float(FloatSize::U8),
    TypeDescriptor::Float(FloatSize::U4),
    TypeDescriptor::Integer(IntSize::U8),
    TypeDescriptor::Integer(IntSize::U4),
    TypeDescriptor::Integer(IntSize::U2),
    TypeDescriptor::Integer(IntSize::U1),
    TypeDescriptor::Unsigned(IntSize::U8),
    TypeDescriptor::Unsigned(IntSize::U4),
    TypeDescriptor::Unsigned(IntSize::U2),
    TypeDescriptor::Unsigned(IntSize::U1),
];

/// Whether a type of a file is exactly this one. Types from outside are compared, never taken apart.
pub(crate) fn is_type(kind: &Datatype, descriptor: &TypeDescriptor) -> bool {
    kind.size() == descriptor.size() && Datatype::from_descriptor(descriptor).is_ok_and(|own| own == *kind)
}

fn held<T>(extents: &Extents, mut items: Vec<T>) -> Held<T> {
    match extents {
        Extents::Scalar => items.pop().map_or(Held::Nothing, Held::One),
        Extents::Simple(_) => Held::Many(items),
        Extents::Null => Held::Nothing,
    }
}
