//! Byte strings made by hand from the format descriptions, with what these say of them (fixtures/wfdb/vectors.json).
//! `match`, `reader` and `reader_agrees` tell what PyPI wfdb 4.3.1 made of them; where it is wrong, the text is followed.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use ecgkeep_format::{File, Format, Kind, Limits, Memory, Read, Result};
use ecgkeep_recording::{Exact, Recording};
use ecgkeep_wfdb::WFDB;
use serde_json::Value;

fn vectors(kind: &str) -> Vec<Value> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/wfdb/vectors.json");
    let text = std::fs::read_to_string(path).expect("the vectors are here");
    let all: Value = serde_json::from_str(&text).expect("the vectors are JSON");
    all[kind].as_array().unwrap().clone()
}

fn text<'a>(vector: &'a Value, key: &str) -> &'a str {
    vector[key].as_str().unwrap()
}

fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

fn read(main: &str, files: Vec<(String, Vec<u8>)>) -> Result<Read> {
    let files = files.into_iter().map(|(name, bytes)| File { name, bytes }).collect();
    WFDB.read(&Memory::new(main, files), &Limits::default())
}

/// Every signal's counts, missing samples as `None`.
fn counts(recording: &Recording) -> Vec<Vec<Option<i32>>> {
    let signals = recording.waveforms.iter().flat_map(|waveform| waveform.signals());
    signals
        .map(|signal| {
            let counts = signal.samples.iter().enumerate();
            counts.map(|(index, count)| (!signal.is_missing(index)).then_some(*count)).collect()
        })
        .collect()
}

/// Files that the text refuses; and one that applies no skew, which is the reference reader's option, not the file's.
const REFUSED: &[(&str, Kind)] = &[
    ("truncated", Kind::Truncated),
    ("flac508-holding-16bit", Kind::Malformed),
    ("flac516-mixed-spf", Kind::Malformed),
    ("flac516-channels-wrong", Kind::Malformed),
    ("flac516+offset4", Kind::Malformed),
    ("flac516-garbage", Kind::Malformed),
];

#[test]
fn samples_are_those_that_signal_5_says() {
    let vectors = vectors("signal");
    assert!(vectors.len() >= 50);
    for vector in vectors {
        let name = text(&vector, "name");
        if name == "skew-1-ignored" {
            continue;
        }
        let header = text(&vector, "header").as_bytes().to_vec();
        let files =
            vec![("v.hea".to_owned(), header), ("v.dat".to_owned(), bytes(text(&vector, "bytes_hex")))];
        let read = read("v.hea", files);
        if let Some((_, kind)) = REFUSED.iter().find(|(refused, _)| *refused == name) {
            assert_eq!(read.unwrap_err().kind(), *kind, "{name}");
            continue;
        }
        let (recording, notes) = read.and_then(Read::one).unwrap_or_else(|error| panic!("{name}: {error}"));
        let read = counts(&recording);
        let expected = vector["samples"].as_array().unwrap();
        assert_eq!(read.len(), expected.len(), "{name}");
        for (index, (read, expected)) in read.iter().zip(expected).enumerate() {
            // the reference reader marks too few where a skewed signal has two samples a frame
            let invalid: Vec<u64> = match name {
                "skew-x2" if index == 0 => vec![4, 5],
                _ => vector["invalid_at"][index]
                    .as_array()
                    .map_or(Vec::new(), |at| at.iter().map(|at| at.as_u64().unwrap()).collect()),
            };
            let expected: Vec<Option<i32>> = (0..)
                .zip(expected.as_array().unwrap())
                .map(|(at, count)| {
                    (!invalid.contains(&at)).then(|| i32::try_from(count.as_i64().unwrap()).unwrap())
                })
                .collect();
            assert_eq!(*read, expected, "{name}, signal {index}: {notes:?}");
        }
    }
}

