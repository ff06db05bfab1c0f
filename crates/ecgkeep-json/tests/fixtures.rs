//! The files of `fixtures/json`: what is read, what is noted and what is refused, word for word.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Folder, Format, Limits, Memory, Options, Read, Result, write};
use ecgkeep_json::JSON;
use serde_json::Value;

#[path = "../../../tests/harness/beside.rs"]
mod beside;

use beside::compare_with_text_beside;

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/json");

fn files_in(folder: &str) -> Vec<PathBuf> {
    beside::files_in(&Path::new(FIXTURES).join(folder), "json", 1)
}

fn read(path: &Path) -> Result<Read> {
    JSON.read(&Folder::of(path)?, &Limits::default())
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
