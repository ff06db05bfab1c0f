//! Bytes that are on the disk and lasting, and not yet part of the archive.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use ecgkeep_format::Result;

use crate::fault::cannot_write;
use crate::layout;
use crate::storage::{Readers, Storage, new_file};
use crate::word::Digest;

/// How the names of prepared files begin.
const STEM: &str = "prepared";

/// A file under tmp/, synced; removed when this is dropped before it was filed.
pub struct Prepared {
    storage: Arc<dyn Storage>,
    /// `None` once it stands in its place.
    path: Option<PathBuf>,
    sha256: Digest,
    bytes: u64,
}

impl Prepared {
    pub(crate) fn write(
        storage: &Arc<dyn Storage>,
        tmp: &Path,
        bytes: &[u8],
        readers: Readers,
    ) -> Result<Prepared> {
        let failed = |error| cannot_write(Path::new(layout::TMP), error);
        let sha256 = Digest::of(bytes);
        let stem = format!("{STEM}-{}", &sha256.to_string()[..16]);
        let path = new_file(&**storage, tmp, &stem, bytes, readers).map_err(failed)?;
        let prepared =
            Prepared { storage: storage.clone(), path: Some(path), sha256, bytes: bytes.len() as u64 };
        if let Some(path) = &prepared.path {
            storage.sync(path).map_err(failed)?;
        }
        Ok(prepared)
    }

    /// The SHA-256 of the bytes.
    #[must_use]
    pub fn sha256(&self) -> Digest {
        self.sha256
    }

    /// How many bytes.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Renames it into its place, over what stands there only where `over` says so.
    pub(crate) fn put(&mut self, to: &Path, over: bool) -> std::io::Result<()> {
        let Some(from) = &self.path else {
            return Err(std::io::Error::other("it stands in its place already"));
        };
        if over {
            self.storage.replace(from, to)?
        } else {
            self.storage.place(from, to)?
        }
        self.path = None;
        Ok(())
    }

    /// Removes what processes that were ended left behind.
    pub(crate) fn sweep(storage: &dyn Storage, tmp: &Path) {
        let names = storage.names(tmp).unwrap_or_default();
        for name in names.iter().filter(|name| name.starts_with(STEM)) {
            // What cannot be removed is in nobody's way.
            let _ = storage.remove(&tmp.join(name));
        }
    }
}

impl Drop for Prepared {
    fn drop(&mut self) {
        if let Some(path) = self.path.take() {
            // It is no part of the archive; the next process sweeps it out.
            let _ = self.storage.remove(&path);
        }
    }
}
