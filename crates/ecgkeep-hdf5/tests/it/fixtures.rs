//! The files of `fixtures/hdf5`, which h5py wrote from the documented layout (tests/reference/hdf5_fixtures.py): what is
//! read, what is noted and what is refused, word for word.

use std::path::{Path, PathBuf};

use ecgkeep_format::{Folder, Format, Kind, Limits, Memory, Options, Read, Result, write};
use ecgkeep_hdf5::HDF5;
use ecgkeep_recording::Recording;
use serde_json::Value;

#[path = "../../../../tests/harness/beside.rs"]
mod beside;

use beside::compare_with_text_beside;

pub const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/hdf5");

pub fn files_in(folder: &str) -> Vec<PathBuf> {
    beside::files_in(&Path::new(FIXTURES).join(folder), "h5", 1)
}

fn read(path: &Path) -> Result<Read> {
    HDF5.read(&Folder::of(path)?, &Limits::default())
}

#[test]
fn good_files_are_read_as_expected_and_come_back_when_written() {
    for path in files_in("good") {
        let first = read(&path).unwrap_or_else(|error| panic!("{error}"));
        assert!(first.notes.is_empty(), "{}: {:?}", path.display(), first.notes);
        let expected = std::fs::read_to_string(path.with_extension("expected")).unwrap();
        let mut expected: Value = serde_json::from_str(&expected).unwrap();
        let expected: Vec<Recording> = serde_json::from_value(expected["recordings"].take()).unwrap();
        assert_eq!(first.recordings, expected, "{}", path.display());
        let written = write(&HDF5, &first.recordings, "r", &Options::default()).unwrap();
        assert!(written.losses.is_empty());
        let again = HDF5.read(&Memory::new("r.h5", written.files), &Limits::default()).unwrap();
        assert_eq!(again.recordings, first.recordings, "{}", path.display());
    }
}

#[test]
fn departing_files_are_read_and_say_so() {
    for path in files_in("departs") {
        let read = read(&path).unwrap_or_else(|error| panic!("{error}"));
        let notes: String = read.notes.iter().map(|note| format!("{note}\n")).collect();
        compare_with_text_beside(&path, &notes);
        assert!(!notes.is_empty());
    }
}

#[test]
fn bad_files_are_refused_with_the_place() {
    for path in files_in("bad") {
        let error = read(&path).expect_err(&path.display().to_string());
        assert!(error.place().file.is_some(), "{error}");
        assert!(
            !matches!(error.kind(), Kind::Internal | Kind::Usage | Kind::Refused | Kind::Io),
            "{error:?}"
        );
        compare_with_text_beside(&path, &format!("{:?}: {error}\n", error.kind()));
    }
}
