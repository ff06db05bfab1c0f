//! Real recordings, against what PyPI wfdb 4.3.1 decoded (../shared/recordings/expected.json, where it is there).

use std::path::{Path, PathBuf};

use ecgkeep_format::{File, Folder, Format, Kind, Limits, Memory, Options, Weight, write};
use ecgkeep_recording::{Lead, Mark, MarkKind, Recording, Signal, Wave, differences};
use ecgkeep_wfdb::WFDB;
use serde_json::Value;
use sha2::{Digest, Sha256};

fn folder() -> Option<PathBuf> {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/recordings"));
    if folder.is_dir() {
        return Some(folder.to_owned());
    }
    println!("skipped: real WFDB recordings: ../shared/recordings is not here");
    None
}

/// Missing samples as the format's invalid code, as the reference reader gives them.
fn counts(signal: &Signal, format: &str) -> Vec<i32> {
    let invalid = match format {
        "80" | "508" => -128,
        "212" => -2_048,
        "310" | "311" => -512,
        "24" | "524" => -8_388_608,
        "32" => i32::MIN,
        _ => -32_768,
    };
    let mut samples = signal.samples.clone();
    signal.missing.iter().for_each(|span| samples[span.start..span.end].fill(invalid));
    samples
}

/// SHA-256 over 32-bit little-endian counts, row by row.
fn digest(signals: &[Vec<i32>]) -> String {
    let mut hash = Sha256::new();
    for row in 0..signals[0].len() {
        signals.iter().for_each(|signal| hash.update(signal[row].to_le_bytes()));
    }
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// LUDB has a file of annotations for each lead, named after it.
fn check_ludb(name: &str, recording: &Recording, expected: &Value) {
    let expected = expected.as_object().expect("annotations by lead");
    assert_eq!(expected.len(), 12, "{name}");
    for (annotator, expected) in expected {
        let lead = Lead::from_name(annotator);
        let marks = recording.waveforms[0].marks.iter().filter(|mark| mark.lead.as_ref() == Some(&lead));
        let marks: Vec<&Mark> = marks.collect();
        let count = |kind: MarkKind| marks.iter().filter(|mark| mark.kind == kind).count();
        assert_eq!(marks.len() as u64, expected["n"], "{name}.{annotator}");
        assert_eq!(count(MarkKind::Beat) as u64, expected["qrs"], "{name}.{annotator}");
        assert_eq!(count(MarkKind::Peak(Wave::T)) as u64, expected["t"], "{name}.{annotator}");
        assert_eq!(count(MarkKind::Peak(Wave::P)) as u64, expected["p"], "{name}.{annotator}");
        if let Some(peaks) = expected.get("qrs_peaks") {
            let beats = marks.iter().filter(|mark| mark.kind == MarkKind::Beat).map(|mark| mark.sample);
            assert_eq!(serde_json::json!(beats.collect::<Vec<_>>()), *peaks, "{name}.{annotator}");
        }
    }
}

#[test]
fn real_recordings_read_as_the_reference_reader_reads_them() {
    let Some(folder) = folder() else { return };
    let text = std::fs::read_to_string(folder.join("expected.json")).expect("expected.json is readable");
    let expected: Value = serde_json::from_str(&text).expect("expected.json is JSON");
    let records = expected["records"].as_object().expect("records is an object");
    let mut compared = 0;
    for (name, expected) in records {
        let source = Folder::of(&folder.join(format!("{name}.hea"))).expect("a file name");
        let (recording, notes) = match WFDB.read(&source, &Limits::default()).and_then(|read| read.one()) {
            Ok(read) => read,
            Err(error) => panic!("{name}: {error}"),
        };
        let damage: Vec<_> = notes.iter().filter(|note| note.weight == Weight::Damage).collect();
        assert!(damage.is_empty(), "{name}: {damage:?}");
        // the reference reader names no format for a record of several segments; the one here has 212
        let format = |index: usize| expected["fmt"][index].as_str().unwrap_or("212").to_owned();
        // two records hold a signal of two samples a frame, of which the reference reader gives the mean
        if recording.waveforms.len() == 1 {
            let signals = recording.waveforms[0].signals();
            let counts: Vec<Vec<i32>> = signals.iter().zip(0..).map(|(s, i)| counts(s, &format(i))).collect();
            assert_eq!(digest(&counts), expected["sha256_i32le_rowmajor"], "{name}");
            let names: Vec<String> =
                signals.iter().map(|s| s.label.clone().unwrap_or_else(|| s.lead.name())).collect();
            assert_eq!(serde_json::json!(names), expected["sig_name"], "{name}");
            compared += 1;
        }
        let marks: usize = recording.waveforms.iter().map(|waveform| waveform.marks.len()).sum();
        match name.as_str() {
            // 2274 annotations as PyPI wfdb 4.3.1 reads them
            "wfdb-vectors/100" => assert_eq!(marks, 2_274),
            name if name.starts_with("ludb/") => check_ludb(name, &recording, &expected["annotations"]),
            _ => assert_eq!(marks, 0, "{name}"),
        }
        let written = write(&WFDB, std::slice::from_ref(&recording), "copy", &Options::default());
        let written = written.unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_eq!(written.losses, [], "{name}");
        let back = WFDB.read(&Memory::new("copy.hea", written.files), &Limits::default());
        let (back, _) = back.and_then(|read| read.one()).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_eq!(differences(&recording, &back), [], "{name}");
    }
    assert_eq!(compared, records.len() - 2, "{compared} of {} records compared", records.len());
}

/// A record of one sample at this rate, so that an annotation file alone can be read.
fn beside(annotator: &str, bytes: Vec<u8>) -> Recording {
    let header = b"a 1 360 1\na.dat 16 200(0)/mV 0 0 0 0 0 II\n".to_vec();
    let files = [("a.hea", header), ("a.dat", vec![0, 0]), (&format!("a.{annotator}"), bytes)]
        .map(|(name, bytes)| File { name: name.to_owned(), bytes });
    let read = WFDB.read(&Memory::new("a.hea", files.to_vec()), &Limits::default());
    read.and_then(|read| read.one()).unwrap_or_else(|error| panic!("{annotator}: {error}")).0
}

/// The annotation of a mark as the listings of the reference have it: code, subtype, channel, number.
fn annotation(mark: &Mark) -> [i64; 4] {
    let mut numbers = [0; 4];
    for word in mark.codes[0].value.split(' ').skip(1) {
        let (name, value) = word.split_once('=').unwrap_or(("code", word));
        if let Some(at) = ["code", "sub", "chan", "num"].iter().position(|known| *known == name) {
            numbers[at] = value.parse().expect("a number");
        }
    }
    numbers
}

#[test]
fn annotation_files_read_as_the_reference_listings_say() {
    let Some(folder) = folder() else { return };
    let folder = folder.join("wfdb-vectors");
    for (file, listing) in [("100.atr", "ann-1"), ("12726.anI", "ann-2"), ("1003.atr", "ann-3")] {
        let annotator = file.split('.').next_back().expect("an ending");
        let bytes = std::fs::read(folder.join(file)).expect("the annotation file is there");
        let recording = beside(annotator, bytes);
        let marks = &recording.waveforms[0].marks;
        let listing =
            std::fs::read(folder.join("target-output").join(listing)).expect("the listing is there");
        let listing = String::from_utf8_lossy(&listing).into_owned();
        assert_eq!(marks.len(), listing.lines().count(), "{file}");
        for (mark, line) in marks.iter().zip(listing.lines()) {
            let (numbers, text) = line.split_once('\t').unwrap_or((line, ""));
            let words: Vec<&str> = numbers.split_whitespace().collect();
            let [sample, label, sub, chan, num] = words[words.len() - 5..] else { panic!("{file}: {line}") };
            assert_eq!(mark.sample.to_string(), sample, "{file}: {line}");
            assert_eq!(mark.label.as_deref(), Some(label), "{file}: {line}");
            let [_, own_sub, own_chan, own_num] = annotation(mark).map(|number| number.to_string());
            assert_eq!([own_sub.as_str(), &own_chan, &own_num], [sub, chan, num], "{file}: {line}");
            assert_eq!(mark.text.as_deref().unwrap_or_default().trim(), text.trim(), "{file}: {line}");
        }
    }
    // one beat, as PyPI wfdb 4.3.1 reads it
    let recording = beside("qrs", std::fs::read(folder.join("huge.qrs")).expect("the file is there"));
    let samples: Vec<i64> = recording.waveforms[0].marks.iter().map(|mark| mark.sample).collect();
    assert_eq!(samples, [10_000_000_000]);
    let written =
        write(&WFDB, std::slice::from_ref(&recording), "a", &Options::default()).expect("it is written");
    assert_eq!(written.losses, []);
}

#[test]
fn a_small_file_that_expands_beyond_the_limit_is_refused_by_name() {
    let Some(folder) = folder() else { return };
    let folder = folder.join("wfdb-vectors");
    let dat = std::fs::read(folder.join("flac_3_constant.dat")).expect("the file is there");
    let limits = Limits { samples: 1 << 20, ..Limits::default() };
    // the header says how long it is, or only how long it is not
    for (frames, place) in [("5600000", "f.hea"), ("16", "f.dat")] {
        let lines = "f.dat 508 200 8 0 25 0 0 a\nf.dat 508 200 8 0 50 0 0 b\nf.dat 508 200 8 0 75 0 0 c\n";
        let files = [("f.hea", format!("f 3 250 {frames}\n{lines}").into_bytes()), ("f.dat", dat.clone())]
            .map(|(name, bytes)| File { name: name.to_owned(), bytes });
        let error = WFDB.read(&Memory::new("f.hea", files.to_vec()), &limits).expect_err("it is refused");
        assert_eq!((error.kind(), error.place().file.as_deref()), (Kind::Limit, Some(place)), "{error}");
    }
}
