//! Where each input of a batch is written, decided before anything is.

use std::collections::BTreeMap;
use std::path::PathBuf;

use ecgkeep_archive::sha256;
use ecgkeep_format::{Error, Format, Kind, Result};

use crate::input::Found;

/// The most characters of a stem that had to be changed.
const STEM_LENGTH: usize = 50;

/// An input and where below the output folder its files go.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Target {
    /// The input.
    pub found: Found,
    /// The folder, relative to the output folder.
    pub folder: PathBuf,
    /// What the files are called, without ending.
    pub stem: String,
}

impl Target {
    /// Folder and stem, parts separated by `/`.
    #[must_use]
    pub fn name(&self) -> String {
        name_in(&self.folder, &self.stem)
    }
}

/// `folder/name` with `/` on every system.
pub(crate) fn name_in(folder: &std::path::Path, name: &str) -> String {
    let mut parts: Vec<String> =
        folder.components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
    parts.push(name.to_owned());
    parts.join("/")
}

/// Mirrors where inputs were found; the same inputs always get the same names.
/// # Errors
/// [`Kind::Usage`] where two inputs would be written to one name, naming both.
pub fn targets(found: Vec<Found>, format: &dyn Format) -> Result<Vec<Target>> {
    let target = |found: Found| Target {
        folder: found.below.parent().map(PathBuf::from).unwrap_or_default(),
        stem: stem(&found, format),
        found,
    };
    let targets: Vec<Target> = found.into_iter().map(target).collect();
    let mut taken: BTreeMap<String, &Target> = BTreeMap::new();
    for target in &targets {
        if let Some(other) = taken.insert(target.name(), target) {
            let (one, two) = (other.found.path.display(), target.found.path.display());
            return Err(Error::new(
                Kind::Usage,
                format!("{one} and {two} would both be written as {}", target.name()),
            )
            .remedy("nothing was written; convert them into different folders"));
        }
    }
    Ok(targets)
}

/// The input's own stem where the format takes it; else letters, digits and underscores, with eight digits of its digest
/// where more than punctuation had to go.
fn stem(found: &Found, format: &dyn Format) -> String {
    let own = found
        .below
        .file_stem()
        .map_or_else(|| "recording".into(), |stem| stem.to_string_lossy().into_owned());
    if format.takes_stem(&own) {
        return own;
    }
    let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '_' };
    if own.is_ascii() && own.len() <= STEM_LENGTH && !own.is_empty() {
        return own.chars().map(plain).collect();
    }
    let start: String = own.chars().map(plain).take(STEM_LENGTH - 9).collect();
    format!("{start}_{}", &sha256(own.as_bytes())[..8])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format_by_id;

    fn found(below: &str) -> Found {
        Found::new(format!("in/{below}").into(), below.into(), 1)
    }

    #[test]
    fn folders_are_mirrored_and_stems_kept_where_the_format_takes_them() {
        let names = |format: &str| -> Vec<String> {
            let inputs = ["a.hea", "ward 3/b-1.scp", "ward 3/åse.xml"].map(found).to_vec();
            targets(inputs, format_by_id(format).unwrap()).unwrap().iter().map(Target::name).collect()
        };
        assert_eq!(names("json"), ["a", "ward 3/b-1", "ward 3/åse"]);
        assert_eq!(names("wfdb")[..2], ["a", "ward 3/b_1"]);
        assert!(names("wfdb")[2].starts_with("ward 3/_se_"), "{:?}", names("wfdb"));
    }

    #[test]
    fn two_inputs_of_one_name_are_refused_by_name() {
        let error = targets(vec![found("x/r.hea"), found("x/r.json")], format_by_id("json").unwrap());
        let error = error.unwrap_err();
        assert_eq!(error.kind(), Kind::Usage);
        let text = error.to_string();
        assert!(text.contains("in/x/r.hea and in/x/r.json would both be written as x/r"), "{text}");
    }
}
