//! ZIPs and bags of others, as input only: named members under caps, never extracted.
//!
//! Where [`Bundle`](crate::Bundle) reads one grammar, this reads what the ZIP format allows (prefixes, comments,
//! extra fields, descriptors, ZIP64), and refuses only what two readers could see differently: a name that stands
//! there twice, local headers that say otherwise than the directory or are not in it, members that overlap.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Cursor, Read as _};
use std::sync::Arc;

use zip::result::ZipError;
use zip::{CompressionMethod, ZipArchive};

use ecgkeep_format::{Error, Kind, Place, Result, Source, plain_name};

use crate::Fault;
use crate::bag::{self, Files};
use crate::constants::{
    CHUNK_BYTES, MAX_FOREIGN_MEMBERS, MAX_FOREIGN_TOTAL_BYTES, MAX_RATIO, RATIO_FREE_BYTES, UNIX_REGULAR,
    UNIX_TYPE,
};

/// A ZIP that need not be ours.
#[derive(Clone)]
pub struct Archive {
    file: String,
    zip: ZipArchive<Cursor<Arc<[u8]>>>,
    /// Name and index of every regular file.
    members: BTreeMap<String, usize>,
    directories: BTreeSet<String>,
}

impl std::fmt::Debug for Archive {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Archive").field("file", &self.file).finish_non_exhaustive()
    }
}

impl Archive {
    /// The ZIP in these bytes; `file` names it in errors. Nothing is inflated.
    ///
    /// Links and devices are not among the members. Names are as the ZIP has them, `../x` too: they are looked
    /// up, never written to.
    /// # Errors
    /// [`Kind::Malformed`] for what is no ZIP or can be read in two ways, [`Kind::Unsupported`] for a ZIP in
    /// several files, [`Kind::Limit`] for more than 65,535 members or 4 GiB in all.
    pub fn open(file: &str, bytes: Arc<[u8]>) -> Result<Archive> {
        let failed = |error| zip_error(error).at(Place::file(file));
        let limit = |what: String| Error::new(Kind::Limit, what).at(Place::file(file));
        let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(failed)?;
        if zip.len() > MAX_FOREIGN_MEMBERS {
            return Err(limit(format!("{} members, the limit is {MAX_FOREIGN_MEMBERS}", zip.len())));
        }
        zip.validate_header_consistency().map_err(failed)?;
        let (mut members, mut directories) = (BTreeMap::new(), BTreeSet::new());
        let mut total = 0_u64;
        for index in 0..zip.len() {
            let entry = zip.by_index_data(index).map_err(failed)?;
            let name = entry.name().map_err(failed)?.into_owned();
            total = total.saturating_add(entry.size());
            let kind = entry.unix_mode().map_or(0, |mode| mode & UNIX_TYPE);
            if entry.is_dir() {
                directories.insert(name);
            } else if (kind == 0 || kind == UNIX_REGULAR) && members.insert(name.clone(), index).is_some() {
                let what = format!("two members have the name {name:?}");
                return Err(Error::malformed(Place::file(file), what).remedy(AMBIGUOUS));
            }
        }
        if total > MAX_FOREIGN_TOTAL_BYTES {
            return Err(limit(format!(
                "{total} bytes once unpacked, the limit is {MAX_FOREIGN_TOTAL_BYTES}"
            )));
        }
        Ok(Archive { file: file.to_owned(), zip, members, directories })
    }

    /// The names of all regular files, sorted.
    pub fn members(&self) -> impl Iterator<Item = &str> {
        self.members.keys().map(String::as_str)
    }

