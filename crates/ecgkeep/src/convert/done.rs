//! What a batch has done: one line of JSON for each input, appended when its files are safe, so that a run that was
//! interrupted goes on where it stopped.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use ecgkeep_format::{Error, Kind, Place, Result};
use serde::{Deserialize, Serialize};

use crate::convert::manifest::Shard;
use crate::storage::{TEMPORARY, shown};

/// The shape of a line (schemas/converted.schema.json).
pub const CONVERTED_SCHEMA: &str = "ecgkeep-converted/1";
/// Lists are called so: `converted.jsonl`, and `converted-3-of-8.jsonl` for a shard.
const STEM: &str = "converted";
const ENDING: &str = ".jsonl";

/// One input that was converted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Line {
    pub(crate) schema: String,
    /// Folder and stem of the output, below the output folder.
    pub(crate) target: String,
    /// What the source was.
    pub(crate) source: String,
    /// What the result depends on besides.
    pub(crate) settings: String,
    /// The program and its version.
    pub(crate) program: String,
    /// How many losses were listed.
    pub(crate) losses: usize,
    /// The files written, in the order in which they were.
    pub(crate) outputs: Vec<Output>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Output {
    /// Below the output folder.
    pub(crate) name: String,
    pub(crate) bytes: u64,
    pub(crate) sha256: String,
}

/// The list of one run, and what those before it left.
pub struct DoneList {
    path: PathBuf,
    lines: BTreeMap<String, Vec<Line>>,
    file: Mutex<Append>,
    /// Whether the output folder was not there before.
    is_new: bool,
    /// Held as long as the run lasts: nobody sweeps the folder meanwhile.
    _folder: Option<fs::File>,
}

struct Append {
    file: fs::File,
    /// The last line was cut short, by a crash or a full disk.
    torn: bool,
}

impl DoneList {
    /// Opens the list of this folder (and shard), takes up what all lists in it say, and removes what an interrupted
    /// run left unfinished, unless another run works there.
    /// # Errors
    /// [`Kind::Io`] where the folder or a list cannot be read or written, or a run with the same list is going on.
    pub fn open(into: &Path, shard: Option<Shard>) -> Result<DoneList> {
        let failed = |error: std::io::Error| cannot(into, "cannot keep a list of what is done", error);
        let is_new = !into.exists();
        fs::create_dir_all(into).map_err(failed)?;
        let folder = fs::File::open(into).ok();
        if let Some(folder) = &folder {
            // Where the file system has no locks, nothing is swept.
            if folder.try_lock().is_ok() {
                sweep(into);
                folder.unlock().map_err(failed)?;
            }
            let _ = folder.lock_shared();
        }
        let name = shard.map_or_else(|| format!("{STEM}{ENDING}"), |shard| format!("{STEM}-{shard}{ENDING}"));
        let path = into.join(name);
        let mut file = fs::OpenOptions::new()
            .read(true)
            .append(true)
            .create(true)
            .open(&path)
            .map_err(|error| cannot(&path, "cannot be written", error))?;
        if matches!(file.try_lock(), Err(fs::TryLockError::WouldBlock)) {
            return Err(Error::new(Kind::Io, "another run converts into this folder")
                .at(Place::file(shown(&path)))
                .remedy("wait until it has ended, or give each run its own --shard I/N"));
        }
        let lines = lines_in(into)?;
        let torn = ends_torn(&mut file).map_err(|error| cannot(&path, "cannot be read", error))?;
        Ok(DoneList { path, lines, file: Mutex::new(Append { file, torn }), is_new, _folder: folder })
    }

    /// What was done before for a target in a format, the oldest first.
    pub(crate) fn before(&self, target: &str, format: &str) -> Vec<&Line> {
        let lines = self.lines.get(target).into_iter().flatten();
        lines.filter(|line| line.settings.split(' ').next() == Some(format)).collect()
    }

    /// Adds a line, whole or marked as cut short.
    pub(crate) fn add(&self, line: &Line) -> Result<()> {
        let mut text = serde_json::to_vec(line)
            .map_err(|error| Error::new(Kind::Internal, "a line cannot be written as JSON").because(error))?;
        text.push(b'\n');
        let mut append = self.append();
        if append.torn {
            text.insert(0, b'\n');
        }
        // One write, so that lines of several threads never mix; what is cut short ends with the next line.
        append.torn = true;
        append.file.write_all(&text).map_err(|error| {
            cannot(&self.path, "cannot be written", error)
                .remedy("the files are written; the next run finds them and goes on")
        })?;
        append.torn = false;
        Ok(())
    }

