//! Where bytes come from.

use std::collections::BTreeMap;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use crate::{Error, File, Kind, Place, Result};

/// A main file and the files beside it, all under plain names.
pub trait Source: Sync {
    /// The name of the main file.
    fn main(&self) -> &str;

    /// The names of all files, sorted.
    /// # Errors
    /// [`Kind::Io`].
    fn names(&self) -> Result<Vec<String>>;

    /// The names of the files whose name begins so, sorted.
    /// # Errors
    /// [`Kind::Io`].
    fn names_beginning(&self, prefix: &str) -> Result<Vec<String>> {
        let mut names = self.names()?;
        names.retain(|name| name.starts_with(prefix));
        Ok(names)
    }

    /// The bytes of one file, whole.
    /// # Errors
    /// [`Kind::Malformed`] for a name with a path part, [`Kind::Io`] for a file that is not there or cannot be
    /// read, [`Kind::Limit`] for one longer than `limit` bytes.
    fn bytes(&self, name: &str, limit: u64) -> Result<Arc<[u8]>>;
}

/// Device names of a common operating system, which no file of a record may have, whatever the ending.
const DEVICE_NAMES: &[&str] = &["con", "prn", "aux", "nul"];

/// Accepts a plain file name: no path part, no device, no control character, not `.` or `..`, at most 255 bytes.
/// # Errors
/// [`Kind::Malformed`] with the name.
pub fn plain_name(name: &str) -> Result<&str> {
    let stem = name.split('.').next().unwrap_or_default().to_ascii_lowercase();
    let numbered = |device: &str| {
        stem.strip_prefix(device).is_some_and(|rest| rest.len() == 1 && rest.as_bytes()[0].is_ascii_digit())
    };
    let is_device = DEVICE_NAMES.contains(&stem.as_str()) || numbered("com") || numbered("lpt");
    let bad_character = |c: char| matches!(c, '/' | '\\' | ':') || c.is_control();
    let is_plain =
        !matches!(name, "" | "." | ".." | "-" | "~") && !name.contains(bad_character) && name.len() <= 255;
    if is_plain && !is_device {
        Ok(name)
    } else {
        Err(Error::new(Kind::Malformed, format!("not a plain file name: {name:?}"))
            .remedy("a record may name only files that lie beside it; put them there and correct the name"))
    }
}

fn too_long(name: &str, limit: u64) -> Error {
    Error::new(Kind::Limit, format!("longer than the limit of {limit} bytes")).at(Place::file(name))
}

pub(crate) fn not_there(name: &str) -> Error {
    Error::new(Kind::Io, "no such file beside the record")
        .at(Place::file(name))
        .remedy("put the file beside the record's main file")
}

/// Files in memory.
#[derive(Clone, Debug, Default)]
pub struct Memory {
    main: String,
    files: Vec<(String, Arc<[u8]>)>,
}

impl Memory {
    /// Files, of which the one named `main` is the record's main file.
    #[must_use]
    pub fn new(main: impl Into<String>, files: Vec<File>) -> Memory {
        Memory {
            main: main.into(),
            files: files.into_iter().map(|file| (file.name, file.bytes.into())).collect(),
        }
    }
}

impl Source for Memory {
    fn main(&self) -> &str {
        &self.main
    }

    fn names(&self) -> Result<Vec<String>> {
        let mut names: Vec<String> = self.files.iter().map(|(name, _)| name.clone()).collect();
        names.sort();
        Ok(names)
    }

    fn bytes(&self, name: &str, limit: u64) -> Result<Arc<[u8]>> {
        let name = plain_name(name)?;
        let (_, bytes) = self.files.iter().find(|(own, _)| own == name).ok_or_else(|| not_there(name))?;
        if bytes.len() as u64 > limit { Err(too_long(name, limit)) } else { Ok(bytes.clone()) }
    }
}

/// What folders hold, each listed once, however many records in it are read: a folder of 100,000 records whose every
/// record lists it again would take 10,000,000,000 names. A listing is as old as its first use.
#[derive(Debug, Default)]
pub struct Listings(Mutex<BTreeMap<PathBuf, Arc<[String]>>>);

impl Listings {
    /// The names in a folder, sorted.
    fn of(&self, folder: &Path) -> Result<Arc<[String]>> {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(names) = known.get(folder) {
            return Ok(names.clone());
        }
        let names: Arc<[String]> = listed(folder)?.into();
        known.insert(folder.to_owned(), names.clone());
        Ok(names)
    }
}

/// The names in a folder that are Unicode, sorted.
fn listed(folder: &Path) -> Result<Vec<String>> {
    let failed = |error: std::io::Error| {
        Error::new(Kind::Io, "cannot list the folder")
            .at(Place::file(folder.display().to_string()))
            .because(error)
    };
    let mut names = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        names.extend(entry.map_err(failed)?.file_name().into_string().ok());
    }
    names.sort();
    Ok(names)
}

