//! Attributes of a file: texts and numbers, single or in a list.

use std::collections::BTreeMap;

use ecgkeep_format::{Error, Kind as Fault, Place, Result};
use ecgkeep_recording::Exact;

use crate::file::{self, Attribute, Space};
use crate::node::Reading;
use crate::number;

/// Numbers or texts of one attribute. A waveform has as many as signals, which [`ecgkeep_format::Limits`] counts.
const MOST_ITEMS: u64 = 65_536;

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
    all: BTreeMap<String, Attribute<'a>>,
    place: Place,
}

impl<'a> Attributes<'a> {
    /// The attributes of an object.
    pub(crate) fn of(object: &file::Object<'a>) -> Result<Attributes<'a>> {
        Ok(Attributes { all: object.attributes()?, place: object.place.clone() })
    }

    /// Their names, sorted.
    pub(crate) fn names(&self) -> impl Iterator<Item = &str> {
        self.all.keys().map(String::as_str)
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

    /// The exact number that an attribute and, where there is one, the text beside it say.
    pub(crate) fn exact(&self, reading: &mut Reading, name: &str) -> Result<Option<Exact>> {
        let Some(number) = self.number(name)? else { return Ok(None) };
        let text = self.text(&format!("{name}_exact"))?;
        number::read(reading, &self.place, name, number, text.as_deref().unwrap_or_default()).map(Some)
    }

    /// The same for a list of so many.
    pub(crate) fn exact_list(
        &self,
        reading: &mut Reading,
        name: &str,
        count: usize,
    ) -> Result<Option<Vec<Exact>>> {
        let Some(numbers) = self.number_list(name, count)? else { return Ok(None) };
        let texts = self.text_list(&format!("{name}_exact"), count)?.unwrap_or(vec![String::new(); count]);
        let pairs = numbers.iter().zip(&texts);
        let exact = |(number, text): (&f64, &String)| number::read(reading, &self.place, name, *number, text);
        pairs.map(exact).collect::<Result<_>>().map(Some)
    }

    fn list<T>(&self, name: &str, held: Held<T>, count: usize) -> Result<Vec<T>> {
        match held {
            Held::Many(list) if list.len() == count => Ok(list),
            _ => Err(self.malformed(name, &format!("is not a list of {count}, one for each lead"))),
        }
    }

    /// The texts of an attribute, as they stand there.
    pub(crate) fn texts(&self, name: &str) -> Result<Option<Held<String>>> {
        self.held(name, |attribute, element| {
            attribute
                .values()
                .text(&attribute.kind, element)
                .map_err(|error| self.malformed(name, error.what()))
        })
    }

    fn numbers(&self, name: &str) -> Result<Option<Held<f64>>> {
        self.held(name, |attribute, element| {
            file::floating(&attribute.kind, element)
                .ok_or_else(|| self.malformed(name, &format!("is {}, not a number", attribute.kind.name())))
        })
    }

    fn held<T>(
        &self,
        name: &str,
        read: impl Fn(&Attribute<'a>, &[u8]) -> Result<T>,
    ) -> Result<Option<Held<T>>> {
        let Some(attribute) = self.all.get(name) else { return Ok(None) };
        let count = attribute.space.count().unwrap_or(u64::MAX);
        if count > MOST_ITEMS {
            let what = format!("the attribute {name} holds {count} items, the limit is {MOST_ITEMS}");
            return Err(Error::new(Fault::Limit, what).at(self.place.clone()));
        }
        let values = attribute.values();
        let mut items = values.elements().map(|element| read(attribute, element));
        Ok(Some(match &attribute.space {
            Space::Null => Held::Nothing,
            Space::Scalar => items.next().transpose()?.map_or(Held::Nothing, Held::One),
            Space::Simple(shape) if shape.len() == 1 => Held::Many(items.collect::<Result<_>>()?),
            Space::Simple(shape) => {
                return Err(self.malformed(name, &format!("has {} dimensions, not one", shape.len())));
            }
        }))
    }

    /// [`Fault::Malformed`] for an attribute.
    pub(crate) fn malformed(&self, name: &str, what: &str) -> Error {
        Error::malformed(self.place.clone(), format!("the attribute {name} {what}"))
    }

    /// [`Fault::Malformed`] for an attribute that is not there.
    pub(crate) fn missing(&self, name: &str) -> Error {
        self.malformed(name, "is missing")
    }
}
