//! Texts of variable length, in global heaps: III.E.

use std::cell::RefCell;
use std::collections::BTreeMap;

use ecgkeep_format::{Cursor, Error, Place, Result};

use super::{File, expect_signature, u64_of};

const CLAUSE: &str = "HDF5 File Format Specification 3.0, III.E";

/// Where the items of a global heap stand: number, bytes.
type Items<'a> = BTreeMap<u16, &'a [u8]>;

/// The global heaps that were looked into.
#[derive(Default)]
pub(super) struct Heaps<'a>(RefCell<BTreeMap<u64, Items<'a>>>);

impl<'a> Heaps<'a> {
    /// The bytes to which 16 bytes point: length, address of the heap, number in it.
    pub(super) fn text(&self, file: &File<'a>, pointer: &[u8], place: &Place) -> Result<&'a [u8]> {
        let mut cursor = Cursor::new("", pointer);
        let (length, address, number) = (cursor.u32()?, u64_of(&mut cursor)?, cursor.u32()?);
        if length == 0 {
            return Ok(&[]);
        }
        let mut heaps = self.0.borrow_mut();
        let items = match heaps.entry(address) {
            std::collections::btree_map::Entry::Occupied(known) => known.into_mut(),
            std::collections::btree_map::Entry::Vacant(new) => new.insert(read(file, address, place)?),
        };
        let length = usize::try_from(length).unwrap_or(usize::MAX);
        let item = u16::try_from(number).ok().and_then(|number| items.get(&number));
        item.and_then(|item| item.get(..length)).ok_or_else(|| {
            let what = format!("points to {length} bytes of item {number} of a heap that has no such item");
            Error::malformed(place.clone(), what).clause(CLAUSE)
        })
    }
}

fn read<'a>(file: &File<'a>, address: u64, place: &Place) -> Result<Items<'a>> {
    let path = place.part.clone().unwrap_or_default();
    let mut head = file.cursor(address, 16, &path, CLAUSE)?;
    expect_signature(&mut head, b"GCOL", "global heap")?;
    head.take(4)?;
    let mut heap = file.cursor(address, u64_of(&mut head)?, &path, CLAUSE)?;
    heap.take(16)?;
    let mut items = Items::new();
    while heap.left() >= 16 {
        let number = heap.u16()?;
        heap.take(6)?;
        let length = usize::try_from(u64_of(&mut heap)?).unwrap_or(usize::MAX);
        if number == 0 {
            break;
        }
        items.insert(number, heap.take(length)?);
        heap.take(length.next_multiple_of(8).saturating_sub(length).min(heap.left()))?;
    }
    Ok(items)
}
