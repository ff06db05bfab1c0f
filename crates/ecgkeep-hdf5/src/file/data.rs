//! The data of a dataset or attribute.

use ecgkeep_format::{Error, Kind as Fault, Place, Result};

use super::chunks::{Chunk, Layout};
use super::filters::{self, Filter};
use super::header::{Object, message};
use super::heap::Heaps;
use super::kind::{Kind, Padding};
use super::{File, Space};

/// RFC 1951 codes at most 258 bytes in 2 bits: a deflated byte becomes at most 1032.
const MOST_INFLATION: u64 = 1032;

/// A dataset, its shape, type and storage checked against each other and against the bytes there are.
pub(crate) struct Dataset<'a> {
    file: &'a File<'a>,
    /// Where it is.
    pub(crate) place: Place,
    path: String,
    /// The length of each dimension.
    pub(crate) shape: Vec<usize>,
    /// The type of its elements.
    pub(crate) kind: Kind,
    layout: Layout<'a>,
    filters: Vec<Filter>,
    heaps: Heaps<'a>,
}

impl<'a> Dataset<'a> {
    /// The dataset of so many dimensions that an object is.
    /// # Errors
    /// [`Fault::Malformed`], [`Fault::Unsupported`] or [`Fault::Limit`] where it is none that is read.
    pub(crate) fn of(object: Object<'a>, dimensions: usize) -> Result<Dataset<'a>> {
        let place = object.place.clone();
        let missing = || Error::malformed(place.clone(), "is no dataset");
        let mut space = object.message(message::DATASPACE).ok_or_else(missing)?;
        let mut kind = object.message(message::DATATYPE).ok_or_else(missing)?;
        let mut layout = object.message(message::LAYOUT).ok_or_else(missing)?;
        if object.message(message::EXTERNAL_FILES).is_some() {
            return Err(Error::new(Fault::Unsupported, "its data lie in another file")
                .at(place)
                .remedy("write the data into the file itself, for example with h5repack"));
        }
        let (space, kind) = (Space::read(&mut space)?, Kind::read(&mut kind)?);
        let Space::Simple(lengths) = &space else {
            return Err(Error::malformed(
                place,
                format!("is one element or none, expected {dimensions} dimensions"),
            ));
        };
        if lengths.len() != dimensions {
            let what = format!("has {} dimensions, expected {dimensions}", lengths.len());
            return Err(Error::malformed(place, what));
        }
        let bytes = space.count().and_then(|count| count.checked_mul(kind.bytes() as u64));
        let shape =
            lengths.iter().map(|length| usize::try_from(*length).ok()).collect::<Option<Vec<usize>>>();
        let (Some(bytes), Some(shape)) = (bytes, shape) else {
            let what = format!("{lengths:?} elements of {} bytes", kind.bytes());
            return Err(Error::new(Fault::Limit, what).at(place));
        };
        let layout = Layout::read(&object, &mut layout, lengths, kind.bytes())?;
        let filters = match object.message(message::FILTERS) {
            Some(mut body) => filters::read(&mut body, &place)?,
            None => Vec::new(),
        };
        check_stored(&layout, &filters, lengths, bytes, object.file.length(), &place)?;
        let (file, path) = (object.file, object.path);
        Ok(Dataset { file, place, path, shape, kind, layout, filters, heaps: Heaps::default() })
    }

    /// All data, in order.
    /// # Errors
    /// [`Fault::Malformed`] where a chunk is damaged.
    pub(crate) fn values(&self) -> Result<Values<'_, 'a>> {
        let bytes = match &self.layout {
            Layout::Whole(bytes) => bytes.to_vec(),
            Layout::Nothing => Vec::new(),
            Layout::Chunked { shape, chunks } => self.assembled(shape, chunks)?,
        };
        Ok(Values {
            file: self.file,
            place: &self.place,
            kind: &self.kind,
            bytes: bytes.into(),
            heaps: &self.heaps,
        })
    }

    fn assembled(&self, chunk: &[u64], chunks: &[Chunk]) -> Result<Vec<u8>> {
        let element = self.kind.bytes();
        let total: usize = self.shape.iter().product::<usize>() * element;
        let chunk: Vec<usize> =
            chunk.iter().map(|length| usize::try_from(*length).unwrap_or(usize::MAX)).collect();
        let chunk_bytes: usize = chunk.iter().product::<usize>() * element;
        let mut all = vec![0; total];
        for stored in chunks {
            let bytes = self.file.cursor(stored.address, stored.length, &self.path, "a chunk")?.rest();
            let bytes = filters::undo(bytes, &self.filters, stored.mask, element, chunk_bytes, &self.place)?;
            let offset: Vec<usize> =
                stored.offset.iter().map(|at| usize::try_from(*at).unwrap_or(usize::MAX)).collect();
            self.place_chunk(&mut all, &bytes, &chunk, &offset, element);
        }
        Ok(all)
    }

    /// Copies a chunk into the whole, line by line along the last dimension; what stands beyond the edge is left out.
    fn place_chunk(&self, all: &mut [u8], bytes: &[u8], chunk: &[usize], offset: &[usize], element: usize) {
        let (last, length) = (chunk.len() - 1, chunk[chunk.len() - 1]);
        let taken = length.min(self.shape[last].saturating_sub(offset[last]));
        for (line, from) in bytes.chunks_exact(length * element).enumerate() {
            // the line's place in the dimensions before the last
            let (mut rest, mut at, mut stride, mut inside) = (line, offset[last], self.shape[last], true);
            for dimension in (0..last).rev() {
                let index = offset[dimension] + rest % chunk[dimension];
                rest /= chunk[dimension];
                inside &= index < self.shape[dimension];
                at += index.saturating_mul(stride);
                stride *= self.shape[dimension];
            }
            if inside && taken > 0 {
                all[at * element..(at + taken) * element].copy_from_slice(&from[..taken * element]);
            }
        }
    }
}

/// Whether so many bytes can come from what is stored: every chunk once, in its place, no more than can be inflated.
fn check_stored(
    layout: &Layout,
    filters: &[Filter],
    shape: &[u64],
    bytes: u64,
    file_length: u64,
    place: &Place,
) -> Result<()> {
    let malformed = |what: String| Err(Error::malformed(place.clone(), what));
    let stored = match layout {
        Layout::Nothing if bytes == 0 => return Ok(()),
        Layout::Nothing => {
            return malformed(format!("{bytes} bytes are said to be there, none were written"));
        }
        Layout::Whole(whole) if whole.len() as u64 == bytes => return Ok(()),
        Layout::Whole(whole) => {
            return malformed(format!("{bytes} bytes are said to be there, {} are stored", whole.len()));
        }
        Layout::Chunked { shape: chunk, chunks } => {
            let needed = shape.iter().zip(chunk).map(|(length, chunk)| length.div_ceil(*chunk));
            let needed = needed.fold(1u64, u64::saturating_mul);
            if chunks.len() as u64 != needed {
                return malformed(format!("{} of its {needed} chunks were written", chunks.len()));
            }
            let is_placed = |stored: &Chunk| {
                let each = stored.offset.iter().zip(shape).zip(chunk);
                each.into_iter().all(|((at, length), chunk)| at < length && at % chunk == 0)
            };
            let mut offsets: Vec<&[u64]> = chunks.iter().map(|chunk| chunk.offset.as_slice()).collect();
            offsets.sort_unstable();
            offsets.dedup();
            if offsets.len() != chunks.len() || !chunks.iter().all(is_placed) {
                return malformed("its chunks do not cover it".to_owned());
            }
            chunks.iter().fold(0u64, |sum, chunk| sum.saturating_add(chunk.length))
        }
    };
    let most =
        if filters.contains(&Filter::Deflate) { stored.saturating_mul(MOST_INFLATION) } else { stored };
    if bytes > most || stored > file_length {
        return malformed(format!("{bytes} bytes are said to be in {stored}, in a file of {file_length}"));
    }
    Ok(())
}

/// Elements, with what is needed to understand them.
pub(crate) struct Values<'v, 'a> {
    pub(super) file: &'a File<'a>,
    pub(super) place: &'v Place,
    pub(super) kind: &'v Kind,
    pub(super) bytes: std::borrow::Cow<'v, [u8]>,
    pub(super) heaps: &'v Heaps<'a>,
}

impl Values<'_, '_> {
    /// Each element as its bytes.
    pub(crate) fn elements(&self) -> impl Iterator<Item = &[u8]> {
        self.bytes.chunks_exact(self.kind.bytes())
    }

