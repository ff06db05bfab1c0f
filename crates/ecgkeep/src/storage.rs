//! The one way files are written: whole or not at all, on the storage that the archive stands on.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use ecgkeep_archive::storage::{self as house, write_whole};
use ecgkeep_format::{Error, File, Kind, Place, Result};

/// What the names of temporary files begin with: one that an interrupted run left may be removed.
pub(crate) const TEMPORARY: &str = ".ecgkeep-";

/// Where files are written: every storage of the house, with errors that say what to do.
pub trait Storage: Sync {
    /// Writes one file whole or not at all. An existing file stays untouched unless `overwrite`.
    /// # Errors
    /// [`Kind::Io`]; the target is as it was before.
    fn write(&self, path: &Path, bytes: &[u8], overwrite: bool) -> Result<()>;

    /// Makes a folder and those above it.
    /// # Errors
    /// [`Kind::Io`].
    fn make_folder(&self, path: &Path) -> Result<()>;

    /// Whether something is there.
    fn exists(&self, path: &Path) -> bool;
}

impl<S: house::Storage> Storage for S {
    fn write(&self, path: &Path, bytes: &[u8], overwrite: bool) -> Result<()> {
        write_whole(self, path, bytes, overwrite).map_err(|error| match error.kind() {
            ErrorKind::AlreadyExists => already_there(path),
            _ => cannot_write(path, error),
        })
    }

    fn make_folder(&self, path: &Path) -> Result<()> {
        let mut missing = Vec::new();
        for above in path.ancestors().filter(|above| !above.as_os_str().is_empty()) {
            if self.size(above).is_ok_and(|size| size.is_some()) {
                break;
            }
            missing.push(above);
        }
        for folder in missing.into_iter().rev().chain([path]) {
            if !folder.as_os_str().is_empty() {
                house::Storage::make_folder(self, folder).map_err(|error| cannot_write(path, error))?;
            }
        }
        Ok(())
    }

    fn exists(&self, path: &Path) -> bool {
        self.size(path).is_ok_and(|size| size.is_some())
    }
}

/// Writes files side by side, the naming file last; nothing is begun where one of them is already there.
/// # Errors
/// [`Kind::Io`].
pub fn write_files(
    storage: &dyn Storage,
    folder: &Path,
    files: &[File],
    overwrite: bool,
) -> Result<Vec<PathBuf>> {
    let paths: Vec<PathBuf> = files.iter().map(|file| folder.join(&file.name)).collect();
    if !overwrite && let Some(there) = paths.iter().find(|path| storage.exists(path)) {
        return Err(already_there(there));
    }
    for (path, file) in paths.iter().zip(files) {
        storage.write(path, &file.bytes, overwrite)?;
    }
    Ok(paths)
}

pub(crate) use house::folder_of;

pub(crate) fn already_there(path: &Path) -> Error {
    Error::new(Kind::Io, "already exists")
        .at(Place::file(shown(path)))
        .remedy("choose another name, or --overwrite to replace it")
}

/// The path as errors show it: with a folder, so that it is not taken for a file beside the source.
pub(crate) fn shown(path: &Path) -> String {
    let is_bare = path.parent().is_some_and(|folder| folder.as_os_str().is_empty());
    if is_bare { format!("./{}", path.display()) } else { path.display().to_string() }
}

fn cannot_write(path: &Path, cause: std::io::Error) -> Error {
    let remedy = match cause.kind() {
        std::io::ErrorKind::NotFound => "make the folder first",
        std::io::ErrorKind::PermissionDenied => "write somewhere you may write",
        std::io::ErrorKind::StorageFull => "free some space; nothing was left half written",
        _ => "nothing was left half written",
    };
    Error::new(Kind::Io, "cannot write").at(Place::file(shown(path))).because(cause).remedy(remedy)
}

#[cfg(test)]
mod tests {
    use ecgkeep_archive::storage::Disk;

    use super::*;

    #[test]
    fn an_existing_file_is_replaced_only_on_request() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        Disk.write(&path, b"one", false).unwrap();
        let error = Disk.write(&path, b"two", false).unwrap_err();
        assert_eq!(error.kind(), Kind::Io);
        assert_eq!(std::fs::read(&path).unwrap(), b"one");
        Disk.write(&path, b"two", true).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "no temporary file stays");
    }

    #[test]
    fn folders_are_made_with_those_above_them() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a/b/c");
        Storage::make_folder(&Disk, &path).unwrap();
        Storage::make_folder(&Disk, &path).unwrap();
        assert!(path.is_dir());
        std::fs::write(path.join("file"), "").unwrap();
        assert_eq!(Storage::make_folder(&Disk, &path.join("file/d")).unwrap_err().kind(), Kind::Io);
    }

    #[test]
    fn nothing_is_begun_where_one_of_several_files_is_there() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("r.hea"), "old").unwrap();
        let files = ["r.dat", "r.hea"].map(|name| File { name: name.into(), bytes: vec![1] });
        assert!(write_files(&Disk, folder.path(), &files, false).is_err());
        assert!(!folder.path().join("r.dat").exists());
    }
}
