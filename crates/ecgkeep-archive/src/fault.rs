//! Errors of the archive: places are paths below its folder, which hold keys and never personal data.

use std::io;
use std::path::Path;

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::storage::Storage;

/// A path as errors show it: from the archive's own folders on.
pub(crate) fn shown(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

pub(crate) fn cannot_read(path: &Path, cause: io::Error) -> Error {
    Error::new(Kind::Io, "cannot read").at(Place::file(shown(path))).because(cause)
}

/// The names in a folder of the archive, sorted. A folder that is not there holds nothing: who copies an archive may drop
/// empty ones.
pub(crate) fn names_in(storage: &dyn Storage, folder: &Path, at: &Path) -> Result<Vec<String>> {
    match storage.names(&folder.join(at)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        names => names.map_err(|error| cannot_read(at, error)),
    }
}

pub(crate) fn cannot_write(path: &Path, cause: io::Error) -> Error {
    let remedy = match cause.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "nothing of this was filed; free some space and do it again"
        }
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "nothing of this was filed; write where you may write"
        }
        _ => "nothing of this was filed; look after the disk, then do it again",
    };
    Error::new(Kind::Io, "cannot write").at(Place::file(shown(path))).because(cause).remedy(remedy)
}