/// A file on disk and those beside it.
#[derive(Clone, Debug)]
pub struct Folder {
    folder: PathBuf,
    main: String,
    listings: Arc<Listings>,
}

impl Folder {
    /// The file at `path` as the main file.
    /// # Errors
    /// [`Kind::Usage`] where the path has no file name or one that is not Unicode.
    pub fn of(path: &Path) -> Result<Folder> {
        let main = path.file_name().and_then(|name| name.to_str()).ok_or_else(|| {
            Error::new(Kind::Usage, format!("not a file name that can be read: {}", path.display()))
        })?;
        let folder = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        Ok(Folder { folder, main: main.to_owned(), listings: Arc::default() })
    }

    /// The same, its folder listed together with the others that share these listings. On its own, a record lists its
    /// folder at the first question.
    #[must_use]
    pub fn sharing(mut self, listings: &Arc<Listings>) -> Folder {
        self.listings = listings.clone();
        self
    }
}

impl Source for Folder {
    fn main(&self) -> &str {
        &self.main
    }

    fn names(&self) -> Result<Vec<String>> {
        Ok(self.listings.of(&self.folder)?.to_vec())
    }

    fn names_beginning(&self, prefix: &str) -> Result<Vec<String>> {
        let names = self.listings.of(&self.folder)?;
        let first = names.partition_point(|name| name.as_str() < prefix);
        Ok(names[first..].iter().take_while(|name| name.starts_with(prefix)).cloned().collect())
    }

    fn bytes(&self, name: &str, limit: u64) -> Result<Arc<[u8]>> {
        let name = plain_name(name)?;
        let failed = |error: std::io::Error| match error.kind() {
            std::io::ErrorKind::NotFound if name == self.main => {
                Error::new(Kind::Io, "no such file").at(Place::file(name)).remedy("check the path")
            }
            std::io::ErrorKind::NotFound => not_there(name),
            _ => Error::new(Kind::Io, "cannot read").at(Place::file(name)).because(error),
        };
        let mut file = std::fs::File::open(self.folder.join(name)).map_err(failed)?;
        let meta = file.metadata().map_err(failed)?;
        if !meta.is_file() {
            return Err(Error::new(Kind::Io, "not a regular file").at(Place::file(name)));
        }
        if meta.len() > limit {
            return Err(too_long(name, limit));
        }
        // straight into what is handed on, as long as the folder says; a file that has grown since has the rest behind
        let length = usize::try_from(meta.len()).map_err(|_| too_long(name, limit))?;
        let mut bytes: Arc<[u8]> = std::iter::repeat_n(0, length).collect();
        let filled = fill(&mut file, Arc::make_mut(&mut bytes)).map_err(failed)?;
        let mut rest = Vec::new();
        file.take(limit.saturating_add(1).saturating_sub(meta.len()))
            .read_to_end(&mut rest)
            .map_err(failed)?;
        match (filled == length, rest.is_empty()) {
            (true, true) => Ok(bytes),
            _ if meta.len() + rest.len() as u64 > limit => Err(too_long(name, limit)),
            _ => Ok([&bytes[..filled], &rest].concat().into()),
        }
    }
}

