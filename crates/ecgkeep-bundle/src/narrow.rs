//! The narrow ZIP grammar: members one after another from the first byte, their directory, the end record.

mod header;
mod read;
mod write;

use std::ops::Range;

pub(crate) use header::{Header, Packing};
pub(crate) use read::entries;
pub(crate) use write::Writer;

/// One member of a ZIP that keeps to the grammar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Entry {
    /// What both headers say.
    pub(crate) header: Header,
    /// Where its packed bytes lie in the ZIP.
    pub(crate) packed: Range<usize>,
}
