//! The records of `fixtures/scp`, made by an independent encoder (`tests/reference/scp_encoder.py`), read and held
//! against what that encoder says of them.

use std::fs;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, Format, Match, Note, Options, PROBE_BYTES, Read, write};
use ecgkeep_recording::{Exact, Field, Recording, Signal, Waveform};
use ecgkeep_scp::SCP;
use serde_json::Value;

use crate::{read, read_as};

/// The records of one kind, by name.
pub(crate) fn records(kind: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/scp").join(kind);
    let entries = fs::read_dir(&folder).expect("the fixtures are part of the repository");
    let mut found: Vec<PathBuf> =
        entries.map(|entry| entry.expect("a folder that can be listed").path()).collect();
    found.retain(|path| path.extension().is_some_and(|ending| ending == "scp"));
    found.sort();
    assert!(!found.is_empty(), "no record in {}", folder.display());
    found
}

fn name(path: &Path) -> String {
    path.file_stem().expect("a file has a name").to_string_lossy().into_owned()
}

fn expected(path: &Path) -> Value {
    let text = fs::read_to_string(path.with_extension("json")).expect("every record has its JSON beside it");
    serde_json::from_str(&text).expect("the encoder writes JSON")
}

fn bytes(path: &Path) -> Vec<u8> {
    fs::read(path).expect("the fixtures are part of the repository")
}