#[test]
fn annotations_are_those_that_annot_5_says() {
    let vectors = vectors("annotation");
    assert!(vectors.len() >= 37);
    for vector in vectors {
        let name = text(&vector, "name");
        let files = vec![
            ("v.hea".to_owned(), b"v 1 500 1\nv.dat 16 200(0)/mV 16 0 0 0 0 II\n".to_vec()),
            ("v.dat".to_owned(), vec![0, 0]),
            ("v.atr".to_owned(), bytes(text(&vector, "bytes_hex"))),
        ];
        let (recording, notes) = read("v.hea", files).and_then(Read::one).unwrap();
        let expected = vector["expect_by_spec"].as_array().unwrap();
        // code 0 is no annotation; notes about the file itself are no marks
        let is_about_the_file = |annotation: &&Value| {
            let aux = String::from_utf8(hex(text(annotation, "aux_hex"))).unwrap_or_default();
            annotation["sample"] == 0
                && (aux.starts_with("## time resolution: ")
                    || aux == "## annotation type definitions"
                    || aux == "## end of definitions"
                    || aux == "42 PON P onset")
        };
        let expected: Vec<&Value> =
            expected.iter().filter(|a| a["code"] != 0 && !is_about_the_file(a)).collect();
        let marks = &recording.waveforms[0].marks;
        assert_eq!(marks.len(), expected.len(), "{name}: {marks:?}");
        for (mark, expected) in marks.iter().zip(expected) {
            assert_eq!(mark.sample, expected["sample"].as_i64().unwrap(), "{name}");
            let value = &mark.codes[0].value;
            let mut words = value.split(' ').skip(1);
            assert_eq!(words.next().unwrap(), expected["code"].to_string(), "{name}");
            let found: Vec<&str> = words.collect();
            for (key, name_of) in [("subtype", "sub"), ("chan", "chan"), ("num", "num")] {
                let number = expected[key].as_i64().unwrap();
                let word = format!("{name_of}={number}");
                assert_eq!(found.contains(&word.as_str()), number != 0, "{name}: {value}");
            }
            let aux = hex(text(expected, "aux_hex"));
            let stored = found.iter().find_map(|word| word.strip_prefix("aux=")).map(hex);
            let stored = stored.unwrap_or_else(|| mark.text.clone().unwrap_or_default().into_bytes());
            assert_eq!(stored, aux, "{name}");
            let label = expected["mnemonic"].as_str().map(str::to_owned);
            if name != "custom-label" {
                assert_eq!(mark.label, label, "{name}");
            }
        }
        let is_warned = !vector["expect_warnings"].as_array().unwrap().is_empty();
        let only_padding = name == "padded-zeros";
        let is_odd_code = name == "code-50+";
        assert_eq!(!notes.is_empty(), (is_warned && !only_padding) || is_odd_code, "{name}: {notes:?}");
    }
}

fn hex(hex: &str) -> Vec<u8> {
    (0..hex.len() / 2).map(|at| u8::from_str_radix(&hex[2 * at..2 * at + 2], 16).unwrap()).collect()
}

#[test]
fn segments_are_put_together_as_header_5_says() {
    let refused = [
        "fixed-len-sum-wrong",
        "fixed-seg-len-wrong",
        "fixed-fewer-lines",
        "fixed-nested",
        "variable-missing-seg-file",
    ];
    let vectors = vectors("multisegment");
    assert!(vectors.len() >= 13);
    for vector in vectors {
        let name = text(&vector, "name");
        let files = vector["files"].as_object().unwrap().iter();
        let files = files.map(|(name, content)| {
            let content = content.as_str().unwrap();
            let bytes = if name.ends_with(".hea") { content.as_bytes().to_vec() } else { bytes(content) };
            (name.clone(), bytes)
        });
        let read = read(&format!("{}.hea", text(&vector, "record")), files.collect());
        if refused.contains(&name) {
            let error = read.unwrap_err();
            assert!(!error.place().is_empty(), "{name}: {error}");
            continue;
        }
        let (recording, _) = read.and_then(Read::one).unwrap_or_else(|error| panic!("{name}: {error}"));
        // the reference reader fails on a null segment in a fixed layout, and drops a signal that is not in the layout
        let physical: Value = match name {
            "fixed-with-null" => serde_json::json!([
                [0.005, 0.01, null, null, null, 0.015, 0.02],
                [0.05, 0.1, null, null, null, 0.15, 0.2]
            ]),
            "variable-unknown-signal" => serde_json::json!([
                [0.005, 0.01, null],
                [0.05, 0.1, null],
                [null, null, null],
                [null, null, 0.045]
            ]),
            _ => vector["reader"]["physical"].clone(),
        };
        let signals = recording.waveforms[0].signals();
        assert_eq!(recording.waveforms.len(), 1, "{name}");
        assert_eq!(signals.len(), physical.as_array().unwrap().len(), "{name}");
        for (signal, physical) in signals.iter().zip(physical.as_array().unwrap()) {
            let read: Vec<Option<Exact>> = (0..signal.samples.len()).map(|at| signal.nanovolts(at)).collect();
            let expected: Vec<Option<Exact>> = physical
                .as_array()
                .unwrap()
                .iter()
                .map(|value| {
                    value
                        .as_f64()
                        .map(|mv| format!("{mv}").parse::<Exact>().unwrap().times(1_000_000.into()).unwrap())
                })
                .collect();
            assert_eq!(read, expected, "{name}, {}", signal.lead);
        }
    }
}

