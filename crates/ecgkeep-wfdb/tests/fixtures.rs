//! The records of fixtures/wfdb, one rule each: what is read, noted and refused, word for word (`expected.txt`).
//! tests/reference/wfdb_fixtures.py wrote the records. With ECGKEEP_RENEW set, the texts are written anew,
//! to be reviewed.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Folder, Format, Limits, Match, Options, Weight, write};
use ecgkeep_recording::{ExtraValue, Recording};
use ecgkeep_wfdb::WFDB;

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/wfdb");

/// The cases of a folder and the header of each: the only one, or `h.hea`.
fn cases(folder: &str) -> Vec<(String, PathBuf)> {
    let mut cases: Vec<(String, PathBuf)> = std::fs::read_dir(Path::new(FIXTURES).join(folder))
        .expect("the fixtures are here")
        .map(|entry| {
            let folder = entry.unwrap().path();
            let name = folder.file_name().unwrap().to_string_lossy().into_owned();
            let header = folder.join("h.hea");
            (name, if header.is_file() { header } else { folder.join("h-1.hea") })
        })
        .collect();
    cases.sort();
    cases
}

fn describe(recording: &Recording) -> String {
    let mut text = String::new();
    let start = &recording.acquisition.start;
    if !start.is_empty() {
        writeln!(text, "start {start}").unwrap();
    }
    let subject = &recording.subject;
    for identifier in &subject.identifiers {
        writeln!(text, "patient {}", identifier.value).unwrap();
    }
    if !subject.name.is_empty() {
        writeln!(text, "name {}", subject.name.line()).unwrap();
    }
    if let Some(date) = subject.birth_date {
        writeln!(text, "born {date}").unwrap();
    }
    if let Some(age) = &subject.age {
        writeln!(text, "age {age}").unwrap();
    }
    if let Some(sex) = &subject.sex {
        writeln!(text, "sex {sex}").unwrap();
    }
    for operator in &recording.acquisition.operators {
        writeln!(text, "operator {}", operator.line()).unwrap();
    }
    for remark in &recording.acquisition.remarks {
        writeln!(text, "remark {remark:?}").unwrap();
    }
    for measurement in &recording.measurements {
        writeln!(text, "{} {} {}", measurement.kind.name(), measurement.value, measurement.unit).unwrap();
    }
    for waveform in &recording.waveforms {
        let (kind, rate, start) = (&waveform.kind, waveform.rate(), waveform.start);
        writeln!(text, "{kind} at {rate} Hz from {start} s, {} samples", waveform.length()).unwrap();
        for signal in waveform.signals() {
            let (lead, unit, step) = (&signal.lead, &signal.unit, signal.step.nanovolts());
            write!(text, "  {lead}: n{unit} {step} from {}, {:?}", signal.offset, signal.samples).unwrap();
            if let Some(label) = &signal.label {
                write!(text, ", spelled {label:?}").unwrap();
            }
            if !signal.missing.is_empty() {
                let missing = signal.missing.iter().map(|span| format!("{}..{}", span.start, span.end));
                write!(text, ", missing {}", missing.collect::<Vec<_>>().join(" ")).unwrap();
            }
            if let Some(skew) = signal.skew {
                write!(text, ", skew {skew} s").unwrap();
            }
            text.push('\n');
        }
        for mark in &waveform.marks {
            write!(text, "  mark {} {}", mark.sample, mark.kind).unwrap();
            let lead = mark.lead.as_ref().map(|lead| format!("on {lead}"));
            for part in [lead, mark.label.clone(), mark.text.clone()].into_iter().flatten() {
                write!(text, ", {part}").unwrap();
            }
            let codes: Vec<&str> = mark.codes.iter().map(|code| code.value.as_str()).collect();
            writeln!(text, " [{}]", codes.join("; ")).unwrap();
        }
    }
    for extra in &recording.extras {
        match &extra.value {
            ExtraValue::Text(value) => writeln!(text, "extra {}: {value}", extra.address).unwrap(),
            ExtraValue::Bytes(value) => writeln!(text, "extra {}: {value:02x?}", extra.address).unwrap(),
        }
    }
    text
}

