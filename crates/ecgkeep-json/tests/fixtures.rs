//! The files of `fixtures/json`: what is read, what is noted and what is refused, word for word.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Folder, Format, Limits, Memory, Options, Read, Result, write};
use ecgkeep_json::JSON;
use serde_json::Value;

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/json");

fn files_in(folder: &str) -> Vec<PathBuf> {
    let listed = std::fs::read_dir(Path::new(FIXTURES).join(folder)).expect("fixtures are here");
    let mut files: Vec<PathBuf> = listed.map(|entry| entry.expect("can be listed").path()).collect();
    files.retain(|path| path.extension().is_some_and(|ending| ending == "json"));
    files.sort();
    assert!(!files.is_empty(), "no fixture in {folder}");
    files
}

fn read(path: &Path) -> Result<Read> {
    JSON.read(&Folder::of(path)?, &Limits::default())
}

/// The text beside a fixture is what was said of it; `ECGKEEP_RENEW=1` writes it anew, to be read before it is
/// committed.
fn compare_with_text_beside(path: &Path, said: &str) {
    let beside = path.with_extension("txt");
    if std::env::var_os("ECGKEEP_RENEW").is_some() {
        std::fs::write(&beside, said).expect("can be written");
    }
    let expected = std::fs::read_to_string(&beside).unwrap_or_default();
    assert_eq!(said, expected, "{}", path.display());
}

#[test]
fn good_files_come_back_exactly_when_written() {
    for path in files_in("good") {
        let first = read(&path).unwrap_or_else(|error| panic!("{error}"));
        assert!(first.notes.is_empty(), "{}: {:?}", path.display(), first.notes);
        let written = write(&JSON, &first.recordings, "r", &Options::default()).unwrap();
        assert!(written.losses.is_empty());
        let again = JSON.read(&Memory::new("r.json", written.files), &Limits::default()).unwrap();
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
        assert!(error.place().byte.is_some(), "{error}");
        compare_with_text_beside(&path, &format!("{:?}: {error}\n", error.kind()));
    }
}

#[test]
fn the_fixture_of_every_member_holds_every_member_of_the_schema() {
    let parse = |path: PathBuf| serde_json::from_slice::<Value>(&std::fs::read(path).unwrap()).unwrap();
    let schema = parse(Path::new(FIXTURES).join("../../schemas/recording.schema.json"));
    let (mut known, mut used) = (BTreeSet::new(), BTreeSet::new());
    members_of_schema(&schema, &mut known);
    members_of_document(&parse(Path::new(FIXTURES).join("good/every-member.json")), &mut used);
    let unused: Vec<&String> = known.difference(&used).collect();
    assert!(unused.is_empty(), "{unused:?}");
    assert!(known.len() > 80, "only {} members found in the schema", known.len());
}

fn members_of_schema(schema: &Value, found: &mut BTreeSet<String>) {
    match schema {
        Value::Object(parts) => {
            for (name, part) in parts {
                if name == "properties" {
                    found.extend(part.as_object().into_iter().flatten().map(|(name, _)| name.clone()));
                }
                members_of_schema(part, found);
            }
        }
        Value::Array(parts) => parts.iter().for_each(|part| members_of_schema(part, found)),
        _ => {}
    }
}

fn members_of_document(document: &Value, found: &mut BTreeSet<String>) {
    match document {
        Value::Object(members) => {
            for (name, value) in members {
                found.insert(name.clone());
                members_of_document(value, found);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| members_of_document(item, found)),
        _ => {}
    }
}