    /// Makes the list safe; one that says nothing is removed, with the folder if that holds nothing either.
    /// # Errors
    /// [`Kind::Io`].
    pub fn close(self) -> Result<()> {
        let append = self.append();
        let failed = |error| cannot(&self.path, "cannot be written", error);
        append.file.sync_all().map_err(failed)?;
        if append.file.metadata().map_err(failed)?.len() == 0 {
            fs::remove_file(&self.path).map_err(failed)?;
            if let Some(into) = self.path.parent().filter(|_| self.is_new) {
                // It stays where it holds anything.
                let _ = fs::remove_dir(into);
            }
        }
        Ok(())
    }

    fn append(&self) -> MutexGuard<'_, Append> {
        self.file.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Every whole line of every list in the folder; others are of a run that was cut short, or of another version.
fn lines_in(into: &Path) -> Result<BTreeMap<String, Vec<Line>>> {
    let failed = |error: std::io::Error| cannot(into, "cannot be listed", error);
    let mut lists = Vec::new();
    for entry in fs::read_dir(into).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let middle = name.strip_prefix(STEM).and_then(|rest| rest.strip_suffix(ENDING));
        if middle.is_some_and(|middle| middle.is_empty() || middle.starts_with('-')) {
            lists.push(path);
        }
    }
    lists.sort();
    let mut lines: BTreeMap<String, Vec<Line>> = BTreeMap::new();
    for list in lists {
        let bytes = fs::read(&list).map_err(|error| cannot(&list, "cannot be read", error))?;
        let whole = bytes.split(|byte| *byte == b'\n').filter_map(|line| serde_json::from_slice(line).ok());
        for line in whole.filter(|line: &Line| line.schema == CONVERTED_SCHEMA) {
            lines.entry(line.target.clone()).or_default().push(line);
        }
    }
    Ok(lines)
}

fn ends_torn(file: &mut fs::File) -> std::io::Result<bool> {
    use std::io::Read as _;
    if file.metadata()?.len() == 0 {
        return Ok(false);
    }
    file.seek(SeekFrom::End(-1))?;
    let mut last = [0];
    file.read_exact(&mut last)?;
    Ok(last != *b"\n")
}

/// Removes temporary files that an interrupted run left, in the folder and below.
fn sweep(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let Ok(kind) = entry.file_type() else { continue };
        if kind.is_dir() {
            sweep(&entry.path());
        } else if kind.is_file() && entry.file_name().to_string_lossy().starts_with(TEMPORARY) {
            // One that cannot be removed is in nobody's way.
            let _ = fs::remove_file(entry.path());
        }
    }
}

fn cannot(path: &Path, what: &str, cause: std::io::Error) -> Error {
    Error::new(Kind::Io, what).at(Place::file(shown(path))).because(cause)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(target: &str) -> Line {
        Line {
            schema: CONVERTED_SCHEMA.to_owned(),
            target: target.to_owned(),
            source: "s".to_owned(),
            settings: "json".to_owned(),
            program: "ecgkeep test".to_owned(),
            losses: 0,
            outputs: Vec::new(),
        }
    }

    #[test]
    fn a_torn_line_is_passed_over_and_the_next_one_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let list = DoneList::open(folder.path(), None).unwrap();
        list.add(&line("a")).unwrap();
        list.close().unwrap();
        let path = folder.path().join("converted.jsonl");
        let whole = fs::read(&path).unwrap();
        fs::write(&path, [&whole[..], &whole[..20]].concat()).unwrap();
        let list = DoneList::open(folder.path(), None).unwrap();
        list.add(&line("b")).unwrap();
        list.close().unwrap();
        let list = DoneList::open(folder.path(), None).unwrap();
        let count = |target| list.before(target, "json").len();
        assert_eq!((count("a"), count("b"), list.before("a", "wfdb").len()), (1, 1, 0));
    }

    #[test]
    fn one_list_has_one_run_and_shards_know_of_each_other() {
        let folder = tempfile::tempdir().unwrap();
        let one = DoneList::open(folder.path(), "1/2".parse().ok()).unwrap();
        one.add(&line("a")).unwrap();
        let again = DoneList::open(folder.path(), "1/2".parse().ok());
        assert_eq!(again.err().unwrap().kind(), Kind::Io);
        let other = DoneList::open(folder.path(), "2/2".parse().ok()).unwrap();
        assert_eq!(other.before("a", "json"), [&line("a")]);
    }

    #[test]
    fn what_an_interrupted_run_left_is_swept_unless_another_run_works_there() {
        let folder = tempfile::tempdir().unwrap();
        let left = folder.path().join(format!("{TEMPORARY}x"));
        let one = DoneList::open(folder.path(), "1/2".parse().ok()).unwrap();
        fs::write(&left, "half").unwrap();
        let _two = DoneList::open(folder.path(), "2/2".parse().ok()).unwrap();
        assert!(left.exists());
        drop((one, _two));
        let _three = DoneList::open(folder.path(), None).unwrap();
        assert!(!left.exists());
    }

    #[test]
    fn a_run_that_did_nothing_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let into = folder.path().join("into");
        DoneList::open(&into, None).unwrap().close().unwrap();
        assert!(!into.exists());
    }
}