/// What is said of every case, against the text beside it.
fn compare(folder: &str, at_least: usize, say: impl Fn(&str, &Path) -> String) {
    let cases = cases(folder);
    assert!(cases.len() >= at_least, "{} cases in {folder}", cases.len());
    let mut wrong = String::new();
    for (name, header) in cases {
        let said = say(&name, &header);
        let path = header.with_file_name("expected.txt");
        if std::env::var_os("ECGKEEP_RENEW").is_some() {
            std::fs::write(&path, &said).unwrap();
        }
        let expected = std::fs::read_to_string(&path).unwrap_or_default();
        if said != expected {
            writeln!(wrong, "== {folder}/{name}\n-- expected\n{expected}-- found\n{said}").unwrap();
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

fn read_case(name: &str, header: &Path) -> (Recording, Vec<ecgkeep_format::Note>) {
    let source = Folder::of(header).unwrap();
    let read = WFDB.read(&source, &Limits::default()).and_then(|read| read.one());
    let (recording, notes) = read.unwrap_or_else(|error| panic!("{name}: {error}"));
    let written = write(&WFDB, std::slice::from_ref(&recording), "copy", &Options::default());
    let losses = written.unwrap_or_else(|error| panic!("{name}: {error}")).losses;
    // waveforms that do not last equally long cannot share a record
    assert!(losses.is_empty() || name == "segments-without-a-common-scale", "{name}: {losses:?}");
    (recording, notes)
}

#[test]
fn what_the_format_allows_is_read_without_a_note() {
    compare("good", 45, |name, header| {
        let (recording, notes) = read_case(name, header);
        assert!(notes.is_empty(), "{name}: {notes:?}");
        describe(&recording)
    });
}

#[test]
fn departures_are_read_and_noted() {
    compare("departs", 40, |name, header| {
        let (recording, notes) = read_case(name, header);
        assert!(!notes.is_empty(), "{name} is read without a note");
        let is_damaged = notes.iter().any(|note| note.weight == Weight::Damage);
        assert_eq!(is_damaged, matches!(name, "checksum-wrong" | "flac-with-a-wrong-md5"), "{name}");
        let notes = notes.iter().map(|note| format!("{note}\n"));
        notes.collect::<String>() + &describe(&recording)
    });
}

#[test]
fn what_breaks_the_format_is_refused_with_a_place() {
    compare("bad", 60, |name, header| {
        let source = Folder::of(header).unwrap();
        let error = match WFDB.read(&source, &Limits::default()) {
            Ok(read) => panic!("{name} is read: {:?}", read.notes),
            Err(error) => error,
        };
        assert!(!error.place().is_empty(), "{name}: {error}");
        format!("{error:?}\n")
    });
}

#[test]
fn headers_are_recognised_and_nothing_else_is() {
    for folder in ["good", "departs"] {
        for (name, header) in cases(folder) {
            let bytes = std::fs::read(&header).unwrap();
            let has_signals = !matches!(name.as_str(), "no-signals" | "annotations-without-signals");
            let expected = if has_signals { Match::Certain } else { Match::ByName };
            assert_eq!(WFDB.probe("h.hea", &bytes), expected, "{folder}/{name}");
            assert_eq!(WFDB.probe("h.dat", &bytes[..2]), Match::No, "{folder}/{name}");
        }
    }
    for (name, head) in [
        ("a.json", &b"{\"ecgkeep\": 1}\n"[..]),
        ("a.xml", b"<?xml version=\"1.0\"?>\n<AnnotatedECG/>\n"),
        ("a.dat", &[0, 1, 2, 3, 0xff]),
        ("a.csv", b"time,I,II\n0,1,2\n"),
        ("a.txt", b"one 2 words\nand text\n"),
        ("a.scp", b""),
    ] {
        assert_eq!(WFDB.probe(name, head), Match::No, "{name}");
    }
}
