//! Fixtures of one file each, and the text beside a file that says what is said of it. Taken in by the tests of the
//! format crates by path, so that it names no crate of ours.

use std::path::{Path, PathBuf};

/// The files with this ending in a folder, sorted; at least `at_least` of them.
pub fn files_in(folder: &Path, ending: &str, at_least: usize) -> Vec<PathBuf> {
    let listed = std::fs::read_dir(folder).expect("fixtures are here");
    let mut files: Vec<PathBuf> = listed.map(|entry| entry.expect("can be listed").path()).collect();
    files.retain(|path| path.extension().is_some_and(|own| own == ending));
    files.sort();
    assert!(files.len() >= at_least, "{} files in {}", files.len(), folder.display());
    files
}

/// The text beside a fixture is what was said of it; `ECGKEEP_RENEW=1` writes it anew, to be read before it is
/// committed.
pub fn compare_with_text_beside(path: &Path, said: &str) {
    let beside = path.with_extension("txt");
    if std::env::var_os("ECGKEEP_RENEW").is_some() {
        std::fs::write(&beside, said).expect("can be written");
    }
    let expected = std::fs::read_to_string(&beside).unwrap_or_default();
    assert_eq!(said, expected, "{}", path.display());
}
