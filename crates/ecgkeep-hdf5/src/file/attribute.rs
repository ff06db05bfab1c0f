//! Attributes: IV.A.2.m.

use std::collections::BTreeMap;

use ecgkeep_format::{Cursor, Error, Place, Result};

use super::data::Values;
use super::header::{Object, message};
use super::heap::Heaps;
use super::kind::Kind;
use super::{File, Space, UNDEFINED, u64_of, unsupported};

/// An attribute.
pub(crate) struct Attribute<'a> {
    file: &'a File<'a>,
    place: Place,
    /// Its shape.
    pub(crate) space: Space,
    /// The type of its elements.
    pub(crate) kind: Kind,
    bytes: &'a [u8],
    heaps: Heaps<'a>,
}

impl<'a> Attribute<'a> {
    /// Its elements.
    pub(crate) fn values(&self) -> Values<'_, 'a> {
        let bytes = self.bytes.into();
        Values { file: self.file, place: &self.place, kind: &self.kind, bytes, heaps: &self.heaps }
    }
}

impl<'a> Object<'a> {
    /// The attributes by name.
    /// # Errors
    /// [`ecgkeep_format::Kind::Malformed`] where one is damaged, [`ecgkeep_format::Kind::Unsupported`] where they are stored
    /// in a form that is not read.
    pub(crate) fn attributes(&self) -> Result<BTreeMap<String, Attribute<'a>>> {
        if let Some(mut info) = self.message(message::ATTRIBUTE_INFO) {
            let flags = info.take(2)?[1];
            info.take(if flags & 1 == 0 { 0 } else { 2 })?;
            if u64_of(&mut info)? != UNDEFINED {
                return Err(unsupported(
                    self.place.clone(),
                    "its attributes are in dense storage, which is not read",
                ));
            }
        }
        let mut attributes = BTreeMap::new();
        for message in self.messages.iter().filter(|message| message.kind == message::ATTRIBUTE) {
            let (name, attribute) = self.read_attribute(&mut message.body.clone())?;
            if attributes.insert(name.clone(), attribute).is_some() {
                return Err(Error::malformed(self.place.clone(), format!("has two attributes {name}")));
            }
        }
        Ok(attributes)
    }

    fn read_attribute(&self, body: &mut Cursor<'a>) -> Result<(String, Attribute<'a>)> {
        let version = body.u8()?;
        if !matches!(version, 1..=3) {
            return Err(body.malformed("the version of an attribute", version, "1 to 3"));
        }
        let flags = body.u8()?;
        if version > 1 && flags & 3 != 0 {
            return Err(unsupported(
                body.place(),
                "an attribute whose type or shape is stored elsewhere and shared",
            ));
        }
        let lengths = [body.u16()?, body.u16()?, body.u16()?].map(usize::from);
        body.take(if version == 3 { 1 } else { 0 })?;
        let padded = |length: usize| if version == 1 { length.next_multiple_of(8) } else { length };
        let name = body.take(padded(lengths[0]))?;
        let name = name.split(|byte| *byte == 0).next().unwrap_or_default().to_vec();
        let name = String::from_utf8(name)
            .map_err(|_| Error::malformed(body.place(), "an attribute's name is not UTF-8"))?;
        let kind = Kind::read(&mut body.part(padded(lengths[1]))?)?;
        let space = Space::read(&mut body.part(padded(lengths[2]))?)?;
        let bytes = space.count().and_then(|count| count.checked_mul(kind.bytes() as u64));
        let bytes = bytes.and_then(|bytes| usize::try_from(bytes).ok()).unwrap_or(usize::MAX);
        let bytes = body.take(bytes)?;
        let (file, place) = (self.file, self.place.clone());
        Ok((name, Attribute { file, place, space, kind, bytes, heaps: Heaps::default() }))
    }
}