    /// The bytes of all elements.
    pub(crate) fn into_bytes(self) -> Vec<u8> {
        self.bytes.into_owned()
    }

    /// The text that an element of a kind is.
    /// # Errors
    /// [`Fault::Malformed`] where it is none.
    pub(crate) fn text(&self, kind: &Kind, element: &[u8]) -> Result<String> {
        let bytes = match kind {
            Kind::Text { padding: Padding::Terminated, .. } => {
                element.split(|byte| *byte == 0).next().unwrap_or_default()
            }
            Kind::Text { padding, .. } => {
                let pad = if *padding == Padding::Blanks { b' ' } else { 0 };
                let length = element.iter().rposition(|byte| *byte != pad).map_or(0, |last| last + 1);
                &element[..length]
            }
            Kind::VariableText => self.heaps.text(self.file, element, self.place)?,
            other => {
                return Err(Error::malformed(self.place.clone(), format!("is {}, not a text", other.name())));
            }
        };
        String::from_utf8(bytes.to_vec())
            .map_err(|_| Error::malformed(self.place.clone(), "holds a text that is not UTF-8"))
    }
}

/// A whole number; `None` where it is none or does not fit.
pub(crate) fn whole(kind: &Kind, element: &[u8]) -> Option<i64> {
    let Kind::Whole { signed, high_first, .. } = kind else { return None };
    let byte = |number: u64, byte: &u8| number << 8 | u64::from(*byte);
    let number = if *high_first { element.iter().fold(0, byte) } else { element.iter().rev().fold(0, byte) };
    if !signed {
        return i64::try_from(number).ok();
    }
    let unused = 64 - 8 * u32::try_from(element.len()).ok()?;
    Some((number << unused).cast_signed() >> unused)
}

/// A number as floating-point number; `None` where it is none.
#[expect(clippy::cast_precision_loss, reason = "the nearest number is what is asked for")]
pub(crate) fn floating(kind: &Kind, element: &[u8]) -> Option<f64> {
    let Kind::Floating { high_first, .. } = kind else {
        return whole(kind, element).map(|number| number as f64);
    };
    let mut bytes = element.to_vec();
    if *high_first {
        bytes.reverse();
    }
    match bytes.as_slice() {
        [a, b, c, d] => Some(f32::from_le_bytes([*a, *b, *c, *d]).into()),
        [a, b, c, d, e, f, g, h] => Some(f64::from_le_bytes([*a, *b, *c, *d, *e, *f, *g, *h])),
        _ => None,
    }
}
