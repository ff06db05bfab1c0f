//! Groups and datasets of a file from outside, checked before they are opened or read.

use std::collections::BTreeMap;

use ecgkeep_format::{Error, Kind, Limits, Note, Place, Result, Weight};
use hdf5::filters::Filter;
use hdf5::plist::dataset_create::Layout;
use hdf5::{Dataset, Datatype, Extents, Group, IndexType, IterationOrder, LinkType};

use crate::attributes::Attributes;

/// Links of one group, such as the recordings of a file.
const MOST_LINKS: u64 = 1_000_000;
/// Bytes of one chunk, which is in memory whole. The writers of this layout stay below 1 MiB.
const MOST_CHUNK_BYTES: usize = 64 << 20;
/// RFC 1951 codes at most 258 bytes in 2 bits: a deflated byte becomes at most 1032.
const MOST_INFLATION: u64 = 1032;

/// What reading a file has to know and to say.
pub(crate) struct Reading<'a> {
    /// The file's name.
    pub(crate) file: &'a str,
    /// Its bytes.
    pub(crate) length: u64,
    /// What may be taken.
    pub(crate) limits: &'a Limits,
    /// Samples taken so far.
    pub(crate) samples: u64,
    /// What was noticed.
    pub(crate) notes: Vec<Note>,
}

impl Reading<'_> {
    /// A place in the file.
    pub(crate) fn place(&self, path: &str) -> Place {
        let place = Place::file(self.file);
        if path.is_empty() { place } else { place.part(path) }
    }

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

/// A group, its links known.
pub(crate) struct Node {
    /// The group.
    pub(crate) group: Group,
    /// Its path, without a slash in front; the root has none.
    pub(crate) path: String,
    /// Where it is.
    pub(crate) place: Place,
    links: BTreeMap<String, LinkType>,
}

impl Node {
    /// A group that was opened already.
    /// # Errors
    /// [`Kind::Malformed`] where its links cannot be listed, [`Kind::Limit`] where they are too many.
    pub(crate) fn of(reading: &Reading, group: Group, path: String) -> Result<Node> {
        let place = reading.place(&path);
        if group.len() > MOST_LINKS {
            let text = format!("{} items, the limit is {MOST_LINKS}", group.len());
            return Err(Error::new(Kind::Limit, text).at(place));
        }
        let links = group.links(IndexType::Name, IterationOrder::Increasing).map_err(|error| {
            Error::malformed(place.clone(), "its items cannot be listed").because(error.to_string())
        })?;
        let links = links.into_iter().map(|(name, info)| (name, info.link_type)).collect();
        Ok(Node { group, path, place, links })
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
    pub(crate) fn attributes(&self) -> Result<Attributes<'_>> {
        Attributes::of(&self.group, &self.place)
    }

    /// The group in it of this name.
    /// # Errors
    /// [`Kind::Malformed`] where it is no group, [`Kind::Unsupported`] where it lies elsewhere.
    pub(crate) fn child(&self, reading: &Reading, name: &str) -> Result<Option<Node>> {
        let Some(path) = self.own_path(reading, name)? else { return Ok(None) };
        let group = self.group.group(name).map_err(|error| {
            Error::malformed(reading.place(&path), "is no group").because(error.to_string())
        })?;
        Node::of(reading, group, path).map(Some)
    }

    /// The dataset in it of this name, with so many dimensions, checked.
    /// # Errors
    /// [`Kind::Malformed`], [`Kind::Unsupported`] or [`Kind::Limit`] where it is none that can be read safely.
    pub(crate) fn dataset(&self, reading: &Reading, name: &str, dimensions: usize) -> Result<Option<Stored>> {
        let Some(path) = self.own_path(reading, name)? else { return Ok(None) };
        let place = reading.place(&path);
        let dataset = self
            .group
            .dataset(name)
            .map_err(|error| Error::malformed(place.clone(), "is no dataset").because(error.to_string()))?;
        Stored::check(reading, dataset, place, dimensions).map(Some)
    }

    /// The path of an item that lies in this file and group.
    fn own_path(&self, reading: &Reading, name: &str) -> Result<Option<String>> {
        let path = if self.path.is_empty() { name.to_owned() } else { format!("{}/{name}", self.path) };
        match self.links.get(name) {
            None => Ok(None),
            Some(LinkType::Hard) => Ok(Some(path)),
            Some(_) => Err(Error::new(Kind::Unsupported, "is a link to something that lies elsewhere")
                .at(reading.place(&path))
                .remedy("put the item itself in its place")),
        }
    }
}

