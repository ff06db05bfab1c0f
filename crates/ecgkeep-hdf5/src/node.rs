//! Groups and datasets of a file by their names.

use std::collections::BTreeMap;

use ecgkeep_format::{Error, Kind, Limits, Note, Place, Result, Weight};

use crate::attributes::Attributes;
use crate::file::{Dataset, Link, Object};

/// What reading a file has to know and to say.
pub(crate) struct Reading<'a> {
    /// What may be taken.
    pub(crate) limits: &'a Limits,
    /// Samples taken so far.
    pub(crate) samples: u64,
    /// What was noticed.
    pub(crate) notes: Vec<Note>,
}

impl Reading<'_> {
    /// Counts samples before they are read.
    /// # Errors
    /// [`Kind::Limit`].
    pub(crate) fn take_samples(&mut self, count: u64, place: &Place) -> Result<()> {
        self.samples = self.samples.saturating_add(count);
        if self.samples > self.limits.samples {
            let text = format!("more samples than the limit of {}", self.limits.samples);
            return Err(Error::new(Kind::Limit, text).at(place.clone()));
        }
        Ok(())
    }

    /// Notes something that the model has no place for.
    pub(crate) fn not_taken(&mut self, place: Place, what: String) {
        self.notes.push(Note::new(Weight::NotTaken, place, what));
    }
}

/// A group, its items known.
pub(crate) struct Node<'a> {
    object: Object<'a>,
    /// Where it is.
    pub(crate) place: Place,
    links: BTreeMap<String, Link>,
}

impl<'a> Node<'a> {
    /// The group that an object is.
    /// # Errors
    /// [`Kind::Malformed`] where it is none.
    pub(crate) fn of(object: Object<'a>) -> Result<Node<'a>> {
        let (place, links) = (object.place.clone(), object.links()?);
        Ok(Node { object, place, links })
    }

    /// The names of its items, sorted.
    pub(crate) fn names(&self) -> impl Iterator<Item = &str> {
        self.links.keys().map(String::as_str)
    }

    /// The number of its items, which are named by their numbers from 0.
    /// # Errors
    /// [`Kind::Malformed`] where one has another name.
    pub(crate) fn numbered(&self) -> Result<usize> {
        let count = self.links.len();
        match (0..count).find(|number| !self.links.contains_key(&number.to_string())) {
            None => Ok(count),
            Some(number) => Err(Error::malformed(
                self.place.clone(),
                format!("of its {count} items none is named {number}; they are numbered from 0"),
            )),
        }
    }

    /// Its attributes.
    pub(crate) fn attributes(&self) -> Result<Attributes<'a>> {
        Attributes::of(&self.object)
    }

    /// The item in it of this name.
    pub(crate) fn item(&self, name: &str) -> Result<Option<Object<'a>>> {
        self.links.get(name).map(|link| self.object.follow(name, *link)).transpose()
    }

    /// The group in it of this name.
    /// # Errors
    /// [`Kind::Malformed`] where it is no group, [`Kind::Unsupported`] where it lies elsewhere.
    pub(crate) fn child(&self, name: &str) -> Result<Option<Node<'a>>> {
        self.item(name)?.map(Node::of).transpose()
    }

    /// The dataset in it of this name, with so many dimensions, checked.
    /// # Errors
    /// [`Kind::Malformed`], [`Kind::Unsupported`] or [`Kind::Limit`] where it is none that can be read.
    pub(crate) fn dataset(&self, name: &str, dimensions: usize) -> Result<Option<Dataset<'a>>> {
        self.item(name)?.map(|object| Dataset::of(object, dimensions)).transpose()
    }
}
