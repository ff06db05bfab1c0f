//! The one way to the disk: the single operations that the promises of an archive are built from.
//!
//! Nothing here is safe against a power cut by itself: what was written counts only after [`Storage::sync`], a
//! name only after [`Storage::sync_folder`] of the folder it stands in. [`write_whole`] is the shortest safe
//! sequence; the archive's commit is the other.

use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind, Read as _, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

/// Who may read a new file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Readers {
    /// As any other new file.
    All,
    /// Its owner only: it holds personal data.
    Owner,
}

/// How a lock is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hold {
    /// By one alone; waits for it.
    Alone,
    /// By many; waits until nobody holds it alone.
    Together,
    /// By one alone, or not at all: [`ErrorKind::WouldBlock`] where somebody else has it.
    AloneNow,
}

/// A lock that is given back when this is dropped, or when the process ends in whatever way.
pub trait Lock: Send + Sync {}

/// Where files are kept. Every operation is one that a file system may break off at, or undo in a power cut.
pub trait Storage: Send + Sync {
    /// The bytes of a file.
    /// # Errors
    /// Of reading.
    fn read(&self, path: &Path) -> io::Result<Vec<u8>>;

    /// The bytes of a file from `offset` on.
    /// # Errors
    /// Of reading.
    fn read_from(&self, path: &Path, offset: u64) -> io::Result<Vec<u8>>;

    /// At most `length` bytes of a file from `offset` on; fewer only at its end.
    /// # Errors
    /// Of reading.
    fn read_part(&self, path: &Path, offset: u64, length: usize) -> io::Result<Vec<u8>>;

    /// The names in a folder, sorted.
    /// # Errors
    /// Of reading; [`ErrorKind::InvalidData`] for a name that is not UTF-8.
    fn names(&self, folder: &Path) -> io::Result<Vec<String>>;

    /// The length of a file in bytes; `None` where nothing has that name.
    /// # Errors
    /// Of reading.
    fn size(&self, path: &Path) -> io::Result<Option<u64>>;

    /// Makes one folder; it may be there already. Whether it was made.
    /// # Errors
    /// Of writing.
    fn make_folder(&self, path: &Path) -> io::Result<bool>;

    /// Writes a new file, unsynced.
    /// # Errors
    /// Of writing, when part of it may have been written; [`ErrorKind::AlreadyExists`].
    fn create(&self, path: &Path, bytes: &[u8], readers: Readers) -> io::Result<()>;

    /// Flushes a file to the medium.
    /// # Errors
    /// Of writing: then nothing is known of what was written since the last success, and a second flush that
    /// succeeds says nothing of it either.
    fn sync(&self, path: &Path) -> io::Result<()>;

    /// Renames a file, never over another.
    /// # Errors
    /// Of writing; [`ErrorKind::AlreadyExists`].
    fn place(&self, from: &Path, to: &Path) -> io::Result<()>;

    /// Renames a file, over another where there is one, in one step.
    /// # Errors
    /// Of writing.
    fn replace(&self, from: &Path, to: &Path) -> io::Result<()>;

    /// Flushes the names in a folder to the medium.
    /// # Errors
    /// Of writing.
    fn sync_folder(&self, path: &Path) -> io::Result<()>;

    /// Writes at the end of a file, which is made where it is missing, unsynced.
    /// # Errors
    /// Of writing, when part of it may have been written.
    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;

    /// Cuts a file to a length.
    /// # Errors
    /// Of writing.
    fn truncate(&self, path: &Path, length: u64) -> io::Result<()>;

    /// Removes a file.
    /// # Errors
    /// Of writing.
    fn remove(&self, path: &Path) -> io::Result<()>;

    /// Locks a file, which is made where it is missing.
    /// # Errors
    /// Of opening; [`ErrorKind::WouldBlock`].
    fn lock(&self, path: &Path, hold: Hold) -> io::Result<Box<dyn Lock>>;
}

/// The file system.
#[derive(Clone, Copy, Debug, Default)]
pub struct Disk;

