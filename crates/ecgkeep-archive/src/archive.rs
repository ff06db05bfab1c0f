//! An archive: a folder of sealed bundles with a journal of everything that was ever done.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use ecgkeep_bundle::Bundle;
use ecgkeep_format::{Error, Kind, Place, Result};
use serde::{Deserialize, Serialize};

use crate::checkpoint::Checkpoint;
use crate::fault::{cannot_read, cannot_write, names_in, shown};
use crate::journal::{Journal, Lines, latest};
use crate::layout::{self, Shelved};
use crate::line::{Event, Line};
use crate::note::{Note, PublicKey};
use crate::prepare::Prepared;
use crate::receipt::Receipt;
use crate::storage::{Hold, Lock, Readers, Storage};
use crate::tree::{self, Hash};
use crate::word::{Digest, Key, Moment};

/// The version of what is on the disk.
pub const SCHEMA: &str = "ecgkeep-archive/1";

/// How many wait for the disk at once.
const WAITING: usize = 16;

/// archive.json: what never changes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Identity {
    /// [`SCHEMA`].
    pub schema: String,
    /// Which archive.
    pub id: String,
    /// The first line of its checkpoints: no personal data, without a scheme, such as `larkmoor.example/ecg`.
    pub origin: String,
    /// When it was made, UTC.
    pub made_at: String,
    /// The program that made it.
    pub program: String,
}

/// An archive that is open. What others commit is seen after [`Archive::refresh`].
pub struct Archive {
    pub(crate) storage: Arc<dyn Storage>,
    pub(crate) folder: PathBuf,
    identity: Identity,
    pub(crate) journal: Journal,
    pub(crate) latest: Note,
    /// The newest checkpoint that is kept under its size, and when its last line was taken.
    pub(crate) kept: Option<(u64, Moment)>,
    /// Says to others that files in tmp/ are in use.
    preparing: Mutex<Option<Box<dyn Lock>>>,
}

/// What has become of a recording, as the folder says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// It was never filed.
    Unknown,
    /// Filed; the newest revision.
    Filed(u32),
    /// Destroyed under a rule.
    Destroyed,
}

impl Archive {
    /// Opens an archive; nothing is changed by that.
    /// # Errors
    /// [`Kind::Io`] where there is none; [`Kind::Unsupported`] for a later version; [`Kind::Altered`] where the
    /// journal does not lead to its newest checkpoint.
    pub fn open(storage: Arc<dyn Storage>, folder: &Path) -> Result<Archive> {
        let identity = identity(&*storage, folder)?;
        make_missing_folders(&*storage, folder)?;
        let (checkpoint, latest) = latest(&*storage, folder)?;
        let journal = Journal::load(&*storage, folder, &checkpoint)?;
        let mut archive = Archive {
            storage,
            folder: folder.to_owned(),
            identity,
            journal,
            latest,
            kept: None,
            preparing: Mutex::new(None),
        };
        archive.kept = archive.newest_kept()?;
        Ok(archive)
    }

    /// Takes what others committed since. Reads only that.
    /// # Errors
    /// As [`Archive::open`].
    pub fn refresh(&mut self) -> Result<()> {
        let (checkpoint, note) = latest(&*self.storage, &self.folder)?;
        self.journal.refresh(&*self.storage, &self.folder, &checkpoint)?;
        self.latest = note;
        Ok(())
    }

    /// What never changes.
    #[must_use]
    pub fn identity(&self) -> &Identity {
        &self.identity
    }

    /// Where it is kept.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Through what it is kept.
    #[must_use]
    pub fn storage(&self) -> &Arc<dyn Storage> {
        &self.storage
    }