/// Reads until `room` is full or the file ends; gives how much was read.
fn fill(file: &mut std::fs::File, room: &mut [u8]) -> std::io::Result<usize> {
    let mut filled = 0;
    while filled < room.len() {
        match file.read(&mut room[filled..]) {
            Ok(0) => break,
            Ok(count) => filled += count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

/// Another source, keeping every file that is read: each is fetched once, and what was read is known after.
pub struct Recorded<'a> {
    inner: &'a dyn Source,
    read: Mutex<BTreeMap<String, Arc<[u8]>>>,
}

impl<'a> Recorded<'a> {
    /// Keeps what is read from `inner`.
    #[must_use]
    pub fn new(inner: &'a dyn Source) -> Recorded<'a> {
        Recorded { inner, read: Mutex::new(BTreeMap::new()) }
    }

    /// The files that were read, by name.
    #[must_use]
    pub fn into_files(self) -> Vec<(String, Arc<[u8]>)> {
        self.read.into_inner().unwrap_or_else(PoisonError::into_inner).into_iter().collect()
    }
}

impl Source for Recorded<'_> {
    fn main(&self) -> &str {
        self.inner.main()
    }

    fn names(&self) -> Result<Vec<String>> {
        self.inner.names()
    }

    fn names_beginning(&self, prefix: &str) -> Result<Vec<String>> {
        self.inner.names_beginning(prefix)
    }

    fn bytes(&self, name: &str, limit: u64) -> Result<Arc<[u8]>> {
        let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        let bytes = match read.get(name) {
            Some(bytes) => bytes.clone(),
            None => self.inner.bytes(name, limit)?,
        };
        if bytes.len() as u64 > limit {
            return Err(too_long(name, limit));
        }
        read.insert(name.to_owned(), bytes.clone());
        Ok(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_with_a_path_part_is_refused_by_every_source() {
        for name in
            ["", ".", "..", "a/b", "../a", "/etc/x", "C:\\x", "a\\b", "nul", "COM1.dat", "-", "~", "a\nb"]
        {
            assert_eq!(plain_name(name).unwrap_err().kind(), Kind::Malformed, "{name:?}");
            assert!(Memory::default().bytes(name, 10).is_err());
        }
        for name in ["1.dat", "HR00001.mat", "~x", "console.dat", "a b.hea"] {
            assert!(plain_name(name).is_ok(), "{name}");
        }
    }

    #[test]
    fn a_file_longer_than_the_limit_is_refused_by_name() {
        let memory = Memory::new("a", vec![File { name: "a".into(), bytes: vec![0; 11] }]);
        assert_eq!(memory.bytes("a", 10).unwrap_err().to_string(), "a: longer than the limit of 10 bytes");
        assert_eq!(memory.bytes("b", 10).unwrap_err().kind(), Kind::Io);
    }

    #[test]
    fn a_folder_is_listed_once_for_all_that_share_its_listing() {
        let folder = std::env::temp_dir().join(format!("ecgkeep-listings-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        for name in ["1.hea", "1.dat", "1.atr", "10.hea", "2.hea"] {
            std::fs::write(folder.join(name), []).unwrap();
        }
        let listings = Arc::new(Listings::default());
        let record = |name: &str| Folder::of(&folder.join(name)).unwrap();
        let (shared, alone) = (record("1.hea").sharing(&listings), record("1.hea"));
        assert_eq!(shared.names_beginning("1.").unwrap(), ["1.atr", "1.dat", "1.hea"]);
        // what appears after the first question tells whether the folder is listed again
        std::fs::write(folder.join("1.new"), []).unwrap();
        let again = record("2.hea").sharing(&listings);
        assert_eq!(again.names_beginning("1.").unwrap(), ["1.atr", "1.dat", "1.hea"]);
        assert_eq!(again.names().unwrap(), ["1.atr", "1.dat", "1.hea", "10.hea", "2.hea"]);
        assert_eq!(listings.0.lock().unwrap().len(), 1);
        assert_eq!(alone.names_beginning("1.").unwrap(), ["1.atr", "1.dat", "1.hea", "1.new"]);
        assert_eq!(alone.names_beginning("3").unwrap(), [""; 0]);
        let recorded = Recorded::new(&shared);
        assert_eq!(recorded.names_beginning("10").unwrap(), ["10.hea"]);
        std::fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn a_file_is_read_to_its_end_whatever_its_folder_says_of_its_length() {
        let folder = std::env::temp_dir().join(format!("ecgkeep-lengths-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let bytes: Vec<u8> = (0..=255).cycle().take(70_001).collect();
        std::fs::write(folder.join("long"), &bytes).unwrap();
        std::fs::write(folder.join("empty"), []).unwrap();
        let source = Folder::of(&folder.join("long")).unwrap();
        assert_eq!(&*source.bytes("long", 70_001).unwrap(), bytes);
        assert_eq!(source.bytes("long", 70_000).unwrap_err().kind(), Kind::Limit);
        assert!(source.bytes("empty", 0).unwrap().is_empty());
        // the system says 0 bytes of its own files, and gives more
        if let Ok(expected) = std::fs::read("/proc/self/cmdline") {
            let own = Folder::of(Path::new("/proc/self/cmdline")).unwrap();
            assert_eq!(&*own.bytes("cmdline", 1 << 20).unwrap(), expected);
            assert_eq!(own.bytes("cmdline", 3).unwrap_err().kind(), Kind::Limit);
        }
        std::fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn what_was_read_is_kept() {
        let files = ["a", "b", "c"].map(|name| File { name: name.into(), bytes: vec![7] }).to_vec();
        let memory = Memory::new("a", files);
        let recorded = Recorded::new(&memory);
        let first = recorded.bytes("c", 1).unwrap();
        assert!(Arc::ptr_eq(&first, &recorded.bytes("c", 1).unwrap()), "fetched once");
        assert_eq!(recorded.bytes("c", 0).unwrap_err().kind(), Kind::Limit);
        recorded.bytes("a", 1).unwrap();
        assert!(recorded.bytes("d", 1).is_err());
        let names: Vec<String> = recorded.into_files().into_iter().map(|(name, _)| name).collect();
        assert_eq!(names, ["a", "c"]);
    }
}
