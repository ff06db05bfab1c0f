//! A bundle's members as files.

use std::path::{Path, PathBuf};

use ecgkeep_bundle::Bundle;
use ecgkeep_format::Result;

use crate::storage::{Storage, already_there};
use crate::verify::altered;

/// Writes every member of the bundle called `name` below `into`, in the bundle's one top directory, and returns that directory. Member names
/// are plain by the bundle's grammar, so nothing is written outside it.
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
) -> Result<PathBuf> {
    let faults = bundle.verify();
    if let (false, Some(error)) = (accept_damage, altered(name, &faults)) {
        return Err(error);
    }
    let top = into.join(bundle.stem());
    if storage.exists(&top) && !overwrite {
        return Err(already_there(&top));
    }
    for member in bundle.members() {
        let bytes = match bundle.member(member) {
            Ok(bytes) => bytes,
            Err(_) if accept_damage => continue,
            Err(error) => return Err(error),
        };
        let path = top.join(member);
        storage.make_folder(&crate::storage::folder_of(&path))?;
        storage.write(&path, &bytes, overwrite)?;
    }
    Ok(top)
}
