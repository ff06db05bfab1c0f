//! The one way files are written: a temporary file, synced, renamed into place, the folder synced.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, File, Kind, Place, Result};

/// Where files are written.
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

/// The file system.
#[derive(Clone, Copy, Debug, Default)]
pub struct Disk;

impl Storage for Disk {
    fn write(&self, path: &Path, bytes: &[u8], overwrite: bool) -> Result<()> {
        let folder = folder_of(path);
        let failed = |error: std::io::Error| cannot_write(path, error);
        let mut file =
            tempfile::Builder::new().prefix(".ecgkeep-").tempfile_in(&folder).map_err(|error| {
                // The cause names the temporary file, which nobody asked for.
                failed(error.kind().into())
            })?;
        readable_by_others(file.as_file()).map_err(failed)?;
        file.write_all(bytes).map_err(failed)?;
        file.as_file().sync_all().map_err(failed)?;
        let placed = if overwrite { file.persist(path) } else { file.persist_noclobber(path) };
        placed.map_err(|error| match error.error.kind() {
            std::io::ErrorKind::AlreadyExists => already_there(path),
            _ => failed(error.error),
        })?;
        // The new name is safe only when the folder that holds it is.
        std::fs::File::open(&folder).and_then(|folder| folder.sync_all()).map_err(failed)
    }

    fn make_folder(&self, path: &Path) -> Result<()> {
        std::fs::create_dir_all(path).map_err(|error| cannot_write(path, error))
    }

    fn exists(&self, path: &Path) -> bool {
        path.symlink_metadata().is_ok()
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

/// The folder a file stands in.
pub(crate) fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    }
}

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

/// Temporary files are made private; what is placed should be as readable as any other new file.
#[cfg(unix)]
fn readable_by_others(file: &std::fs::File) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable_by_others(_: &std::fs::File) -> std::io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
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
    fn nothing_is_begun_where_one_of_several_files_is_there() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("r.hea"), "old").unwrap();
        let files = ["r.dat", "r.hea"].map(|name| File { name: name.into(), bytes: vec![1] });
        assert!(write_files(&Disk, folder.path(), &files, false).is_err());
        assert!(!folder.path().join("r.dat").exists());
    }
}