    /// How many lines the journal has.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.journal.size()
    }

    /// The lines from `index` on.
    #[must_use]
    pub fn lines(&self, index: u64) -> Lines<'_> {
        Lines::new(&*self.storage, &self.folder, index.min(self.size())..self.size())
    }

    /// One line.
    /// # Errors
    /// [`Kind::Usage`] for an index that is not below the size; [`Kind::Io`], [`Kind::Altered`], [`Kind::Malformed`].
    pub fn line(&self, index: u64) -> Result<Line> {
        self.journal.line(&*self.storage, &self.folder, index)
    }

    /// The newest checkpoint with its signatures.
    #[must_use]
    pub fn checkpoint(&self) -> &Note {
        &self.latest
    }

    /// The newest checkpoint.
    #[must_use]
    pub fn head(&self) -> Checkpoint {
        let (size, root) = (self.size(), self.journal.frontier.root());
        Checkpoint { origin: self.identity.origin.clone(), size, root }
    }

    /// The receipt of one line under the newest checkpoint.
    /// # Errors
    /// As [`Archive::line`].
    pub fn receipt(&self, index: u64) -> Result<Receipt> {
        let subtrees = self.journal.subtrees(&*self.storage, &self.folder);
        let path = tree::inclusion(&subtrees, index, self.size())?;
        Ok(Receipt { index, path, checkpoint: self.latest.clone() })
    }

    /// The proof that the journal of the first `old` lines was only added to.
    /// # Errors
    /// [`Kind::Usage`] for 0 or more than there are; as [`Archive::line`].
    pub fn consistency(&self, old: u64) -> Result<Vec<Hash>> {
        let subtrees = self.journal.subtrees(&*self.storage, &self.folder);
        tree::consistency(&subtrees, old, self.size())
    }

    /// The line that filed a revision, or the source's quarantine where `revision` is `None`: looked for from the
    /// beginning of the journal, so the catalogue is asked first where there is one.
    /// # Errors
    /// As [`Archive::line`].
    pub fn filing_line(&self, key: Key, revision: Option<u32>) -> Result<Option<Line>> {
        let files = |line: &Line| matches!(line.event, Event::Filed | Event::Corrected | Event::Quarantined);
        let mut found = None;
        for line in self.lines(0) {
            let line = line?;
            if files(&line) && line.about.key == Some(key) && line.about.revision == revision {
                found = Some(line);
            }
        }
        Ok(found)
    }

    /// A bundle; `None` where that revision is not there. Its own checks are not run by that.
    /// # Errors
    /// [`Kind::Io`]; those of [`Bundle::open`].
    pub fn bundle(&self, key: Key, revision: u32) -> Result<Option<Bundle>> {
        self.zip(Shelved::Bundle(key, revision), &layout::stem(key, revision))
    }

    /// A quarantined source in its bag.
    /// # Errors
    /// As [`Archive::bundle`].
    pub fn quarantined(&self, key: Key) -> Result<Option<Bundle>> {
        self.zip(Shelved::Quarantined(key), &format!("{key}.q1"))
    }

    fn zip(&self, shelved: Shelved, stem: &str) -> Result<Option<Bundle>> {
        match self.bytes(shelved)? {
            Some(bytes) => Bundle::open(&format!("{stem}.zip"), bytes.into()).map(Some),
            None => Ok(None),
        }
    }

    /// The bytes of a file on a shelf; `None` where it is not there.
    /// # Errors
    /// [`Kind::Io`].
    pub fn bytes(&self, shelved: Shelved) -> Result<Option<Vec<u8>>> {
        let path = self.folder.join(shelved.path());
        match self.storage.read(&path) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(cannot_read(&shelved.path(), error)),
        }
    }

    /// The revisions of a recording that are there, lowest first.
    /// # Errors
    /// [`Kind::Io`].
    pub fn revisions(&self, key: Key) -> Result<Vec<u32>> {
        let shelf = layout::shelf(layout::BUNDLES, key);
        let names = names_in(&*self.storage, &self.folder, &shelf)?;
        let mut revisions: Vec<u32> = names
            .iter()
            .filter_map(|name| match Shelved::named(name) {
                Some(Shelved::Bundle(of, revision)) if of == key => Some(revision),
                _ => None,
            })
            .collect();
        revisions.sort_unstable();
        Ok(revisions)
    }

    /// What has become of a recording.
    /// # Errors
    /// [`Kind::Io`].
    pub fn state(&self, key: Key) -> Result<State> {
        if self.is_there(&layout::tombstone(key))? {
            return Ok(State::Destroyed);
        }
        Ok(self.revisions(key)?.last().map_or(State::Unknown, |newest| State::Filed(*newest)))
    }

    /// The public keys that were admitted, by name.
    /// # Errors
    /// [`Kind::Io`]; [`Kind::Malformed`].
    pub fn keys(&self) -> Result<Vec<PublicKey>> {
        keys(&*self.storage, &self.folder)
    }

    /// Writes bytes under tmp/ and makes them lasting; [`Archive::commit`] files them. Many threads may do that at
    /// once. What is not committed is removed when it is dropped.
    /// # Errors
    /// [`Kind::Io`].
    pub fn prepare(&self, bytes: &[u8]) -> Result<Prepared> {
        self.prepare_for(bytes, Readers::All)
    }

    /// [`Archive::prepare`] for many at once, each with its own result, in their order. A flush waits for the disk and
    /// not for a core: many that wait together cost little more than one.
    #[must_use]
    pub fn prepare_all<B: AsRef<[u8]> + Sync>(&self, files: &[B]) -> Vec<Result<Prepared>> {
        together(files, |bytes| self.prepare(bytes.as_ref()))
    }

    pub(crate) fn prepare_for(&self, bytes: &[u8], readers: Readers) -> Result<Prepared> {
        self.announce()?;
        Prepared::write(&self.storage, &self.folder.join(layout::TMP), bytes, readers)
    }

    /// Takes the lock that says "files in tmp/ are in use"; who finds nobody else holding it sweeps out what
    /// processes that were ended left there.
    pub(crate) fn announce(&self) -> Result<()> {
        let mut preparing = self.preparing.lock().unwrap_or_else(PoisonError::into_inner);
        if preparing.is_some() {
            return Ok(());
        }
        let path = self.folder.join(layout::PREPARE_LOCK);
        let failed = |error| cannot_write(Path::new(layout::PREPARE_LOCK), error);
        match self.storage.lock(&path, Hold::AloneNow) {
            Ok(_alone) => Prepared::sweep(&*self.storage, &self.folder.join(layout::TMP)),
            Err(error) if error.kind() == ErrorKind::WouldBlock => {}
            Err(error) => return Err(failed(error)),
        }
        *preparing = Some(self.storage.lock(&path, Hold::Together).map_err(failed)?);
        Ok(())
    }

    pub(crate) fn is_there(&self, path: &Path) -> Result<bool> {
        let size = self.storage.size(&self.folder.join(path));
        size.map(|size| size.is_some()).map_err(|error| cannot_read(path, error))
    }

    /// Whether a file is there with this length and digest.
    pub(crate) fn is_whole(&self, path: &Path, bytes: u64, sha256: Digest) -> Result<bool> {
        let full = self.folder.join(path);
        let failed = |error| cannot_read(path, error);
        if self.storage.size(&full).map_err(failed)? != Some(bytes) {
            return Ok(false);
        }
        Ok(Digest::of(&self.storage.read(&full).map_err(failed)?) == sha256)
    }

    fn newest_kept(&self) -> Result<Option<(u64, Moment)>> {
        let Some(size) = kept_sizes(&*self.storage, &self.folder)?.pop() else { return Ok(None) };
        // A kept checkpoint beyond the journal is for verify to tell.
        let Some(last) = size.checked_sub(1).filter(|last| *last < self.size()) else { return Ok(None) };
        Ok(Some((size, self.line(last)?.at)))
    }
}

