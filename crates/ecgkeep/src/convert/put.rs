//! Files to the disk: what is ours may be replaced, what is not stays.

use std::path::{Path, PathBuf};

use ecgkeep_archive::sha256;
use ecgkeep_format::{Error, File, Kind, Result};

use crate::convert::done::Line;
use crate::convert::targets::name_in;
use crate::input::Opened;
use crate::storage::{Storage, already_there};

/// Where the files of one input go.
pub struct Put<'a> {
    /// The storage.
    pub storage: &'a dyn Storage,
    /// The folder.
    pub folder: &'a Path,
    /// Whether files of others are replaced.
    pub overwrite: bool,
}

/// Refuses to write over a file that was just read.
/// # Errors
/// [`Kind::Refused`].
pub(crate) fn refuse_own_source(source: &Path, opened: &Opened, folder: &Path, files: &[File]) -> Result<()> {
    let beside = source.parent().map(Path::to_owned).unwrap_or_default();
    let read = opened.files.iter().map(|file| beside.join(&file.name)).chain([source.to_owned()]);
    let read: Vec<PathBuf> = read.filter_map(|path| path.canonicalize().ok()).collect();
    let target = |file: &File| folder.join(&file.name);
    match files.iter().map(target).find(|path| path.canonicalize().is_ok_and(|path| read.contains(&path))) {
        Some(path) => Err(Error::new(Kind::Refused, format!("{} is the source itself", path.display()))
            .remedy("an original is never written over; choose another name or folder")),
        None => Ok(()),
    }
}

/// Writes files side by side, the naming file last. Identical files that are there already stay; nothing is begun where
/// another one is there. Where one cannot be written, those written before it are taken back.
/// # Errors
/// [`Kind::Refused`] for a file of the source itself, [`Kind::Io`].
pub fn put(put: &Put<'_>, source: &Path, opened: &Opened, files: &[File]) -> Result<Vec<PathBuf>> {
    refuse_own_source(source, opened, put.folder, files)?;
    write_new(put, files, &[], Path::new("")).map(|(paths, _)| paths)
}

/// The same for a batch whose list says what it wrote before: such files are replaced, with a remark where somebody
/// changed them, and removed where they are not written any more.
pub(crate) fn write_new(
    put: &Put<'_>,
    files: &[File],
    before: &[&Line],
    below: &Path,
) -> Result<(Vec<PathBuf>, Vec<String>)> {
    let mut remarks = Vec::new();
    let paths: Vec<PathBuf> = files.iter().map(|file| put.folder.join(&file.name)).collect();
    let mut writes = Vec::new();
    for (path, file) in paths.iter().zip(files) {
        if !put.storage.exists(path) {
            writes.push((path, file, false));
            continue;
        }
        let there = std::fs::read(path).ok();
        if there.as_deref() == Some(&file.bytes) {
            continue;
        }
        let digests = digests_of(before, &name_in(below, &file.name));
        if !put.overwrite && digests.is_empty() {
            return Err(already_there(path));
        }
        let is_ours = there.is_some_and(|bytes| digests.contains(&sha256(&bytes).as_str()));
        if !digests.is_empty() && !is_ours {
            remarks.push(format!("{} was changed since it was written: written anew", path.display()));
        }
        writes.push((path, file, true));
    }
    let mut placed: Vec<&Path> = Vec::new();
    for (path, file, replaces) in writes {
        if let Err(error) = put.storage.write(path, &file.bytes, replaces) {
            // A record without its naming file is no record.
            placed.iter().for_each(|path| drop(std::fs::remove_file(path)));
            return Err(error);
        }
        placed.extend((!replaces).then_some(path.as_path()));
    }
    remarks.extend(remove_stale(put, files, before, below));
    Ok((paths, remarks))
}

/// The digests with which the list knows an output.
fn digests_of<'a>(before: &[&'a Line], name: &str) -> Vec<&'a str> {
    let outputs = before.iter().flat_map(|line| &line.outputs);
    outputs.filter(|output| output.name == name).map(|output| output.sha256.as_str()).collect()
}

/// Removes what an earlier run wrote for the same input and this one does not: a reader might take it for a part.
fn remove_stale(put: &Put<'_>, files: &[File], before: &[&Line], below: &Path) -> Vec<String> {
    let mut remarks = Vec::new();
    for output in before.iter().flat_map(|line| &line.outputs) {
        let Some(name) = output.name.rsplit('/').next() else { continue };
        let path = put.folder.join(name);
        if files.iter().any(|file| name_in(below, &file.name) == output.name) || !put.storage.exists(&path) {
            continue;
        }
        let is_ours = std::fs::read(&path).is_ok_and(|bytes| sha256(&bytes) == output.sha256);
        if is_ours && std::fs::remove_file(&path).is_ok() {
            remarks.push(format!("{} is not written any more: removed", path.display()));
        } else {
            remarks.push(format!("{} is not written any more and was changed: left there", path.display()));
        }
    }
    remarks
}