/// A dataset that may be read.
pub(crate) struct Stored {
    /// The dataset.
    pub(crate) dataset: Dataset,
    /// Where it is.
    pub(crate) place: Place,
    /// The length of each dimension.
    pub(crate) shape: Vec<usize>,
    /// The type of its elements.
    pub(crate) kind: Datatype,
}

impl Stored {
    fn check(reading: &Reading, dataset: Dataset, place: Place, dimensions: usize) -> Result<Stored> {
        let unreadable =
            |error: hdf5::Error| Error::malformed(place.clone(), "cannot be read").because(error.to_string());
        let elsewhere = |what: &str| {
            Err(Error::new(Kind::Unsupported, what)
                .at(place.clone())
                .remedy("write the data into the file itself, for example with h5repack"))
        };
        let plist = dataset.dcpl().map_err(unreadable)?;
        let layout = plist.get_layout().map_err(unreadable)?;
        if !matches!(layout, Layout::Compact | Layout::Contiguous | Layout::Chunked) {
            return elsewhere("its data lie in other datasets");
        }
        if !plist.get_external().map_err(unreadable)?.is_empty() {
            return elsewhere("its data lie in another file");
        }
        let (extents, kind) = (
            dataset.space().and_then(|space| space.extents()).map_err(unreadable)?,
            dataset.dtype().map_err(unreadable)?,
        );
        let shape = match &extents {
            Extents::Simple(simple) if simple.ndim() == dimensions => extents.dims(),
            _ => {
                let text = format!("has {} dimensions, expected {dimensions}", extents.ndim());
                return Err(Error::malformed(place, text));
            }
        };
        let count = shape.iter().try_fold(1usize, |count, length| count.checked_mul(*length));
        let bytes = count.and_then(|count| count.checked_mul(kind.size())).ok_or_else(|| {
            Error::new(Kind::Limit, format!("{shape:?} elements of {} bytes", kind.size())).at(place.clone())
        })? as u64;
        let filters = plist.get_filters().map_err(unreadable)?;
        let is_known =
            |filter: &Filter| matches!(filter, Filter::Deflate(_) | Filter::Shuffle | Filter::Fletcher32);
        if let Some(other) = filters.iter().find(|filter| !is_known(filter)) {
            let text = format!("its filter is {other:?}; deflate, shuffle and fletcher32 are read");
            return Err(Error::new(Kind::Unsupported, text)
                .at(place)
                .remedy("write it with one of these, for example with h5repack -f GZIP=6"));
        }
        if let Some(chunk) = plist.get_chunk().map_err(unreadable)? {
            let bytes = chunk.iter().try_fold(kind.size(), |bytes, length| bytes.checked_mul(*length));
            if bytes.is_none_or(|bytes| bytes > MOST_CHUNK_BYTES) {
                let text = format!("a chunk of {chunk:?} elements, the limit is {MOST_CHUNK_BYTES} bytes");
                return Err(Error::new(Kind::Limit, text).at(place));
            }
            // a chunk that was never written would be read as zeros
            let needed: usize =
                shape.iter().zip(&chunk).map(|(length, chunk)| length.div_ceil((*chunk).max(1))).product();
            let there = dataset.num_chunks().unwrap_or(0);
            if there != needed {
                return Err(Error::malformed(place, format!("{there} of its {needed} chunks were written")));
            }
        }
        let stored = dataset.storage_size();
        let is_deflated = filters.iter().any(|filter| matches!(filter, Filter::Deflate(_)));
        let most = match is_deflated {
            true => stored.saturating_mul(MOST_INFLATION),
            false => stored,
        };
        if bytes > most || stored > reading.length {
            let text = format!("{bytes} bytes are said to be in {stored}, in a file of {}", reading.length);
            return Err(Error::malformed(place, text));
        }
        Ok(Stored { dataset, place, shape, kind })
    }

    /// Its attributes.
    pub(crate) fn attributes(&self) -> Result<Attributes<'_>> {
        Attributes::of(&self.dataset, &self.place)
    }

    /// [`Kind::Malformed`] for data that the library cannot read.
    pub(crate) fn unreadable(&self, error: &hdf5::Error) -> Error {
        Error::malformed(self.place.clone(), "its data cannot be read").because(error.to_string())
    }
}