struct Locked(#[expect(dead_code, reason = "held: closing the file gives the lock back")] File);

impl Lock for Locked {}

impl Storage for Disk {
    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        std::fs::read(path)
    }

    fn read_from(&self, path: &Path, offset: u64) -> io::Result<Vec<u8>> {
        let mut file = File::open(path)?;
        file.seek(SeekFrom::Start(offset))?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn read_part(&self, path: &Path, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        let mut file = File::open(path)?;
        file.seek(SeekFrom::Start(offset))?;
        let mut bytes = Vec::new();
        file.take(length as u64).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn names(&self, folder: &Path) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for entry in std::fs::read_dir(folder)? {
            let name = entry?.file_name().into_string();
            names.push(name.map_err(|_| io::Error::new(ErrorKind::InvalidData, "a name is not UTF-8"))?);
        }
        names.sort();
        Ok(names)
    }

    fn size(&self, path: &Path) -> io::Result<Option<u64>> {
        match std::fs::symlink_metadata(path) {
            Ok(data) => Ok(Some(data.len())),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn make_folder(&self, path: &Path) -> io::Result<bool> {
        match std::fs::create_dir(path) {
            Ok(()) => Ok(true),
            Err(error) if error.kind() == ErrorKind::AlreadyExists && path.is_dir() => Ok(false),
            Err(error) => Err(error),
        }
    }

    fn create(&self, path: &Path, bytes: &[u8], readers: Readers) -> io::Result<()> {
        let mut options = OpenOptions::new();
        options.write(true).create_new(true);
        only_for(&mut options, readers);
        options.open(path)?.write_all(bytes)
    }

    /// Opens the file anew: Linux reports an error of writing back that nobody has seen yet to a descriptor that
    /// was opened later, too (errseq_t, since 4.13; from memory).
    fn sync(&self, path: &Path) -> io::Result<()> {
        OpenOptions::new().append(true).open(path)?.sync_all()
    }

    fn place(&self, from: &Path, to: &Path) -> io::Result<()> {
        rename_onto_nothing(from, to)
    }

    fn replace(&self, from: &Path, to: &Path) -> io::Result<()> {
        std::fs::rename(from, to)
    }

    #[cfg(unix)]
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        File::open(path)?.sync_all()
    }

    /// Elsewhere a folder cannot be flushed; its file system keeps names in a log of its own.
    #[cfg(not(unix))]
    fn sync_folder(&self, _: &Path) -> io::Result<()> {
        Ok(())
    }

    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        OpenOptions::new().append(true).create(true).open(path)?.write_all(bytes)
    }

    fn truncate(&self, path: &Path, length: u64) -> io::Result<()> {
        OpenOptions::new().write(true).open(path)?.set_len(length)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        std::fs::remove_file(path)
    }

    fn lock(&self, path: &Path, hold: Hold) -> io::Result<Box<dyn Lock>> {
        let file = OpenOptions::new().append(true).create(true).open(path)?;
        match hold {
            Hold::Alone => file.lock()?,
            Hold::Together => file.lock_shared()?,
            Hold::AloneNow => file.try_lock()?,
        }
        Ok(Box::new(Locked(file)))
    }
}

/// Writes one file whole or not at all: a temporary file beside it, synced, renamed into place, the folder synced.
/// An existing file stays untouched unless `overwrite`.
/// # Errors
/// Of writing; the target is as it was before, unless only the last step, making the new name lasting, failed.
pub fn write_whole(storage: &dyn Storage, path: &Path, bytes: &[u8], overwrite: bool) -> io::Result<()> {
    let folder = folder_of(path);
    let temporary = new_file(storage, &folder, ".ecgkeep", bytes, Readers::All)?;
    let placed = storage.sync(&temporary).and_then(|()| {
        if overwrite { storage.replace(&temporary, path) } else { storage.place(&temporary, path) }
    });
    if let Err(error) = placed {
        // What was not placed is nobody's; that it cannot be removed would hide the first error.
        let _ = storage.remove(&temporary);
        return Err(error);
    }
    storage.sync_folder(&folder)
}

/// A new file in `folder` under the first free of the names `STEM-N.part`.
pub(crate) fn new_file(
    storage: &dyn Storage,
    folder: &Path,
    stem: &str,
    bytes: &[u8],
    readers: Readers,
) -> io::Result<PathBuf> {
    for n in 0_u64.. {
        let path = folder.join(format!("{stem}-{n}.part"));
        match storage.create(&path, bytes, readers) {
            Ok(()) => return Ok(path),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
            Err(error) => {
                let _ = storage.remove(&path);
                return Err(error);
            }
        }
    }
    Err(io::Error::other("no free name for a temporary file"))
}

/// The folder a file stands in.
#[must_use]
pub fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    }
}

