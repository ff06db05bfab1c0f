//! BagIt 1.0 completeness and validity (RFC 8493), and the older drafts 0.93 to 0.97, over named bytes.
//!
//! The bag may be a ZIP, a folder, anything that answers [`Files`]. Tag files in UTF-8, US-ASCII, ISO-8859-1 and
//! UTF-16 are read; another encoding is answered by [`FaultKind::Unchecked`]. Nothing is fetched: a file that
//! `fetch.txt` lists and that is not there is missing.

mod complete;
mod declaration;
mod digest;
mod fetch;
mod info;
mod manifest;
mod path;
mod text;

use std::collections::BTreeMap;

use ecgkeep_format::{Error, Kind, Result};

use crate::constants::MAX_TAG_BYTES;
use crate::{Fault, FaultKind};

pub(crate) use declaration::{Declaration, Version, write as write_declaration};
pub(crate) use digest::Algorithm;
pub(crate) use info::{BAGGING_DATE, OXUM, is_date, read as read_info, values, write as write_info};
pub(crate) use manifest::{Manifest, name as manifest_name, write as write_manifest};
pub(crate) use text::Encoding;

/// The files of one bag.
pub trait Files {
    /// Paths relative to the base directory, `/` between components; files only, in any order.
    fn names(&self) -> Vec<String>;

    /// Pours the bytes of one file into `into`, piece by piece.
    /// # Errors
    /// [`Kind::Altered`] where the bytes cannot be had as they were packed, [`Kind::Io`], and what `into` answers.
    fn pour(&self, name: &str, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()>;

    /// Whether there is a directory `data`. A store that keeps no empty directories need not answer.
    fn has_payload_directory(&self) -> bool {
        self.names().iter().any(|name| name.starts_with(PAYLOAD))
    }
}

/// What a payload path begins with (RFC 8493, 2.1.2).
pub(crate) const PAYLOAD: &str = "data/";
/// The bag declaration (RFC 8493, 2.1.1).
pub(crate) const DECLARATION: &str = "bagit.txt";
/// The bag's metadata (RFC 8493, 2.2.2).
pub(crate) const INFO: &str = "bag-info.txt";
/// The metadata of drafts before 0.96.
const OLD_INFO: &str = "package-info.txt";
/// Files to be fetched (RFC 8493, 2.2.3).
pub(crate) const FETCH: &str = "fetch.txt";

/// A bag as read: its tag files, and every fault found on the way.
pub(crate) struct Bag {
    pub(crate) declaration: Declaration,
    pub(crate) info: Vec<(String, String)>,
    pub(crate) manifests: Vec<Manifest>,
    pub(crate) tag_manifests: Vec<Manifest>,
    /// The paths that `fetch.txt` lists; `None` without one.
    pub(crate) fetch: Option<Vec<String>>,
    /// All files, sorted.
    pub(crate) names: Vec<String>,
    pub(crate) faults: Vec<Fault>,
}

/// Every fault of a bag, sorted by member; empty when it is complete and valid and holds no hazard.
///
/// The bag is valid (RFC 8493, section 3) when no fault but [`FaultKind::Hazard`] is among them. Every file is
/// read once.
#[must_use]
pub fn check(files: &dyn Files) -> Vec<Fault> {
    let mut faults = examine(files).faults;
    faults.sort();
    faults
}

/// Reads the tag files, then every file once for completeness and digests.
pub(crate) fn examine(files: &dyn Files) -> Bag {
    let (mut bag, tag_files) = read_tag_files(files);
    complete::check(files, &tag_files, &mut bag);
    bag
}

/// The declaration, the metadata, the manifests and `fetch.txt`; the bytes of those that were read.
fn read_tag_files(files: &dyn Files) -> (Bag, BTreeMap<String, Vec<u8>>) {
    let mut tag_files = TagFiles { files, bytes: BTreeMap::new(), faults: Vec::new() };
    let mut names = files.names();
    names.sort();
    let has = |name: &str| names.binary_search_by(|own| own.as_str().cmp(name)).is_ok();

    let mut declaration = Declaration::default();
    if has(DECLARATION) {
        if let Some(bytes) = tag_files.bytes(DECLARATION) {
            let (read, faults) = declaration::read(&bytes);
            declaration = read;
            tag_files.faults.extend(faults);
            tag_files.bytes.insert(DECLARATION.to_owned(), bytes);
        }
    } else {
        tag_files.faults.push(Fault::of(DECLARATION, FaultKind::Missing, "no such file", "RFC 8493, 2.1.1"));
    }
    let mut info = Vec::new();
    let info_name = if declaration.version < Version::V0_96 { OLD_INFO } else { INFO };
    if has(info_name) {
        let text = tag_files.text(info_name, &declaration);
        info = info::read(info_name, &text, declaration.version, &mut tag_files.faults);
    }
    let (mut manifests, mut tag_manifests) = (Vec::new(), Vec::new());
    for name in names.iter().filter(|name| manifest::is_manifest_name(name)) {
        let text = tag_files.text(name, &declaration);
        match manifest::read(name, &text, declaration.version, &mut tag_files.faults) {
            Some(manifest) if manifest.is_for_tags => tag_manifests.push(manifest),
            Some(manifest) => manifests.push(manifest),
            None => {}
        }
    }
    let fetch = has(FETCH).then(|| {
        let text = tag_files.text(FETCH, &declaration);
        fetch::read(&text, &mut tag_files.faults)
    });
    let TagFiles { bytes, faults, .. } = tag_files;
    (Bag { declaration, info, manifests, tag_manifests, fetch, names, faults }, bytes)
}

struct TagFiles<'a> {
    files: &'a dyn Files,
    bytes: BTreeMap<String, Vec<u8>>,
    faults: Vec<Fault>,
}

impl TagFiles<'_> {
    /// The text of a tag file, empty where it cannot be had; its bytes are kept for the digests.
    fn text(&mut self, name: &str, declaration: &Declaration) -> String {
        let Some(bytes) = self.bytes(name) else { return String::new() };
        let text = declaration.encoding.map_or(Ok(String::new()), |encoding| encoding.decode(&bytes));
        self.bytes.insert(name.to_owned(), bytes);
        text.unwrap_or_else(|what| {
            self.faults.push(Fault::of(name, FaultKind::Malformed, what, "RFC 8493, 2.3"));
            String::new()
        })
    }

    /// The bytes of a tag file; `None` where they cannot be had.
    fn bytes(&mut self, name: &str) -> Option<Vec<u8>> {
        match whole(self.files, name) {
            Ok(bytes) => Some(bytes),
            Err(error) => {
                // The digests are taken from every file later: that pass names what cannot be read.
                if error.kind() == Kind::Limit {
                    self.faults.push(Fault::of(name, FaultKind::Unchecked, error.what(), "RFC 8493, 2.3"));
                }
                None
            }
        }
    }
}

/// One file whole, up to the limit for tag files.
pub(crate) fn whole(files: &dyn Files, name: &str) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    files.pour(name, &mut |piece| {
        if bytes.len() + piece.len() > MAX_TAG_BYTES {
            return Err(Error::new(Kind::Limit, format!("a tag file of more than {MAX_TAG_BYTES} bytes")));
        }
        bytes.extend_from_slice(piece);
        Ok(())
    })?;
    Ok(bytes)
}