/// Headers that the reference reader reads as something else than the text says, or reads although it is wrong.
const WE_REFUSE: &[&str] = &[
    "fs-zero",
    "fs-negative",
    "len-neg",
    "sig:gain-inf",
    "sig:gain-comma",
    "sig:baseline-space",
    "sig:baseline-frac",
    "sig:units-before-baseline",
    "sig:skew-neg",
    "sig:adcres-float",
];

#[test]
fn headers_are_read_as_the_reference_reader_reads_them_or_better() {
    let vectors = vectors("header");
    assert!(vectors.len() >= 112);
    let (mut same, mut refused) = (0, Vec::new());
    for vector in vectors {
        let name = text(&vector, "name");
        let header = text(&vector, "text").as_bytes().to_vec();
        let files = vec![("h.hea".to_owned(), header), ("h.dat".to_owned(), vec![1, 0, 2, 0, 3, 0, 4, 0])];
        let read = read("h.hea", files).and_then(Read::one);
        let expected = &vector["header"];
        let (recording, _) = match read {
            Ok(read) => read,
            Err(error) => {
                assert!(!error.place().is_empty(), "{name}: {error}");
                assert!(error.what_to_do().is_some() || error.place().line.is_some(), "{name}: {error}");
                refused.push(name.to_owned());
                continue;
            }
        };
        let Some(samples) = vector["samples"].as_array() else { continue };
        let counts: Vec<Vec<Option<i32>>> = counts(&recording);
        let expected_counts: Vec<Vec<Option<i32>>> = samples
            .iter()
            .map(|signal| {
                let counts = signal.as_array().unwrap().iter();
                counts.map(|count| Some(i32::try_from(count.as_i64().unwrap()).unwrap())).collect()
            })
            .collect();
        assert_eq!(counts, expected_counts, "{name}");
        let waveform = &recording.waveforms[0];
        for (index, signal) in waveform.signals().iter().enumerate() {
            let unit = expected["units"][index].as_str();
            let gain = expected["adc_gain"][index].as_f64();
            // PyPI wfdb drops what is not ASCII, reads no upper-case exponent, and takes 200 for no gain
            let is_known = !matches!(name, "sig:units-micro" | "sig:gain-Exp") && signal.is_voltage();
            if let (Some("mV"), Some(gain), true) = (unit, gain, is_known) {
                let own = 1e6 / signal.step.nanovolts().to_f64();
                assert!((own - gain).abs() <= 1e-12 * gain.abs(), "{name}: {own} {gain}");
                let baseline = expected["baseline"][index].as_f64().unwrap();
                let offset = -baseline * signal.step.nanovolts().to_f64();
                assert!((signal.offset.to_f64() - offset).abs() <= 1e-9 * offset.abs().max(1.0), "{name}");
            }
        }
        let rate = expected["fs"].as_f64().unwrap();
        let own_rate =
            waveform.rate().per_second().to_f64() / expected["samps_per_frame"][0].as_f64().unwrap_or(1.0);
        // PyPI wfdb knows no exponent in a rate
        if !matches!(name, "fs-exp" | "fs-Exp") {
            assert!((own_rate - rate).abs() <= 1e-12 * rate, "{name}: {own_rate} {rate}");
        }
        same += 1;
    }
    for name in WE_REFUSE {
        assert!(refused.iter().any(|refused| refused == name), "{name} is to be refused");
    }
    assert!(same > 60, "{same} headers compared, refused {refused:?}");
}
