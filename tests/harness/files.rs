//! Recordings of the repository that lie in files, and the formats that can write some.

use ecgkeep_format::{Folder, Format, Limits, Read};

use crate::corpus::Named;
use crate::repository::root;

/// The demonstration recordings of the invented clinic.
/// # Panics
/// Where they are not in the repository or cannot be read.
#[must_use]
pub fn demonstration() -> Vec<Named> {
    let folder = root().join("examples/larkmoor");
    let listed = std::fs::read_dir(&folder).expect("the demonstration recordings are here");
    let mut paths: Vec<_> = listed.map(|entry| entry.expect("can be listed").path()).collect();
    paths.sort();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "hea"));
    let read = |path: &std::path::PathBuf| {
        let source = Folder::of(path).expect("a file name");
        let format = ecgkeep::choose(&source, None).expect("it is recognised");
        let (recording, _) = format.read(&source, &Limits::default()).and_then(Read::one).expect("it reads");
        Named { name: path.file_name().unwrap_or_default().to_string_lossy().into_owned(), recording }
    };
    paths.iter().map(read).collect()
}

/// The recordings in the fixtures of a format that follow its standard: they hold items of the format's own, too.
/// # Panics
/// Where one of them cannot be read.
#[must_use]
pub fn good_fixtures(format: &dyn Format) -> Vec<Named> {
    let folder = root().join("fixtures").join(format.about().id).join("good");
    let listed = std::fs::read_dir(&folder).into_iter().flatten();
    let mut paths: Vec<_> = listed.map(|entry| entry.expect("can be listed").path()).collect();
    paths.sort();
    paths.retain(|path| {
        path.extension().is_some_and(|ending| format.about().endings.iter().any(|own| ending == *own))
    });
    let read = |path: &std::path::PathBuf| {
        let name = path.display().to_string();
        let source = Folder::of(path).expect("a file name");
        let read = format.read(&source, &Limits::default()).unwrap_or_else(|error| panic!("{name}: {error}"));
        read.recordings.into_iter().map(move |recording| Named { name: name.clone(), recording })
    };
    paths.iter().flat_map(read).collect()
}

/// The formats that this build can write. Of the others it is said that they were left out.
pub fn writing() -> impl Iterator<Item = &'static dyn Format> {
    ecgkeep::FORMATS.iter().copied().filter(|format| match format.available() {
        Ok(()) => !format.about().writes.is_empty(),
        Err(why) => {
            println!("skipped: writing {}: {why}", format.about().id);
            false
        }
    })
}
