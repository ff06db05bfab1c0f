//! What a group holds: symbol tables (III.A, III.B, III.D) and link messages (IV.A.2.g).

use std::collections::BTreeMap;

use ecgkeep_format::{Cursor, Error, Place, Result};

use super::header::{Object, message};
use super::{File, UNDEFINED, expect_signature, number_of, u64_of, unsupported};

const TREE_CLAUSE: &str = "HDF5 File Format Specification 3.0, III.A.1";
const TABLE_CLAUSE: &str = "HDF5 File Format Specification 3.0, III.B";
const HEAP_CLAUSE: &str = "HDF5 File Format Specification 3.0, III.D";

/// Links of one group, such as the recordings of a file.
const MOST_LINKS: usize = 1_000_000;
/// Bytes of a symbol table entry.
const ENTRY_BYTES: usize = 40;

/// Where an item of a group is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Link {
    /// In this file: the address of its header.
    Here(u64),
    /// Somewhere else, under a path or in another file.
    Elsewhere,
}

impl<'a> Object<'a> {
    /// The items of a group by name.
    /// # Errors
    /// [`ecgkeep_format::Kind::Malformed`] where it is no group, [`ecgkeep_format::Kind::Unsupported`] where its items are
    /// stored in a form that is not read.
    pub(crate) fn links(&self) -> Result<BTreeMap<String, Link>> {
        let mut links = BTreeMap::new();
        if let Some(mut table) = self.message(message::SYMBOL_TABLE) {
            let (tree, heap) = (u64_of(&mut table)?, u64_of(&mut table)?);
            Table {
                file: self.file,
                path: &self.path,
                names: names(self.file, heap, &self.path)?,
                links: &mut links,
            }
            .read_tree(tree, None)?;
            return Ok(links);
        }
        let Some(mut info) = self.message(message::LINK_INFO) else {
            return Err(Error::malformed(self.place.clone(), "is no group"));
        };
        let flags = info.take(2)?[1];
        info.take(if flags & 1 == 0 { 0 } else { 8 })?;
        if u64_of(&mut info)? != UNDEFINED {
            return Err(unsupported(self.place.clone(), "its items are in dense storage, which is not read"));
        }
        for message in self.messages.iter().filter(|message| message.kind == message::LINK) {
            let (name, link) = read_link(&mut message.body.clone())?;
            add(&mut links, name, link, &self.place)?;
        }
        Ok(links)
    }

    /// The item at a link.
    pub(crate) fn follow(&self, name: &str, link: Link) -> Result<Object<'a>> {
        let path = if self.path.is_empty() { name.to_owned() } else { format!("{}/{name}", self.path) };
        match link {
            Link::Here(address) => Object::at(self.file, address, &path),
            Link::Elsewhere => Err(Error::new(
                ecgkeep_format::Kind::Unsupported,
                "is a link to something that lies elsewhere",
            )
            .at(self.file.place(&path))
            .remedy("put the item itself in its place")),
        }
    }
}

fn add(links: &mut BTreeMap<String, Link>, name: String, link: Link, place: &Place) -> Result<()> {
    if links.len() >= MOST_LINKS {
        return Err(Error::new(ecgkeep_format::Kind::Limit, format!("more than {MOST_LINKS} items"))
            .at(place.clone()));
    }
    match links.insert(name, link) {
        None => Ok(()),
        Some(_) => Err(Error::malformed(place.clone(), "has two items of one name")),
    }
}

fn read_link(body: &mut Cursor) -> Result<(String, Link)> {
    let place = body.place();
    let version = body.u8()?;
    if version != 1 {
        return Err(body.malformed("the version of a link", version, "1"));
    }
    let flags = body.u8()?;
    let class = if flags & 0x08 == 0 { 0 } else { body.u8()? };
    body.take(if flags & 0x04 == 0 { 0 } else { 8 })?;
    body.take(if flags & 0x10 == 0 { 0 } else { 1 })?;
    let length = number_of(body, 1 << (flags & 3))?;
    let name = body.take(usize::try_from(length).unwrap_or(usize::MAX))?.to_vec();
    let name = String::from_utf8(name).map_err(|_| Error::malformed(place, "a name that is not UTF-8"))?;
    let link = if class == 0 { Link::Here(u64_of(body)?) } else { Link::Elsewhere };
    Ok((name, link))
}

/// The names of a group that has a symbol table.
fn names<'a>(file: &File<'a>, heap: u64, path: &str) -> Result<&'a [u8]> {
    let mut cursor = file.cursor(heap, 32, path, HEAP_CLAUSE)?;
    expect_signature(&mut cursor, b"HEAP", "heap of names")?;
    cursor.take(4)?;
    let length = u64_of(&mut cursor)?;
    cursor.take(8)?;
    Ok(file.cursor(u64_of(&mut cursor)?, length, path, HEAP_CLAUSE)?.rest())
}

/// A symbol table while it is read.
struct Table<'a, 'l> {
    file: &'a File<'a>,
    path: &'a str,
    names: &'a [u8],
    links: &'l mut BTreeMap<String, Link>,
}

impl Table<'_, '_> {
    /// Reads a node of the tree; its level is below that of its parent, so the tree ends.
    fn read_tree(&mut self, address: u64, below: Option<u8>) -> Result<()> {
        let mut node = self.file.cursor_from(address, self.path, TREE_CLAUSE)?;
        expect_signature(&mut node, b"TREE", "node of a tree")?;
        let (class, level, count) = (node.u8()?, node.u8()?, node.u16()?);
        if class != 0 || below.is_some_and(|below| level.checked_add(1) != Some(below)) {
            return Err(Error::malformed(node.place(), format!("a node of class {class} and level {level}")));
        }
        node.take(16)?;
        for _ in 0..count {
            node.take(8)?;
            let child = u64_of(&mut node)?;
            if level == 0 { self.read_entries(child)? } else { self.read_tree(child, Some(level))? }
        }
        Ok(())
    }

    fn read_entries(&mut self, address: u64) -> Result<()> {
        let mut node = self.file.cursor_from(address, self.path, TABLE_CLAUSE)?;
        expect_signature(&mut node, b"SNOD", "node of a symbol table")?;
        node.take(2)?;
        let count = node.u16()?;
        for _ in 0..count {
            let mut entry = node.part(ENTRY_BYTES)?;
            let (name, header, class) = (u64_of(&mut entry)?, u64_of(&mut entry)?, entry.u32()?);
            let name = self.name(name, &entry.place())?;
            let link = if class == 2 { Link::Elsewhere } else { Link::Here(header) };
            add(self.links, name, link, &self.file.place(self.path))?;
        }
        Ok(())
    }

    fn name(&self, offset: u64, place: &Place) -> Result<String> {
        let bytes = usize::try_from(offset).ok().and_then(|offset| self.names.get(offset..));
        let name = bytes.and_then(|bytes| bytes.split(|byte| *byte == 0).next());
        let name = name.and_then(|name| String::from_utf8(name.to_vec()).ok());
        name.ok_or_else(|| Error::malformed(place.clone(), "an item without a name"))
    }
}
