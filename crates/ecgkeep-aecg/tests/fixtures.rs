//! The documents of `fixtures/aecg`, written by an independent writer (tests/reference/aecg_write.py): read with the
//! values it computed, noted or refused word for word.

use std::path::{Path, PathBuf};

use ecgkeep_aecg::AECG;
use ecgkeep_format::{Folder, Format, Limits, Match, Memory, Options, Read, Result, Weight, write};
use ecgkeep_recording::{ExtraValue, Recording, Scope, differences};

#[path = "../../../tests/harness/beside.rs"]
mod beside;

use beside::compare_with_text_beside;

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/aecg");

fn files_in(folder: &str) -> Vec<PathBuf> {
    beside::files_in(&Path::new(FIXTURES).join(folder), "xml", 11)
}

fn read(path: &Path) -> Result<Read> {
    AECG.read(&Folder::of(path)?, &Limits::default())
}

fn compare_with_values_beside(path: &Path, recording: &Recording) {
    let expected = std::fs::read_to_string(path.with_extension("expected")).expect("values stand beside it");
    assert_eq!(describe(recording), expected, "{}", path.display());
}

/// The recording in the lines of the independent writer.
fn describe(recording: &Recording) -> String {
    let Recording { subject, acquisition, waveforms, measurements, statements, extras, .. } = recording;
    let mut lines = vec![format!("start {}", acquisition.start)];
    lines.extend(subject.identifiers.iter().map(|id| format!("patient {}", id.value)));
    if !subject.name.is_empty() {
        lines.push(format!("name {}", subject.name.line()));
    }
    lines.extend(subject.sex.iter().map(|sex| format!("sex {sex}")));
    lines.extend(subject.birth_date.iter().map(|date| format!("born {date}")));
    for waveform in waveforms {
        lines.push(format!("waveform {}, {} Hz, start {} s", waveform.kind, waveform.rate(), waveform.start));
        for signal in waveform.signals() {
            let values = (0..waveform.length()).map(|at| signal.nanovolts(at).expect("is exact").to_string());
            lines.push(format!("lead {}: {}", signal.lead, values.collect::<Vec<_>>().join(" ")));
        }
    }
    let filters = &acquisition.filters;
    lines.extend(filters.high_pass_hz.iter().map(|hertz| format!("high-pass {hertz}")));
    lines.extend(filters.low_pass_hz.iter().map(|hertz| format!("low-pass {hertz}")));
    lines.extend(filters.notch_hz.iter().map(|hertz| format!("notch {hertz}")));
    for measurement in measurements {
        let scope = match &measurement.scope {
            Scope::Lead(lead) => format!(", lead {lead}"),
            _ => String::new(),
        };
        let formula = measurement.formula.as_ref().map_or_else(String::new, |formula| format!(", {formula}"));
        let (kind, value, unit) = (measurement.kind.name(), measurement.value, &measurement.unit);
        lines.push(format!("measurement {kind}{scope} {value} {unit}{formula}"));
    }
    for statement in statements {
        let by =
            statement.author.as_ref().map_or_else(String::new, |author| format!(" by {}", author.line()));
        let at = statement.at.map_or_else(String::new, |at| format!(" at {at}"));
        lines.push(format!("statement {}{by}{at}", statement.text));
    }
    for mark in waveforms.iter().flat_map(|waveform| &waveform.marks) {
        let lead = mark.lead.as_ref().map_or_else(String::new, |lead| format!(", lead {lead}"));
        let label = mark.label.as_ref().map_or_else(String::new, |label| format!(", {label}"));
        lines.push(format!("mark {} {}{lead}{label}", mark.sample, mark.kind));
    }
    for extra in extras {
        match &extra.value {
            ExtraValue::Text(text) => lines.push(format!("extra {}: {text}", extra.address)),
            ExtraValue::Bytes(bytes) => lines.push(format!("extra {}: {bytes:?}", extra.address)),
        }
    }
    lines.push(String::new());
    lines.join("\n")
}

#[test]
fn good_documents_hold_what_the_writer_computed_and_come_back_when_written() {
    for path in files_in("good") {
        let first = read(&path).unwrap_or_else(|error| panic!("{error}"));
        assert!(first.notes.is_empty(), "{}: {:?}", path.display(), first.notes);
        let (recording, _) = first.one().expect("one recording");
        compare_with_values_beside(&path, &recording);
        let written = write(&AECG, std::slice::from_ref(&recording), "r", &Options::default());
        let written = written.unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        assert!(written.losses.is_empty(), "{}: {:?}", path.display(), written.losses);
        let back = AECG.read(&Memory::new("r.xml", written.files), &Limits::default()).expect("is read back");
        assert!(back.notes.is_empty(), "{}: {:?}", path.display(), back.notes);
        let (back, _) = back.one().expect("one recording");
        assert_eq!(differences(&recording, &back), [], "{}", path.display());
        assert_eq!(recording.fingerprint(), back.fingerprint(), "{}", path.display());
    }
}

#[test]
fn departing_documents_are_read_and_say_so() {
    for path in files_in("departs") {
        let read = read(&path).unwrap_or_else(|error| panic!("{error}"));
        let notes: String = read.notes.iter().map(|note| format!("{note}\n")).collect();
        assert!(read.notes.iter().any(|note| note.weight >= Weight::NotTaken), "{}", path.display());
        let (recording, _) = read.one().expect("one recording");
        compare_with_values_beside(&path, &recording);
        compare_with_text_beside(&path, &notes);
        write(&AECG, &[recording], "r", &Options::default())
            .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    }
}

#[test]
fn bad_documents_are_refused_with_the_place() {
    for path in files_in("bad") {
        let error = read(&path).expect_err("is refused");
        assert!(error.place().file.is_some(), "{error}");
        compare_with_text_beside(&path, &format!("{:?}: {error}\n", error.kind()));
    }
}

#[test]
fn every_document_is_recognised_by_its_root() {
    for path in files_in("good").into_iter().chain(files_in("departs")) {
        let bytes = std::fs::read(&path).expect("can be read");
        let name = path.file_name().and_then(|name| name.to_str()).expect("a name");
        let found = AECG.probe(name, &bytes[..bytes.len().min(ecgkeep_format::PROBE_BYTES)]);
        let wanted = if name.contains("-namespace") && !name.starts_with("prefixed") {
            Match::Likely
        } else {
            Match::Certain
        };
        assert_eq!(found, wanted, "{name}");
    }
}
