//! Reading a bundle.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use ecgkeep_format::{Error, Kind, Place, Result, Source, plain_name};

use crate::bag::{self, Files};
use crate::narrow::{self, Entry};
use crate::{Fault, FaultKind, profile, stream};

/// One sealed recording: the members of a ZIP that keeps to the narrow grammar.
#[derive(Clone)]
pub struct Bundle {
    file: String,
    stem: String,
    bytes: Arc<[u8]>,
    entries: Vec<Entry>,
    /// The path inside the bag of each entry, sorted, and its index.
    by_name: BTreeMap<String, usize>,
}

impl std::fmt::Debug for Bundle {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Bundle").field("file", &self.file).field("stem", &self.stem).finish_non_exhaustive()
    }
}

impl Bundle {
    /// The bundle in these bytes; `file` names it in errors. Nothing is inflated, no digest is taken.
    /// # Errors
    /// [`Kind::Malformed`] and [`Kind::Truncated`] where the ZIP departs from the narrow grammar, [`Kind::Limit`]
    /// for more than 256 members, 256 MiB in one, 512 MiB in all, or 200:1 in one above 16 MiB; the place is the
    /// byte, and the member where it is known.
    pub fn open(file: &str, bytes: Arc<[u8]>) -> Result<Bundle> {
        let entries = narrow::entries(file, &bytes)?;
        let mut stem = String::new();
        let mut by_name = BTreeMap::new();
        for (index, entry) in entries.iter().enumerate() {
            let path = String::from_utf8_lossy(&entry.header.name);
            let (top, name) =
                path.split_once('/').expect("the grammar puts every member under a top directory");
            top.clone_into(&mut stem);
            by_name.insert(name.to_owned(), index);
        }
        Ok(Bundle { file: file.to_owned(), stem, bytes, entries, by_name })
    }

    /// The name of the one top directory. The file should have the same stem: who files bundles checks that.
    #[must_use]
    pub fn stem(&self) -> &str {
        &self.stem
    }

    /// The paths of all members inside the bag, sorted.
    pub fn members(&self) -> impl Iterator<Item = &str> {
        self.by_name.keys().map(String::as_str)
    }

    /// Bytes of a member once it is unpacked.
    /// # Errors
    /// [`Kind::Io`] where there is no such member.
    pub fn size(&self, name: &str) -> Result<u64> {
        Ok(u64::from(self.entry(name)?.header.size))
    }

    /// The bytes of one member, its CRC-32 checked. Whether its digest matches only [`Bundle::verify`] says.
    /// # Errors
    /// [`Kind::Io`] where there is no such member, [`Kind::Altered`] where its deflate stream is broken or its
    /// CRC-32 does not match.
    pub fn member(&self, name: &str) -> Result<Vec<u8>> {
        let entry = self.entry(name)?;
        // The grammar holds the size within what so many packed bytes can unpack to.
        let mut bytes = Vec::with_capacity(usize::try_from(entry.header.size).unwrap_or(0));
        self.unpack(name, entry, &mut |piece| {
            bytes.extend_from_slice(piece);
            Ok(())
        })?;
        Ok(bytes)
    }

    /// The labels and values of `bag-info.txt`, in order.
    /// # Errors
    /// As [`Bundle::member`], and [`Kind::Malformed`] for a line that is not a label and a value.
    pub fn info(&self) -> Result<Vec<(String, String)>> {
        let bytes = bag::whole(self, bag::INFO)?;
        let place = || Place::file(&self.file).part(bag::INFO);
        let text = str::from_utf8(&bytes).map_err(|_| Error::malformed(place(), "not UTF-8"))?;
        let mut faults = Vec::new();
        let info = bag::read_info(bag::INFO, text, bag::Version::V1_0, &mut faults);
        match faults.into_iter().next() {
            Some(fault) => Err(Error::malformed(place(), fault.what).clause(fault.clause)),
            None => Ok(info),
        }
    }

    /// Every fault of the bag, sorted by member: completeness and validity by RFC 8493, the profile of our bags,
    /// every deflate stream, CRC-32 and digest. Empty: the bundle is as it was sealed, or was sealed again.
    ///
    /// A hazard counts as a fault here, since [`pack`](crate::pack()) makes none. A deflated member is inflated
    /// twice: for its content, and for bits after its end. What is not found is a stream that says the same
    /// content in other words; the digest of the whole file, held elsewhere, finds that too.
    #[must_use]
    pub fn verify(&self) -> Vec<Fault> {
        let bag = bag::examine(self);
        let altered: BTreeSet<&str> = bag
            .faults
            .iter()
            .filter(|fault| fault.kind == FaultKind::Altered)
            .filter_map(|fault| fault.member.as_deref())
            .collect();
        let mut faults: Vec<Fault> =
            self.slack().filter(|(name, _)| !altered.contains(name)).map(|(_, fault)| fault).collect();
        faults.extend(profile::check(&bag));
        faults.extend(bag.faults);
        faults.sort();
        faults.dedup();
        faults
    }

