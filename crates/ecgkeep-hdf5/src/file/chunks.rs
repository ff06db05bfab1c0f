//! Where the chunks of a dataset stand: layout messages (IV.A.2.i) and trees of chunks (III.A.1).

use ecgkeep_format::{Cursor, Error, Kind as Fault, Result};

use super::header::Object;
use super::{File, UNDEFINED, expect_signature, number_of, u64_of, unsupported};

const TREE_CLAUSE: &str = "HDF5 File Format Specification 3.0, III.A.1";

/// Bytes of one chunk, which is in memory whole. The writers of this layout stay below 1 MiB.
const MOST_CHUNK_BYTES: u64 = 64 << 20;

/// How the data of a dataset are stored.
pub(super) enum Layout<'a> {
    /// All of them, here.
    Whole(&'a [u8]),
    /// None were ever written.
    Nothing,
    /// In blocks.
    Chunked {
        /// The shape of a chunk.
        shape: Vec<u64>,
        /// The chunks.
        chunks: Vec<Chunk>,
    },
}

/// A stored chunk.
#[derive(Clone, Debug)]
pub(super) struct Chunk {
    /// The place of its first element in the dataset.
    pub(super) offset: Vec<u64>,
    /// The filters that were left out, one bit each.
    pub(super) mask: u32,
    /// Where it stands, as it is stored.
    pub(super) address: u64,
    /// Its length, as it is stored.
    pub(super) length: u64,
}

impl<'a> Layout<'a> {
    /// Reads a layout message of a dataset of this shape.
    pub(super) fn read(
        object: &Object<'a>,
        body: &mut Cursor<'a>,
        shape: &[u64],
        element: usize,
    ) -> Result<Layout<'a>> {
        let place = &object.place;
        let (version, class) = (body.u8()?, body.u8()?);
        if !matches!(version, 3..=5) {
            return Err(unsupported(place.clone(), format!("version {version} of a data layout")));
        }
        match class {
            0 => {
                let length = usize::from(body.u16()?);
                Ok(Layout::Whole(body.take(length)?))
            }
            1 => {
                let (address, length) = (u64_of(body)?, u64_of(body)?);
                if address == UNDEFINED {
                    return Ok(Layout::Nothing);
                }
                let clause = "HDF5 File Format Specification 3.0, IV.A.2.i";
                Ok(Layout::Whole(object.file.cursor(address, length, &object.path, clause)?.rest()))
            }
            2 => read_chunked(object, body, version, shape, element),
            3 => Err(Error::new(Fault::Unsupported, "its data lie in other datasets")
                .at(place.clone())
                .remedy("write the data into the dataset itself, for example with h5repack")),
            other => Err(body.malformed("the class of a data layout", other, "0 to 3")),
        }
    }
}

fn read_chunked<'a>(
    object: &Object<'a>,
    body: &mut Cursor<'a>,
    version: u8,
    shape: &[u64],
    element: usize,
) -> Result<Layout<'a>> {
    let flags = if version == 3 { 0 } else { body.u8()? };
    let dimensions = usize::from(body.u8()?);
    let tree = if version == 3 { u64_of(body)? } else { UNDEFINED };
    let length_bytes = if version == 3 { 4 } else { usize::from(body.u8()?) };
    if dimensions != shape.len() + 1 || !(1..=8).contains(&length_bytes) {
        let what = format!("chunks of {dimensions} dimensions for {} and one for the element", shape.len());
        return Err(Error::malformed(object.place.clone(), what));
    }
    let mut chunk = (0..dimensions).map(|_| number_of(body, length_bytes)).collect::<Result<Vec<u64>>>()?;
    let bytes = chunk.iter().try_fold(1u64, |bytes, length| bytes.checked_mul(*length));
    let bytes = bytes.filter(|bytes| (1..=MOST_CHUNK_BYTES).contains(bytes)).ok_or_else(|| {
        let what =
            format!("chunks of {chunk:?} elements and bytes; a chunk has 1 to {MOST_CHUNK_BYTES} bytes");
        Error::new(Fault::Limit, what).at(object.place.clone())
    })?;
    if chunk.pop() != Some(element as u64) {
        return Err(Error::malformed(
            object.place.clone(),
            format!("chunks of other elements than {element} bytes"),
        ));
    }
    let mut chunks = Vec::new();
    if version == 3 {
        if tree != UNDEFINED {
            let mut reading = Tree { file: object.file, path: &object.path, dimensions, chunks: &mut chunks };
            reading.read(tree, None)?;
        }
        return Ok(Layout::Chunked { shape: chunk, chunks });
    }
    match body.u8()? {
        1 => {
            let (length, mask) = if flags & 2 == 0 { (bytes, 0) } else { (u64_of(body)?, body.u32()?) };
            let address = u64_of(body)?;
            if address != UNDEFINED {
                chunks.push(Chunk { offset: vec![0; shape.len()], mask, address, length });
            }
            Ok(Layout::Chunked { shape: chunk, chunks })
        }
        other => {
            let names = ["implicit", "fixed array", "extensible array", "version 2 tree"];
            let name = names.get(usize::from(other).wrapping_sub(2)).unwrap_or(&"unknown");
            Err(unsupported(
                object.place.clone(),
                format!("its chunks are found by an index that is not read: {name}"),
            ))
        }
    }
}

/// A tree of chunks while it is read.
struct Tree<'a, 'c> {
    file: &'a File<'a>,
    path: &'c str,
    /// Dimensions of the dataset and one for the element.
    dimensions: usize,
    chunks: &'c mut Vec<Chunk>,
}

impl Tree<'_, '_> {
    /// Reads a node; its level is below that of its parent, so the tree ends.
    fn read(&mut self, address: u64, below: Option<u8>) -> Result<()> {
        let mut node = self.file.cursor_from(address, self.path, TREE_CLAUSE)?;
        expect_signature(&mut node, b"TREE", "node of a tree")?;
        let (class, level, count) = (node.u8()?, node.u8()?, node.u16()?);
        if class != 1 || below.is_some_and(|below| level.checked_add(1) != Some(below)) {
            return Err(Error::malformed(node.place(), format!("a node of class {class} and level {level}")));
        }
        node.take(16)?;
        for _ in 0..count {
            let (length, mask) = (node.u32()?, node.u32()?);
            let mut offset = (0..self.dimensions).map(|_| u64_of(&mut node)).collect::<Result<Vec<u64>>>()?;
            offset.pop();
            let child = u64_of(&mut node)?;
            if level > 0 {
                self.read(child, Some(level))?;
                continue;
            }
            // no file holds more chunks than bytes
            if self.chunks.len() as u64 >= self.file.length() {
                return Err(Error::malformed(node.place(), "more chunks than the file has bytes"));
            }
            self.chunks.push(Chunk { offset, mask, address: child, length: length.into() });
        }
        Ok(())
    }
}