#[cfg(unix)]
fn only_for(options: &mut OpenOptions, readers: Readers) {
    use std::os::unix::fs::OpenOptionsExt as _;
    options.mode(match readers {
        Readers::All => 0o644,
        Readers::Owner => 0o600,
    });
}

#[cfg(not(unix))]
fn only_for(_: &mut OpenOptions, _: Readers) {}

#[cfg(target_os = "linux")]
fn rename_onto_nothing(from: &Path, to: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
        // The file system does not know the flag (renameat2(2), EINVAL).
        Err(Errno::INVAL | Errno::NOSYS) => link_and_remove(from, to),
        done => done.map_err(io::Error::from),
    }
}

#[cfg(not(target_os = "linux"))]
fn rename_onto_nothing(from: &Path, to: &Path) -> io::Result<()> {
    link_and_remove(from, to)
}

/// A hard link is never made over another file.
fn link_and_remove(from: &Path, to: &Path) -> io::Result<()> {
    std::fs::hard_link(from, to)?;
    std::fs::remove_file(from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_placed_over_another_file() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        for rename in [rename_onto_nothing, link_and_remove] {
            Disk.create(&at("a"), b"one", Readers::All).unwrap();
            Disk.create(&at("b"), b"two", Readers::All).unwrap();
            assert_eq!(rename(&at("a"), &at("b")).unwrap_err().kind(), ErrorKind::AlreadyExists);
            assert_eq!(Disk.read(&at("b")).unwrap(), b"two");
            rename(&at("a"), &at("c")).unwrap();
            assert_eq!(Disk.names(folder.path()).unwrap(), ["b", "c"]);
            Disk.remove(&at("b")).unwrap();
            Disk.remove(&at("c")).unwrap();
        }
    }

    #[test]
    fn a_file_is_written_whole_and_replaced_only_on_request() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        write_whole(&Disk, &path, b"one", false).unwrap();
        assert_eq!(write_whole(&Disk, &path, b"two", false).unwrap_err().kind(), ErrorKind::AlreadyExists);
        assert_eq!(Disk.read(&path).unwrap(), b"one");
        write_whole(&Disk, &path, b"two", true).unwrap();
        assert_eq!(Disk.read(&path).unwrap(), b"two");
        assert_eq!(Disk.names(folder.path()).unwrap(), ["a.txt"], "no temporary file stays");
    }

    #[test]
    fn a_lock_is_held_by_one_or_by_many() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lock");
        let first = Disk.lock(&path, Hold::Together).unwrap();
        let second = Disk.lock(&path, Hold::Together).unwrap();
        let refused = |error: io::Error| assert_eq!(error.kind(), ErrorKind::WouldBlock);
        Disk.lock(&path, Hold::AloneNow).err().map(refused).unwrap();
        drop((first, second));
        let alone = Disk.lock(&path, Hold::AloneNow).unwrap();
        Disk.lock(&path, Hold::AloneNow).err().map(refused).unwrap();
        drop(alone);
        Disk.lock(&path, Hold::Alone).unwrap();
    }

    #[cfg(unix)]
    #[test]
    fn a_file_with_personal_data_is_its_owners() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("register.jsonl");
        Disk.create(&path, b"", Readers::Owner).unwrap();
        assert_eq!(path.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    }
}
