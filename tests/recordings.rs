//! Real recordings, where they lie beside the repository: the counts that an independent reader found, and the same
//! samples after a way through every other format. Expected values: PyPI wfdb, recorded in `expected.json`.

use std::fmt::Write as _;
use std::path::Path;

use ecgkeep::format::{Folder, Kind, Limits, Options, Read};
use ecgkeep::recording::{Field, Waveform};
use ecgkeep::{FORMATS, choose};
use ecgkeep_tests::contract::trial;
use ecgkeep_tests::repository::shared_recordings;
use serde_json::{Map, Value};
use sha2::{Digest, Sha256};

/// The count that stands for a missing sample, by WFDB signal format (signal(5)); the model holds 0 and a range.
const INVALID: &[(&str, i32)] = &[
    ("16", -32768),
    ("24", -8_388_608),
    ("32", i32::MIN),
    ("61", -32768),
    ("80", -128),
    ("160", -32768),
    ("212", -2048),
    ("310", -512),
    ("311", -512),
    ("508", -128),
    ("516", -32768),
    ("524", -8_388_608),
];

/// Fields that say which samples there are; where none of them is lost, the fingerprint must be the same.
const SAMPLES: &[Field] = &[
    Field::Waveform,
    Field::WaveformStart,
    Field::Rate,
    Field::Length,
    Field::Lead,
    Field::LeadOrder,
    Field::SignalUnit,
    Field::Voltage,
    Field::Missing,
];

fn expected(folder: &Path) -> Map<String, Value> {
    let text =
        std::fs::read(folder.join("expected.json")).expect("the expected values lie beside the recordings");
    let value: Value = serde_json::from_slice(&text).expect("the expected values are JSON");
    value["records"].as_object().expect("records by name").clone()
}

fn read(folder: &Path, name: &str) -> ecgkeep::format::Result<Read> {
    let source = Folder::of(&folder.join(format!("{name}.hea")))?;
    choose(&source, None)?.read(&source, &Limits::default())
}

#[test]
fn the_counts_are_those_that_an_independent_reader_finds() {
    let Some(folder) = shared_recordings("counts of real recordings") else { return };
    let records = expected(&folder);
    let (mut equal, mut faults, mut apart) = (0, Vec::new(), Vec::new());
    for (name, expected) in &records {
        match read(&folder, name) {
            Ok(read) => match read.recordings.as_slice() {
                [recording] if recording.waveforms.len() == 1 => {
                    let found = sha256_of_counts(&recording.waveforms[0], expected);
                    if expected["sha256_i32le_rowmajor"] == found.as_str() {
                        equal += 1;
                    } else {
                        faults.push(format!("{name}: other counts"));
                    }
                }
                // the reference reader brings all signals to one rate or length, the model keeps them apart
                _ => apart.push(name.as_str()),
            },
            Err(error) if error.kind() == Kind::Unsupported => {
                println!("skipped: {name}: {error}");
                apart.push(name);
            }
            Err(error) => faults.push(format!("{name}: {error:?}")),
        }
    }
    println!("{equal} records with equal counts; kept apart or not supported: {apart:?}");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    assert!(equal >= 58, "only {equal} records have equal counts");
}

fn sha256_of_counts(waveform: &Waveform, expected: &Value) -> String {
    let formats = expected["fmt"].as_array();
    // the one record of several segments states no format; its segments are stored in 212
    let invalid = |signal: usize| {
        let format = formats.and_then(|formats| formats.get(signal)).and_then(Value::as_str).unwrap_or("212");
        INVALID.iter().find(|(known, _)| *known == format).map_or(0, |(_, invalid)| *invalid)
    };
    let signals = waveform.signals();
    let mut hash = Sha256::new();
    for sample in 0..waveform.length() {
        for (index, signal) in signals.iter().enumerate() {
            let count = if signal.is_missing(sample) { invalid(index) } else { signal.samples[sample] };
            hash.update(count.to_le_bytes());
        }
    }
    hash.finalize().iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[test]
fn the_samples_are_the_same_after_a_way_through_every_format() {
    let Some(folder) = shared_recordings("real recordings through every format") else { return };
    let (mut same, mut faults) = (0, Vec::new());
    for name in expected(&folder).keys() {
        let Ok(read) = read(&folder, name) else { continue };
        for recording in &read.recordings {
            for format in FORMATS.iter().copied().filter(|format| !format.about().writes.is_empty()) {
                let id = format.about().id;
                let trial = trial(format, recording, &Options::default());
                faults.extend(trial.faults.iter().map(|fault| format!("{name} as {id}: {fault}")));
                if let Some(why) = &trial.refused {
                    println!("{name} as {id}: refused: {why}");
                }
                let Some(back) = trial.back else { continue };
                if SAMPLES.iter().any(|field| trial.lost.contains(field)) {
                    println!("{name} as {id}: samples are not all kept, and that is stated");
                } else if back.fingerprint() == recording.fingerprint() {
                    same += 1;
                } else {
                    faults.push(format!("{name} as {id}: another fingerprint, and no loss is stated"));
                }
            }
        }
    }
    println!("{same} times the same samples");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    assert!(same >= 100, "only {same} times the same samples");
}