#[test]
fn every_record_is_read_as_its_encoder_says() {
    let mut faults = Vec::new();
    for path in records("good").into_iter().chain(records("departs")) {
        let (name, expected) = (name(&path), expected(&path));
        match read(&bytes(&path)) {
            Err(error) => faults.push(format!("{name}: {error}")),
            Ok(read) => {
                faults.extend(compare(&read, &expected).into_iter().map(|fault| format!("{name}: {fault}")))
            }
        }
    }
    assert!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn what_is_no_record_is_refused_with_a_place() {
    for path in records("bad") {
        let (name, expected) = (name(&path), expected(&path));
        let error = read(&bytes(&path)).err().unwrap_or_else(|| panic!("{name} is read"));
        assert_eq!(format!("{:?}", error.kind()), text(&expected["error"]["kind"]), "{name}: {error}");
        assert!(error.to_string().contains(text(&expected["error"]["piece"])), "{name}: {error}");
        assert!(error.place().file.is_some() && error.place().byte.is_some(), "{name}: {error}");
    }
}

#[test]
fn good_records_have_no_departure_and_no_damage() {
    for path in records("good") {
        let read = read(&bytes(&path)).expect("read above as well");
        let bad: Vec<String> =
            read.notes.iter().filter(|note| is_bad(note)).map(ToString::to_string).collect();
        assert!(bad.is_empty(), "{}: {}", path.display(), bad.join("; "));
    }
}

fn is_bad(note: &Note) -> bool {
    note.weight > ecgkeep_format::Weight::NotTaken
}

#[test]
fn every_record_is_recognised() {
    for path in records("good").into_iter().chain(records("departs")) {
        let bytes = bytes(&path);
        let sure = SCP.probe("x", &bytes[..bytes.len().min(PROBE_BYTES)]);
        let lacks_its_size = ["cut-", "bytes-behind"].iter().any(|word| name(&path).starts_with(word));
        let least = if lacks_its_size { Match::Likely } else { Match::Certain };
        let least = if name(&path) == "version-2-without-text" { Match::Likely } else { least };
        assert!(sure >= least, "{}: {sure:?}", path.display());
    }
}

/// The notes or the error of every record, word for word: reviewed as data. Set ECGKEEP_RENEW to write
/// them anew, then read what changed.
#[test]
fn notes_and_errors_read_as_reviewed() {
    for path in ["good", "departs", "bad"].into_iter().flat_map(records) {
        let file = path.file_name().expect("a file has a name").to_string_lossy().into_owned();
        let lines = match read_as(&file, &bytes(&path)) {
            Ok(read) => read.notes.iter().map(ToString::to_string).collect::<Vec<_>>(),
            Err(error) => vec![describe(&error)],
        };
        let found: String = lines.iter().map(|line| format!("{line}\n")).collect();
        let beside = path.with_extension("txt");
        if std::env::var_os("ECGKEEP_RENEW").is_some() {
            match found.is_empty() {
                true => drop(fs::remove_file(&beside)),
                false => fs::write(&beside, &found).expect("the fixtures can be written"),
            }
        }
        let reviewed = fs::read_to_string(&beside).unwrap_or_default();
        assert_eq!(found, reviewed, "{}", beside.display());
    }
}

fn describe(error: &Error) -> String {
    format!("{:?}: {error}", error.kind())
}

/// What is read and can be written comes back with the same voltages, and nothing of it is lost unsaid.
#[test]
fn what_is_read_is_written_back() {
    let mut written = 0;
    for path in records("good").into_iter().chain(records("departs")) {
        let recording = read(&bytes(&path)).and_then(Read::one).expect("read above as well").0;
        let Ok(again) = write(&SCP, std::slice::from_ref(&recording), "r", &Options::default()) else {
            continue;
        };
        written += 1;
        let lost: Vec<String> =
            again.losses.iter().filter(|loss| !is_allowed(loss.field)).map(ToString::to_string).collect();
        assert!(lost.is_empty(), "{}: {}", path.display(), lost.join("; "));
    }
    assert!(written > 80, "only {written} were written");
}

/// Gaps have no place; a report of unknown state becomes an unconfirmed one.
fn is_allowed(field: Field) -> bool {
    matches!(field, Field::Missing | Field::StatementStatus)
}

fn compare(read: &Read, expected: &Value) -> Vec<String> {
    let mut faults = Vec::new();
    let recording = &read.recordings[0];
    let waveforms = expected["waveforms"].as_array().expect("the encoder writes waveforms");
    if waveforms.len() != recording.waveforms.len() {
        faults.push(format!("{} waveforms, {} expected", recording.waveforms.len(), waveforms.len()));
    }
    for (found, expected) in recording.waveforms.iter().zip(waveforms) {
        faults.extend(compare_waveform(found, expected));
    }
    faults.extend(compare_notes(&read.notes, &expected["notes"]));
    faults.extend(compare_facts(recording, &expected["facts"]));
    faults
}

fn compare_waveform(found: &Waveform, expected: &Value) -> Vec<String> {
    let mut faults = Vec::new();
    let kind =
        if found.kind == ecgkeep_recording::WaveformKind::Rhythm { "rhythm" } else { "representative_beat" };
    let rate: Exact = text(&expected["rate"]).parse().expect("the encoder writes exact rates");
    let start: Exact = text(&expected["start"]).parse().expect("the encoder writes exact starts");
    if (kind, found.rate().per_second(), found.start) != (text(&expected["kind"]), rate, start) {
        faults.push(format!("{kind} at {} from {}, expected {expected:.60}", found.rate(), found.start));
    }
    let leads = expected["leads"].as_array().expect("the encoder writes leads");
    if leads.len() != found.signals().len() {
        faults.push(format!("{} leads, {} expected", found.signals().len(), leads.len()));
    }
    for (signal, expected) in found.signals().iter().zip(leads) {
        if signal.lead.name() != text(&expected["lead"]) {
            faults.push(format!("lead {}, expected {}", signal.lead, expected["lead"]));
        }
        let missing: Vec<Value> = signal.missing.iter().map(|gap| vec![gap.start, gap.end].into()).collect();
        if missing != *expected["missing"].as_array().expect("the encoder writes gaps") {
            faults
                .push(format!("lead {}: missing {missing:?}, expected {}", signal.lead, expected["missing"]));
        }
        if voltages(signal) != expected["nanovolts"] {
            faults.push(format!(
                "lead {}: {}, expected {}",
                signal.lead,
                voltages(signal),
                expected["nanovolts"]
            ));
        }
    }
    faults
}

fn voltages(signal: &Signal) -> Value {
    let step = signal.step.nanovolts().to_whole().expect("SCP-ECG has whole nanovolts");
    signal.samples.iter().map(|count| i64::from(*count) * step).collect()
}

fn compare_notes(found: &[Note], expected: &Value) -> Vec<String> {
    let expected = expected.as_array().expect("the encoder writes notes");
    let is = |note: &Note, row: &Value| {
        let part = note.place.part.as_deref();
        note.weight.to_string() == text(&row[0])
            && part == row[1].as_str()
            && note.text.contains(text(&row[2]))
    };
    let all: Vec<String> = found.iter().map(ToString::to_string).collect();
    let missing = expected.iter().filter(|row| !found.iter().any(|note| is(note, row)));
    let missing = missing.map(|row| format!("no note {row} among {all:?}"));
    let more = found.iter().filter(|note| !expected.iter().any(|row| is(note, row)));
    missing.chain(more.map(|note| format!("unexpected: {note}"))).collect()
}

/// Facts by JSON pointer; an object need hold no more than is expected of it, a list no other items.
fn compare_facts(recording: &Recording, expected: &Value) -> Vec<String> {
    let form = serde_json::to_value(recording).expect("the model has a JSON form");
    let facts = expected.as_object().expect("the encoder writes facts");
    let wrong = facts
        .iter()
        .filter(|(pointer, value)| !form.pointer(pointer).is_some_and(|found| holds(found, value)));
    wrong
        .map(|(pointer, value)| format!("{pointer} is {:?}, expected {value}", form.pointer(pointer)))
        .collect()
}

fn holds(found: &Value, expected: &Value) -> bool {
    match (found, expected) {
        (Value::Object(found), Value::Object(expected)) => {
            expected.iter().all(|(key, value)| found.get(key).is_some_and(|found| holds(found, value)))
        }
        (Value::Array(found), Value::Array(expected)) => {
            found.len() == expected.len()
                && found.iter().zip(expected).all(|(found, expected)| holds(found, expected))
        }
        _ => found == expected,
    }
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}
