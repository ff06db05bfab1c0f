//! The repository that the tests look at.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The root of the repository.
#[must_use]
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The files that git tracks, relative to the root, sorted; `None` where this is no checkout.
#[must_use]
pub fn tracked_files() -> Option<Vec<String>> {
    let listed = Command::new("git").args(["ls-files", "-z"]).current_dir(root()).output().ok()?;
    let names = String::from_utf8(listed.stdout).ok()?;
    let mut names: Vec<String> = names.split_terminator('\0').map(str::to_owned).collect();
    names.sort();
    (listed.status.success() && !names.is_empty()).then_some(names)
}

/// The real recordings that may lie beside the repository; `None`, said by name, where they do not.
#[must_use]
pub fn shared_recordings(what: &str) -> Option<PathBuf> {
    let folder = root().join("../shared/recordings");
    if folder.is_dir() {
        return Some(folder);
    }
    println!("skipped: {what}: ../shared/recordings is not here");
    None
}
