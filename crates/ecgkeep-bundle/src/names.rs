//! Names that every file system keeps apart and no shell or reader can misread.

use std::collections::{BTreeMap, BTreeSet};

use ecgkeep_format::{Error, Kind, Place, Result, plain_name};

use crate::constants::{MAX_DEPTH, MAX_PATH_BYTES, MAX_SAFE_NAME_BYTES};

/// Accepts one component of a path: `[A-Za-z0-9][A-Za-z0-9._-]*`, no dot at its end, no device name.
pub(crate) fn is_component(name: &[u8]) -> bool {
    let allowed = |byte: &u8| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'_' | b'-');
    name.first().is_some_and(u8::is_ascii_alphanumeric)
        && name.iter().all(allowed)
        && name.last() != Some(&b'.')
        && str::from_utf8(name).is_ok_and(|name| plain_name(name).is_ok())
}

/// Accepts the whole path of a member, top directory first.
/// # Errors
/// [`Kind::Malformed`] with the path.
pub(crate) fn check_path(path: &[u8]) -> Result<&str> {
    let components = path.split(|byte| *byte == b'/');
    let is_plain = path.len() <= MAX_PATH_BYTES
        && (2..=MAX_DEPTH).contains(&components.clone().count())
        && components.into_iter().all(is_component);
    match str::from_utf8(path) {
        Ok(path) if is_plain => Ok(path),
        _ => {
            let shown: String = String::from_utf8_lossy(path).chars().take(80).collect();
            Err(Error::new(Kind::Malformed, format!("not a member name that a bundle may have: {shown:?}")))
        }
    }
}

/// Accepts the paths of all members: each plain, one top directory, unique after lower-casing, no file that is
/// also a directory.
/// # Errors
/// [`Kind::Malformed`] with the path that breaks a rule as the part.
pub(crate) fn check_tree<'a>(paths: impl Iterator<Item = &'a [u8]> + Clone) -> Result<()> {
    let mut files = BTreeSet::new();
    let mut top = None;
    for path in paths.clone() {
        let path = check_path(path)?;
        let malformed = |what: String| Err(Error::malformed(Place::default().part(path), what));
        let own_top = path.split('/').next();
        if *top.get_or_insert(own_top) != own_top {
            return malformed("a second top directory".to_owned());
        }
        if !files.insert(path.to_ascii_lowercase()) {
            return malformed("two members have this name, upper and lower case taken as equal".to_owned());
        }
    }
    for path in &files {
        let parents = path.match_indices('/').map(|(end, _)| &path[..end]);
        if let Some(file) = parents.into_iter().find(|parent| files.contains(*parent)) {
            let text = format!("{file} is a file and a directory");
            return Err(Error::malformed(Place::default().part(path.as_str()), text));
        }
    }
    // `B/x` and `b/y` are two directories on one file system and one on another.
    let mut directories: BTreeMap<String, &str> = BTreeMap::new();
    for path in paths.filter_map(|path| str::from_utf8(path).ok()) {
        for (end, _) in path.match_indices('/') {
            let directory = &path[..end];
            if *directories.entry(directory.to_ascii_lowercase()).or_insert(directory) != directory {
                let text = "its directory is spelled otherwise elsewhere".to_owned();
                return Err(Error::malformed(Place::default().part(path), text));
            }
        }
    }
    Ok(())
}

/// Pairs (original, safe): for every original file name one that a bundle may have.
///
/// A safe name is `[A-Za-z0-9._-]`, at most 100 bytes, and unique among the answers after lower-casing. An
/// original that is safe keeps its name; others have each character outside the set replaced by `_`. The
/// ending is kept where it is safe. The same list gives the same answer, in the order of the list.
#[must_use]
pub fn safe_names(originals: &[String]) -> Vec<(String, String)> {
    let mut taken = BTreeSet::new();
    let kept: Vec<bool> = originals
        .iter()
        .map(|name| {
            let is_safe = name.len() <= MAX_SAFE_NAME_BYTES && is_component(name.as_bytes());
            is_safe && taken.insert(name.to_ascii_lowercase())
        })
        .collect();
    let mut answers = Vec::with_capacity(originals.len());
    for (original, kept) in originals.iter().zip(kept) {
        let safe = if kept { original.clone() } else { new_safe_name(original, &mut taken) };
        answers.push((original.clone(), safe));
    }
    answers
}