    /// The bytes of one member. An archive inside it is not opened.
    /// # Errors
    /// [`Kind::Io`] where there is no such member, [`Kind::Limit`] for more than `limit` bytes, or more than 16 MiB
    /// that were packed tighter than 200:1, [`Kind::Altered`] where a stream is broken or its size or CRC-32 does not
    /// match, [`Kind::Unsupported`] for encryption and compression methods other than stored and deflated.
    pub fn member(&self, name: &str, limit: u64) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.pour(name, limit, &mut |piece| {
            bytes.extend_from_slice(piece);
            Ok(())
        })?;
        Ok(bytes)
    }

    /// A member as the main file of a source, with the members of the same folder beside it.
    ///
    /// Members whose name no [`Source`] may have are left out.
    /// # Errors
    /// [`Kind::Io`] where there is no such member, [`Kind::Malformed`] where its name is not plain.
    pub fn beside(&self, member: &str) -> Result<ForeignSource<'_>> {
        self.index(member)?;
        let cut = member.rfind('/').map_or(0, |slash| slash + 1);
        let (folder, main) = member.split_at(cut);
        plain_name(main)?;
        Ok(ForeignSource { archive: self, folder: folder.to_owned(), main: main.to_owned() })
    }

    /// The faults of the bag that this ZIP is: `bagit.txt` at its top or in its one top directory. `None` where
    /// there is no bag.
    ///
    /// [`bag::check`] says what is checked; a bag of another version or profile is fine.
    #[must_use]
    pub fn bag_faults(&self) -> Option<Vec<Fault>> {
        let is_top = self.members.contains_key(bag::DECLARATION);
        let first =
            self.members().next().and_then(|name| name.split_once('/')).map(|(top, _)| format!("{top}/"));
        let base = match first {
            _ if is_top => String::new(),
            Some(base) if self.members.contains_key(&format!("{base}{}", bag::DECLARATION)) => base,
            _ => return None,
        };
        let is_within = self.members().all(|name| name.starts_with(&base));
        is_within.then(|| bag::check(&ForeignBag { archive: self, base }))
    }

    fn index(&self, name: &str) -> Result<usize> {
        self.members.get(name).copied().ok_or_else(|| {
            Error::new(Kind::Io, "no such member of the ZIP").at(Place::file(&self.file).part(name))
        })
    }

    fn pour(&self, name: &str, limit: u64, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        let at = |error: Error| error.at(Place::file(&self.file).part(name));
        let index = self.index(name)?;
        let entry = self.zip.by_index_data(index).map_err(|error| at(zip_error(error)))?;
        let hindrance = match entry.compression() {
            _ if entry.encrypted() => Some("encrypted".to_owned()),
            CompressionMethod::Stored | CompressionMethod::Deflated => None,
            other => Some(format!("packed by the method {other}")),
        };
        if let Some(how) = hindrance {
            let what = format!("{how}; only plain stored and deflated members are read");
            let error = Error::new(Kind::Unsupported, what);
            return Err(at(error.remedy("unpack it with the program that made it")));
        }
        // A clone shares bytes and directory: members can be read at the same time.
        let mut zip = self.zip.clone();
        let mut member = zip.by_index(index).map_err(|error| at(zip_error(error)))?;
        let (packed, size) = (member.compressed_size(), member.size());
        let mut piece = vec![0; CHUNK_BYTES];
        let mut produced = 0_u64;
        loop {
            let count = member.read(&mut piece).map_err(|error| {
                at(Error::new(Kind::Altered, format!("cannot be unpacked after {produced} bytes"))
                    .because(error))
            })?;
            if count == 0 {
                break;
            }
            produced += count as u64;
            if produced > limit {
                return Err(at(Error::new(Kind::Limit, format!("longer than the limit of {limit} bytes"))));
            }
            if produced > RATIO_FREE_BYTES && produced > packed.saturating_mul(MAX_RATIO) {
                let what =
                    format!("{packed} bytes unpack to {produced} and more, the limit is {MAX_RATIO} to 1");
                return Err(at(Error::new(Kind::Limit, what)));
            }
            if produced > size {
                return Err(at(Error::new(Kind::Altered, format!("unpacks to more than {size} bytes"))));
            }
            into(&piece[..count])?;
        }
        if produced != size {
            let what = format!("unpacks to {produced} bytes, the headers say {size}");
            return Err(at(Error::new(Kind::Altered, what)));
        }
        Ok(())
    }
}

/// What to do about a ZIP that two readers can see differently.
const AMBIGUOUS: &str = "two readers could see different files in it; ask its sender for a plain ZIP";

/// An error of the ZIP reader as ours.
fn zip_error(error: ZipError) -> Error {
    match error {
        ZipError::Io(error) => Error::new(Kind::Truncated, "the ZIP ends too early").because(error),
        ZipError::UnsupportedArchive(what) => {
            Error::new(Kind::Unsupported, format!("a ZIP that is not read: {what}"))
        }
        ZipError::CompressionMethodNotSupported(method) => {
            Error::new(Kind::Unsupported, format!("compression method {method} is not read"))
        }
        other => Error::new(Kind::Malformed, "not a ZIP that can be read in one way only")
            .because(other)
            .remedy(AMBIGUOUS),
    }
}

/// One folder of a foreign ZIP.
#[derive(Clone, Debug)]
pub struct ForeignSource<'a> {
    archive: &'a Archive,
    /// With a slash at its end, or empty.
    folder: String,
    main: String,
}

impl Source for ForeignSource<'_> {
    fn main(&self) -> &str {
        &self.main
    }

    fn names(&self) -> Result<Vec<String>> {
        self.names_beginning("")
    }

    fn names_beginning(&self, prefix: &str) -> Result<Vec<String>> {
        let prefix = format!("{}{prefix}", self.folder);
        let members = self.archive.members.range(prefix.clone()..).map(|(name, _)| name);
        let beside =
            members.take_while(|name| name.starts_with(&prefix)).map(|name| &name[self.folder.len()..]);
        Ok(beside.filter(|name| plain_name(name).is_ok()).map(str::to_owned).collect())
    }

    fn bytes(&self, name: &str, limit: u64) -> Result<Arc<[u8]>> {
        let name = plain_name(name)?;
        Ok(self.archive.member(&format!("{}{name}", self.folder), limit)?.into())
    }
}

/// A foreign ZIP as the files of a bag.
struct ForeignBag<'a> {
    archive: &'a Archive,
    /// The base directory with a slash at its end, or empty.
    base: String,
}

impl Files for ForeignBag<'_> {
    fn names(&self) -> Vec<String> {
        self.archive.members().filter_map(|name| name.strip_prefix(&self.base)).map(str::to_owned).collect()
    }

    fn pour(&self, name: &str, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        self.archive.pour(&format!("{}{name}", self.base), MAX_FOREIGN_TOTAL_BYTES, into)
    }

    fn has_payload_directory(&self) -> bool {
        let data = format!("{}{}", self.base, bag::PAYLOAD);
        let first = || self.archive.members.range(data.clone()..).next();
        self.archive.directories.contains(&data) || first().is_some_and(|(name, _)| name.starts_with(&data))
    }
}
