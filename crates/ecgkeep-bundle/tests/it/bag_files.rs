//! Bags that are no ZIP: in memory, and as a folder.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256, Sha512};

use ecgkeep_bundle::bag::Files;
use ecgkeep_format::{Error, Kind, Result};

/// A bag in memory.
#[derive(Clone)]
pub struct MemoryBag {
    pub files: BTreeMap<String, Vec<u8>>,
    pub has_data: bool,
}

impl Files for MemoryBag {
    fn names(&self) -> Vec<String> {
        self.files.keys().cloned().collect()
    }

    fn pour(&self, name: &str, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        into(&self.files[name])
    }

    fn has_payload_directory(&self) -> bool {
        self.has_data
    }
}

pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

impl MemoryBag {
    /// A valid 1.0 bag of two files with SHA-256 and SHA-512 manifests, its tag manifests not yet made.
    pub fn plain() -> MemoryBag {
        let mut bag = MemoryBag { files: BTreeMap::new(), has_data: true };
        bag.put("bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
        bag.put("bag-info.txt", "Bagging-Date: 2026-11-25\nPayload-Oxum: 10.2\n");
        bag.put("data/a.txt", "hello");
        bag.put("data/b/c.txt", "world");
        bag.list_payload();
        bag
    }

    pub fn put(&mut self, name: &str, bytes: impl Into<Vec<u8>>) {
        self.files.insert(name.to_owned(), bytes.into());
    }

    pub fn text(&self, name: &str) -> String {
        String::from_utf8(self.files[name].clone()).unwrap()
    }

    /// Replaces text in a tag file; it must be there.
    pub fn replace(&mut self, name: &str, from: &str, to: &str) {
        let text = self.text(name);
        assert!(text.contains(from), "{name} has no {from:?}");
        self.put(name, text.replace(from, to));
    }

    fn list(&self, is_listed: impl Fn(&str) -> bool) -> (String, String) {
        let (mut sha256, mut sha512) = (String::new(), String::new());
        for (name, bytes) in self.files.iter().filter(|(name, _)| is_listed(name)) {
            let path = name.replace('%', "%25").replace('\n', "%0A").replace('\r', "%0D");
            sha256 += &format!("{}  {path}\n", hex(&Sha256::digest(bytes)));
            sha512 += &format!("{}  {path}\n", hex(&Sha512::digest(bytes)));
        }
        (sha256, sha512)
    }

    /// Writes the payload manifests anew.
    pub fn list_payload(&mut self) {
        let (sha256, sha512) = self.list(|name| name.starts_with("data/"));
        self.put("manifest-sha256.txt", sha256);
        self.put("manifest-sha512.txt", sha512);
    }

    /// Writes the tag manifests anew.
    pub fn list_tags(&mut self) {
        let (sha256, sha512) =
            self.list(|name| !name.starts_with("data/") && !name.starts_with("tagmanifest-"));
        self.put("tagmanifest-sha256.txt", sha256);
        self.put("tagmanifest-sha512.txt", sha512);
    }
}

/// A bag that is a folder.
pub struct FolderBag(pub PathBuf);

impl FolderBag {
    fn walk(&self, folder: &Path, names: &mut Vec<String>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                self.walk(&path, names);
            } else {
                names.push(path.strip_prefix(&self.0).unwrap().to_str().unwrap().to_owned());
            }
        }
    }
}

impl Files for FolderBag {
    fn names(&self) -> Vec<String> {
        let mut names = Vec::new();
        self.walk(&self.0, &mut names);
        names
    }

    fn pour(&self, name: &str, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        let failed = |error: std::io::Error| Error::new(Kind::Io, "cannot read").because(error);
        into(&std::fs::read(self.0.join(name)).map_err(failed)?)
    }

    fn has_payload_directory(&self) -> bool {
        self.0.join("data").is_dir()
    }
}