/// A safe name close to `original` that is not taken yet.
fn new_safe_name(original: &str, taken: &mut BTreeSet<String>) -> String {
    let plain: String = original
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() || "._-".contains(c) { c } else { '_' })
        .collect();
    let (stem, ending) = match plain.rsplit_once('.') {
        Some((stem, ending)) if (1..=16).contains(&ending.len()) => (stem, format!(".{ending}")),
        _ => (plain.as_str(), String::new()),
    };
    let stem = stem.trim_start_matches(|c: char| !c.is_ascii_alphanumeric()).trim_end_matches('.');
    let stem = &stem[..stem.len().min(MAX_SAFE_NAME_BYTES - ending.len() - 12)];
    let is_usable = is_component(format!("{stem}{ending}").as_bytes());
    let stem = if is_usable { stem.to_owned() } else { format!("file-{stem}") };
    let mut number = 1_u32;
    loop {
        let name = if number == 1 { format!("{stem}{ending}") } else { format!("{stem}-{number}{ending}") };
        if taken.insert(name.to_ascii_lowercase()) {
            return name;
        }
        number += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_has_plain_components_under_one_top_directory() {
        for path in ["b/a", "b/data/original/1.hea", "3f.r1/metadata/entry.json", "b/A_b-c.d"] {
            assert!(check_path(path.as_bytes()).is_ok(), "{path}");
        }
        let long = format!("b/{}", "x".repeat(199));
        for path in [
            "",
            "b",
            "/b",
            "b/",
            "b//a",
            "b/./a",
            "b/../a",
            "b/.a",
            "b/-a",
            "b/a.",
            "b/a b",
            "b/a\\b",
            "b/nul",
            "b/com1.txt",
            "b/a:b",
            "b/ä",
            "a/b/c/d/e/f/g",
            "b/a\n",
            "b/\0",
            &long,
        ] {
            assert_eq!(check_path(path.as_bytes()).unwrap_err().kind(), Kind::Malformed, "{path:?}");
        }
    }

    #[test]
    fn members_are_one_tree_on_every_file_system() {
        let check = |paths: &[&str]| check_tree(paths.iter().map(|path| path.as_bytes()));
        assert!(check(&["b/a", "b/data/x", "b/data/y"]).is_ok());
        assert!(check(&["b/a", "c/a"]).is_err(), "two tops");
        assert!(check(&["b/a", "b/a"]).is_err(), "twice");
        assert!(check(&["b/a", "b/A"]).is_err(), "case");
        assert!(check(&["b/a", "b/a/x"]).is_err(), "file and directory");
        assert!(check(&["b/a", "b/c/x", "b/A/x"]).is_err(), "file and directory but for case");
        assert!(check(&["b/c/x", "b/C/y"]).is_err(), "two spellings of a directory");
    }

    #[test]
    fn safe_names_are_kept_made_and_told_apart() {
        let originals =
            ["1.hea", "Mühle 7.dat", "1.HEA", "a b", "a_b", ".x", "con", "été", "..", "M?hle_7.dat"];
        let answers = safe_names(&originals.map(str::to_owned));
        let safe: Vec<&str> = answers.iter().map(|(_, safe)| safe.as_str()).collect();
        assert_eq!(
            safe,
            [
                "1.hea",
                "M_hle_7.dat",
                "1-2.HEA",
                "a_b-2",
                "a_b",
                "file-.x",
                "file-con",
                "t_",
                "file-",
                "M_hle_7-2.dat"
            ]
        );
        assert!(answers.iter().all(|(_, safe)| is_component(safe.as_bytes())));
    }
}