/// Does the same to many, up to [`WAITING`] at a time, each of which waits for the disk.
pub(crate) fn together<T: Sync, R: Send>(all: &[T], act: impl Fn(&T) -> R + Sync) -> Vec<R> {
    if all.len() <= WAITING {
        return all.iter().map(act).collect();
    }
    let share = all.len().div_ceil(WAITING);
    std::thread::scope(|scope| {
        let parts: Vec<_> =
            all.chunks(share).map(|part| scope.spawn(|| part.iter().map(&act).collect::<Vec<R>>())).collect();
        parts.into_iter().flat_map(|part| part.join().expect("no operation of a storage panics")).collect()
    })
}

/// archive.json.
pub(crate) fn identity(storage: &dyn Storage, folder: &Path) -> Result<Identity> {
    let path = Path::new(layout::ARCHIVE_JSON);
    let bytes = storage.read(&folder.join(path)).map_err(|error| {
        cannot_read(path, error).remedy("name the folder of an archive, or make one with `archive new`")
    })?;
    let wrong = |what: &str| Error::malformed(Place::file(shown(path)), what);
    let identity: Identity =
        serde_json::from_slice(&bytes).map_err(|_| wrong("not what an archive says of itself"))?;
    if identity.schema == SCHEMA {
        return Ok(identity);
    }
    Err(Error::new(Kind::Unsupported, "an archive of another version")
        .at(Place::file(shown(path)))
        .remedy("use a newer ecgkeep"))
}

/// Empty folders that a copy of the archive lacks, where they can be made.
fn make_missing_folders(storage: &dyn Storage, folder: &Path) -> Result<()> {
    for at in layout::FOLDERS.iter().map(Path::new) {
        let path = folder.join(at);
        if storage.size(&path).map_err(|error| cannot_read(at, error))?.is_some() {
            continue;
        }
        let above = path.parent().unwrap_or(folder);
        match storage.make_folder(&path).and_then(|_| storage.sync_folder(above)) {
            // An archive that may only be read is read without them.
            Err(error)
                if matches!(error.kind(), ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem) => {}
            made => made.map_err(|error| cannot_write(at, error))?,
        }
    }
    Ok(())
}

pub(crate) fn keys(storage: &dyn Storage, folder: &Path) -> Result<Vec<PublicKey>> {
    let at = Path::new(layout::KEYS);
    let names = names_in(storage, folder, at)?;
    let files = names.iter().filter(|name| name.ends_with(".pub"));
    let read = files.map(|name| {
        let path = at.join(name);
        let bytes = storage.read(&folder.join(&path)).map_err(|error| cannot_read(&path, error))?;
        PublicKey::parse(&String::from_utf8_lossy(&bytes))
            .map_err(|error| error.at(Place::file(shown(&path))))
    });
    read.collect()
}

/// The sizes whose checkpoints are kept, smallest first.
pub(crate) fn kept_sizes(storage: &dyn Storage, folder: &Path) -> Result<Vec<u64>> {
    let at = Path::new(layout::CHECKPOINTS);
    let names = names_in(storage, folder, at)?;
    let mut sizes: Vec<u64> =
        names.iter().filter_map(|name| name.strip_suffix(".note")?.parse().ok()).collect();
    sizes.sort_unstable();
    Ok(sizes)
}
