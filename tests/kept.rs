//! What earlier releases wrote is read, proven and found with the program of today: `fixtures/kept`, one folder a release.

use std::path::{Path, PathBuf};

use ecgkeep_tests::program::run;
use ecgkeep_tests::repository::root;
use serde_json::Value;

/// A folder of a release, its archive copied to where it can be written to, without the empty folders, which git does
/// not keep.
struct Release {
    folder: PathBuf,
    expected: Value,
    work: tempfile::TempDir,
}

fn releases() -> Vec<Release> {
    let listed = std::fs::read_dir(root().join("fixtures/kept")).expect("releases are kept");
    let folders = listed.map(|entry| entry.expect("it can be listed").path()).filter(|path| path.is_dir());
    let releases: Vec<Release> = folders.map(|folder| release(&folder)).collect();
    assert!(!releases.is_empty(), "no release is kept");
    releases
}

fn release(folder: &Path) -> Release {
    let text = std::fs::read_to_string(folder.join("expected.json")).expect("what is expected is kept");
    let work = tempfile::tempdir().expect("a temporary folder");
    copy(&folder.join("archive"), &work.path().join("archive"));
    Release { folder: folder.to_owned(), expected: serde_json::from_str(&text).expect("it is JSON"), work }
}

fn copy(from: &Path, to: &Path) {
    if std::fs::read_dir(from).is_ok_and(|mut entries| entries.next().is_none()) {
        return;
    }
    std::fs::create_dir_all(to).expect("a folder can be made");
    for entry in std::fs::read_dir(from).expect("it can be listed") {
        let entry = entry.expect("it can be listed");
        let to = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &to);
        } else {
            std::fs::copy(entry.path(), to).expect("it can be copied");
        }
    }
}

impl Release {
    fn kept(&self, name: &str) -> String {
        self.folder.join(name).display().to_string()
    }

    /// Runs the program beside the copy of the archive; it must end well.
    fn run(&self, arguments: &[&str]) -> String {
        let ended = run(arguments, self.work.path(), b"");
        assert_eq!(ended.code, Some(0), "{arguments:?} in {}: {}", self.folder.display(), ended.stderr);
        ended.stdout
    }

    fn json(&self, arguments: &[&str]) -> Value {
        serde_json::from_str(&self.run(arguments)).expect("it prints JSON")
    }

    /// The source files below a folder of the work folder have the digests that are expected of them.
    fn has_sources(&self, below: &str, of: &Value) {
        let files = of["files"].as_object().expect("files by name");
        assert!(!files.is_empty());
        for (name, digest) in files {
            let path =
                find(&self.work.path().join(below), name).unwrap_or_else(|| panic!("{below}: no {name}"));
            let bytes = std::fs::read(path).expect("it can be read");
            assert_eq!(ecgkeep_archive::sha256(&bytes), digest.as_str().expect("a digest"), "{name}");
        }
    }
}

fn find(folder: &Path, name: &str) -> Option<PathBuf> {
    let paths: Vec<PathBuf> =
        std::fs::read_dir(folder).ok()?.filter_map(|entry| Some(entry.ok()?.path())).collect();
    let own = paths.iter().find(|path| path.file_name().is_some_and(|own| own == name));
    own.cloned().or_else(|| paths.iter().find_map(|path| find(path, name)))
}

#[test]
fn a_bundle_of_every_release_is_sound_and_gives_its_source_back() {
    for release in releases() {
        let (bundle, expected) = (release.kept("bundle.zip"), &release.expected["bundle"]);
        release.run(&["verify", &bundle]);
        release.run(&["unpack", &bundle, "--into", "unpacked"]);
        release.has_sources("unpacked", expected);
        // The page is drawn anew from it, and the recording converts.
        release.run(&["convert", &bundle, "copy.json"]);
        release.run(&["report", &bundle, "-o", "page.svg"]);
    }
}

#[test]
fn an_archive_of_every_release_verifies_against_its_older_checkpoint() {
    for release in releases() {
        let against = release.kept("older.note");
        let report = release.json(&[
            "archive",
            "verify",
            "archive",
            "--level",
            "deep",
            "--against",
            &against,
            "--json",
        ]);
        for trouble in ["damaged", "missing", "altered", "uncommitted"] {
            assert_eq!(report[trouble].as_array().map(Vec::len), Some(0), "{trouble}: {report}");
        }
        assert_eq!(report["destroyed"][0], release.expected["destroyed"], "{report}");
    }
}

#[test]
fn an_archive_of_every_release_goes_on() {
    for release in releases() {
        let source = root().join("examples/larkmoor/lm02_flat_lead.hea").display().to_string();
        release.run(&["archive", "add", "archive", &source, "--by", "clerk-1"]);
        let report = release.json(&["archive", "verify", "archive", "--level", "deep", "--json"]);
        assert_eq!(report["sound"], true, "{report}");
    }
}

#[test]
fn every_recording_of_an_archive_is_found_and_given_back() {
    for release in releases() {
        release.run(&["archive", "rebuild", "archive"]);
        for (identifier, revision) in release.expected["found"].as_object().expect("identifiers") {
            let found = release.json(&["archive", "find", "archive", "--identifier", identifier, "--json"]);
            let row = &found["recordings"][0];
            let own = format!("{}.r{}", row["key"].as_str().expect("a key"), row["revision"]);
            assert_eq!(own, revision.as_str().expect("a revision"), "{identifier}");
        }
        for identifier in release.expected["not_found"].as_array().expect("identifiers") {
            let arguments = ["archive", "find", "archive", "--identifier", identifier.as_str().expect("one")];
            assert_eq!(run(&arguments, release.work.path(), b"").code, Some(1), "{identifier}");
        }
        for (number, of) in release.expected["revisions"].as_array().expect("revisions").iter().enumerate() {
            let key = of[0]["key"].as_str().expect("a key");
            for revision in 1..=of[1].as_u64().expect("how many") {
                let into = format!("files-{number}-{revision}");
                release.run(&[
                    "archive",
                    "get",
                    "archive",
                    key,
                    "--revision",
                    &revision.to_string(),
                    "--original",
                    "--into",
                    &into,
                    "--by",
                    "reader",
                ]);
                release.has_sources(&into, &of[0]);
            }
        }
        let held = release.json(&["archive", "list", "archive", "--held", "--json"]);
        assert_eq!(held["entries"][0]["key"], release.expected["held"]);
    }
}

#[test]
fn a_receipt_of_every_release_proves_its_line() {
    for release in releases() {
        let receipts = release.folder.join("receipts");
        let names = std::fs::read_dir(&receipts).expect("receipts are kept");
        let paths = names.map(|entry| entry.expect("it can be listed").path());
        let mut proven = 0;
        for path in paths.filter(|path| path.extension().is_some_and(|ending| ending == "receipt")) {
            let text = std::fs::read_to_string(&path).expect("it can be read");
            let line = std::fs::read(path.with_extension("line.json")).expect("its line lies beside it");
            let line = line.strip_suffix(b"\n").unwrap_or(&line);
            let receipt = ecgkeep_archive::Receipt::parse(&text).expect("it is read");
            receipt.proves(line).expect("it proves the line");
            proven += 1;
        }
        assert!(proven > 0, "no receipt in {}", receipts.display());
    }
}
