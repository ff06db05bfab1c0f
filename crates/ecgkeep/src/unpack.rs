//! A bundle's members as files.

use std::path::{Path, PathBuf};

use ecgkeep_bundle::{Bundle, Fault};
use ecgkeep_format::Result;

use crate::storage::{Storage, already_there};
use crate::verify::altered;

/// What was taken out of a bundle.
#[derive(Debug)]
pub struct Unpacked {
    /// The bundle's one top directory, below the folder that was named.
    pub top: PathBuf,
    /// What is missing, unlisted or altered; empty unless damage was accepted.
    pub faults: Vec<Fault>,
    /// The members that could not be read and were not written.
    pub left_out: Vec<String>,
}

/// Writes every member of the bundle called `name` below `into`, in the bundle's one top directory. Member names are plain by
/// the bundle's grammar, so nothing is written outside it.
/// # Errors
/// [`Kind::Altered`](ecgkeep_format::Kind::Altered) where the bundle is not valid and damage is not accepted:
/// then nothing is written; [`Kind::Io`](ecgkeep_format::Kind::Io) where the directory is there already and
/// `overwrite` is not set, or writing fails.
pub fn unpack(
    bundle: &Bundle,
    name: &str,
    into: &Path,
    storage: &dyn Storage,
    overwrite: bool,
    accept_damage: bool,
) -> Result<Unpacked> {
    let faults = bundle.verify();
    if let (false, Some(error)) = (accept_damage, altered(name, &faults)) {
        return Err(error);
    }
    let top = into.join(bundle.stem());
    if storage.exists(&top) && !overwrite {
        return Err(already_there(&top));
    }
    let mut left_out = Vec::new();
    for member in bundle.members() {
        let bytes = match bundle.member(member) {
            Ok(bytes) => bytes,
            Err(_) if accept_damage => {
                left_out.push(member.to_owned());
                continue;
            }
            Err(error) => return Err(error),
        };
        let path = top.join(member);
        storage.make_folder(&crate::storage::folder_of(&path))?;
        storage.write(&path, &bytes, overwrite)?;
    }
    Ok(Unpacked { top, faults, left_out })
}