    /// The files that lie directly in `folder` (`data/original`) as a source whose main file is `main`.
    ///
    /// `names` are pairs (original, safe) as [`safe_names`](crate::safe_names) gives them: a member stored under a
    /// safe name is answered by its original one; a member without a pair by its own.
    /// # Errors
    /// [`Kind::Malformed`] for a pair whose member is not there or has another pair, two members with one original
    /// name, or a `main` that is not among the files.
    pub fn source(&self, folder: &str, names: &[(String, String)], main: &str) -> Result<BundleSource<'_>> {
        let malformed = |what: String| Err(Error::malformed(Place::file(&self.file).part(folder), what));
        let mut originals: BTreeMap<&str, &str> = BTreeMap::new();
        for (original, safe) in names {
            if !self.by_name.contains_key(&format!("{folder}/{safe}")) {
                return malformed(format!("the index of names lists {safe}, which is not there"));
            }
            if originals.insert(safe, original).is_some() {
                return malformed(format!("the index of names lists {safe} twice"));
            }
        }
        let prefix = format!("{folder}/");
        let mut files: BTreeMap<String, &str> = BTreeMap::new();
        for path in self.members() {
            let Some(own) = path.strip_prefix(&prefix).filter(|own| !own.contains('/')) else { continue };
            let original = originals.get(own).copied().unwrap_or(own);
            if files.insert(original.to_owned(), path).is_some() {
                return malformed(format!("two files have the original name {original:?}"));
            }
        }
        if !files.contains_key(main) {
            return malformed(format!("no file has the original name {main:?}"));
        }
        Ok(BundleSource { bundle: self, files, main: main.to_owned() })
    }

    /// The members whose packed bytes were altered where inflating does not look.
    fn slack(&self) -> impl Iterator<Item = (&str, Fault)> {
        self.by_name.iter().filter_map(|(name, index)| {
            let Entry { header, packed } = &self.entries[*index];
            let is_deflated = header.packing == narrow::Packing::Deflated;
            let packed = &self.bytes[packed.clone()];
            let has_slack = is_deflated && stream::has_slack(packed, header.size.into(), header.crc);
            has_slack.then(|| {
                let what =
                    "a bit after the end of its deflate stream is set; its content is not altered by that";
                (name.as_str(), Fault::of(name.as_str(), FaultKind::Altered, what, "RFC 1951, 3.2.3"))
            })
        })
    }

    fn entry(&self, name: &str) -> Result<&Entry> {
        let found = self.by_name.get(name).and_then(|index| self.entries.get(*index));
        found.ok_or_else(|| {
            Error::new(Kind::Io, "no such member of the bundle").at(Place::file(&self.file).part(name))
        })
    }

    fn unpack(&self, name: &str, entry: &Entry, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        stream::unpack(&entry.header, &self.bytes[entry.packed.clone()], into)
            .map_err(|error| error.at(Place::file(&self.file).part(name)))
    }
}

impl Files for Bundle {
    fn names(&self) -> Vec<String> {
        self.by_name.keys().cloned().collect()
    }

    fn pour(&self, name: &str, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        self.unpack(name, self.entry(name)?, into)
    }
}

/// One folder of a bundle, its files by their original names.
#[derive(Clone, Debug)]
pub struct BundleSource<'a> {
    bundle: &'a Bundle,
    /// Original name, path inside the bag.
    files: BTreeMap<String, &'a str>,
    main: String,
}

impl Source for BundleSource<'_> {
    fn main(&self) -> &str {
        &self.main
    }

    fn names(&self) -> Result<Vec<String>> {
        Ok(self.files.keys().cloned().collect())
    }

    fn bytes(&self, name: &str, limit: u64) -> Result<Arc<[u8]>> {
        let name = plain_name(name)?;
        let path = self.files.get(name).ok_or_else(|| {
            Error::new(Kind::Io, "no such file beside the record")
                .at(Place::file(name).part(&self.bundle.file))
        })?;
        let size = self.bundle.size(path)?;
        if size > limit {
            let text = format!("{size} bytes, longer than the limit of {limit} bytes");
            return Err(Error::new(Kind::Limit, text).at(Place::file(name)));
        }
        Ok(self.bundle.member(path)?.into())
    }
}
