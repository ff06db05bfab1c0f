//! Records cut and changed at every byte, and records made at random: an error with a place, never a panic, and
//! never another recording back than was written.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use ecgkeep_format::{Error, File, Format, Kind, Limits, Memory, Options, Read, Source, write};
use ecgkeep_recording::{
    Code, Exact, Lead, Mark, MarkKind, Rate, Recording, Signal, SignalUnit, Span, Step, Wave, Waveform,
};
use ecgkeep_wfdb::WFDB;
use proptest::prelude::*;

const GOOD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/wfdb/good");

/// Small enough that nothing hostile costs much.
fn limits() -> Limits {
    Limits { samples: 1 << 20, marks: 10_000, ..Limits::default() }
}

fn read(main: &str, files: Vec<File>) -> Result<Read, Error> {
    WFDB.read(&Memory::new(main, files), &limits())
}

/// The files of every good fixture.
fn fixtures() -> Vec<(String, String, Vec<File>)> {
    let mut fixtures = Vec::new();
    for case in std::fs::read_dir(Path::new(GOOD)).expect("the fixtures are here") {
        let folder = case.unwrap().path();
        let mut files = Vec::new();
        for file in std::fs::read_dir(&folder).unwrap() {
            let path = file.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if name != "expected.txt" {
                files.push(File { name, bytes: std::fs::read(&path).unwrap() });
            }
        }
        let main = if files.iter().any(|file| file.name == "h.hea") { "h.hea" } else { "h-1.hea" };
        fixtures.push((folder.display().to_string(), main.to_owned(), files));
    }
    assert!(fixtures.len() >= 45);
    fixtures
}

/// A record in a huge folder: it counts how often the whole folder is listed.
struct Counting {
    record: Memory,
    listed: AtomicUsize,
}

impl Source for Counting {
    fn main(&self) -> &str {
        self.record.main()
    }

    fn names(&self) -> Result<Vec<String>, Error> {
        self.listed.fetch_add(1, Ordering::Relaxed);
        self.record.names()
    }

    fn names_beginning(&self, prefix: &str) -> Result<Vec<String>, Error> {
        assert_eq!(prefix, "100.");
        self.record.names_beginning(prefix)
    }

    fn bytes(&self, name: &str, limit: u64) -> Result<Arc<[u8]>, Error> {
        self.record.bytes(name, limit)
    }
}

#[test]
fn annotation_files_are_found_without_listing_the_folder() {
    let file = |name: &str, bytes: &[u8]| File { name: name.to_owned(), bytes: bytes.to_vec() };
    let files = vec![
        file("1.atr", &[1, 4, 0, 0]),
        file("100.dat", &[1, 0, 2, 0]),
        file("100.hea", b"100 1 250 2\n100.dat 16 200\n"),
        // annot(5): code 1 (a normal beat) one sample after the start
        file("100.atr", &[1, 4, 0, 0]),
        file("1000.atr", &[2, 4, 0, 0]),
    ];
    let source = Counting { record: Memory::new("100.hea", files), listed: AtomicUsize::new(0) };
    let (recording, notes) = WFDB.read(&source, &limits()).unwrap().one().unwrap();
    assert!(notes.is_empty(), "{notes:?}");
    assert_eq!(recording.waveforms[0].marks.len(), 1);
    assert_eq!(source.listed.into_inner(), 0, "a folder of 100,000 records would be listed 100,000 times");
}

fn check(what: &str, read: Result<Read, Error>) {
    if let Err(error) = read {
        assert!(error.place().file.is_some(), "{what}: {error}");
        assert!(!matches!(error.kind(), Kind::Internal | Kind::Usage), "{what}: {error}");
    }
}

/// The files with one of them replaced.
fn with(files: &[File], index: usize, bytes: Vec<u8>) -> Vec<File> {
    let mut files = files.to_vec();
    files[index].bytes = bytes;
    files
}

#[test]
fn every_file_cut_at_every_byte_is_read_or_refused_with_a_place() {
    for (case, main, files) in fixtures() {
        for (index, file) in files.iter().enumerate() {
            for end in 0..file.bytes.len() {
                let what = format!("{case}, {} cut at {end}", file.name);
                check(&what, read(&main, with(&files, index, file.bytes[..end].to_vec())));
            }
        }
    }
}

#[test]
fn every_file_changed_at_every_byte_is_read_or_refused_with_a_place() {
    for (case, main, files) in fixtures() {
        for (index, file) in files.iter().enumerate() {
            for at in 0..file.bytes.len() {
                for byte in [0, b' ', b'\n', b'#', b'-', b'/', b'9', b'x', 0x7f, 0x80, 0xff, !file.bytes[at]]
                {
                    let mut bytes = file.bytes.clone();
                    bytes[at] = byte;
                    let what = format!("{case}, {} byte {at} set to {byte:#x}", file.name);
                    check(&what, read(&main, with(&files, index, bytes)));
                }
            }
        }
    }
}

#[test]
fn a_changed_sample_is_damage_by_the_checksum() {
    let (_, main, files) = fixtures().into_iter().find(|(case, ..)| case.ends_with("/plain")).unwrap();
    let index = files.iter().position(|file| file.name == "h.dat").unwrap();
    for at in 0..files[index].bytes.len() {
        let mut bytes = files[index].bytes.clone();
        bytes[at] ^= 1;
        assert!(read(&main, with(&files, index, bytes)).unwrap().is_damaged(), "byte {at}");
    }
}

#[test]
fn one_annotation_far_away_costs_nothing() {
    let far = 10_000_000_000i64;
    // four of the longest intervals, and what is left: the high word first
    let mut words: Vec<u8> = [0x00, 0xec, 0xff, 0x7f, 0xff, 0xff].repeat(4);
    let [a, b, c, d] = i32::try_from(far - 4 * i64::from(i32::MAX)).unwrap().to_le_bytes();
    words.extend([0x00, 0xec, c, d, a, b, 0x00, 0x04, 0, 0]);
    let files = vec![
        File { name: "h.hea".into(), bytes: b"h 1 500 1\nh.dat 16 200(0)/mV 0 0 0 0 0 II\n".to_vec() },
        File { name: "h.dat".into(), bytes: vec![0, 0] },
        File { name: "h.atr".into(), bytes: words },
    ];
    let (recording, notes) = read("h.hea", files).unwrap().one().unwrap();
    assert_eq!(notes, []);
    assert_eq!(recording.waveforms[0].marks[0].sample, far);
    let written = write(&WFDB, &[recording], "h", &Options::default()).unwrap();
    assert_eq!(written.losses, []);
    assert!(written.files.iter().all(|file| file.bytes.len() < 300));
}

#[test]
fn more_marks_than_the_limit_are_refused_by_name() {
    let mut words = [0x01, 0x04].repeat(10_001);
    words.extend([0, 0]);
    let files = vec![
        File { name: "h.hea".into(), bytes: b"h 1 500 1\nh.dat 16 200(0)/mV 0 0 0 0 0 II\n".to_vec() },
        File { name: "h.dat".into(), bytes: vec![0, 0] },
        File { name: "h.atr".into(), bytes: words },
    ];
    let error = read("h.hea", files).unwrap_err();
    assert_eq!((error.kind(), error.place().file.as_deref()), (Kind::Limit, Some("h.atr")));
}

#[test]
fn the_files_that_are_read_are_the_record_and_nothing_beside_it() {
    let files: Vec<File> =
        ["h.hea", "h.dat", "h.atr", "h.txt", "h.json", "h.d1", "other.atr", "h.filing.toml"]
            .map(|name| {
                let bytes = match name {
                    "h.hea" => b"h 1 500 1\nh.dat 16 200(0)/mV 0 0 0 0 0 II\n".to_vec(),
                    "h.atr" => vec![1, 4, 0, 0],
                    _ => vec![0, 0],
                };
                File { name: name.into(), bytes }
            })
            .to_vec();
    let memory = Memory::new("h.hea", files);
    let recorded = ecgkeep_format::Recorded::new(&memory);
    WFDB.read(&recorded, &limits()).unwrap();
    let read: Vec<String> = recorded.into_files().into_iter().map(|(name, _)| name).collect();
    assert_eq!(read, ["h.atr", "h.dat", "h.hea"]);
}

/// A signal whose counts stay within so many bits.
fn signal(bits: u32, length: usize) -> impl Strategy<Value = Signal> {
    let most = if bits == 32 { i32::MAX } else { (1 << (bits - 1)) - 1 };
    let samples = proptest::collection::vec(-most..=most, length);
    let missing = proptest::collection::vec((0..length.max(1), 1..4usize), 0..3);
    let step = prop_oneof![
        (1..10_000i128).prop_map(|step| (step, 1)),
        (1..1_000_000i128, 1..1_000_000i128),
        (1..1_000_000i128, 1..1_000_000i128).prop_map(|(a, b)| (-a, b)),
    ];
    let offset = prop_oneof![Just((0, 1)), (-1_000_000..1_000_000i128, 1..1_000i128)];
    let lead = prop_oneof![
        Just(Lead::I),
        Just(Lead::AVR),
        Just(Lead::V3),
        "[ -~]{0,12}".prop_map(Lead::Other),
        "\\PC{1,6}".prop_map(|name| Lead::from_name(&name)),
    ];
    let unit = prop_oneof![
        4 => Just(SignalUnit::Volt),
        1 => "[ -~]{0,8}".prop_map(SignalUnit::Other),
        1 => Just(SignalUnit::Uncalibrated),
    ];
    (samples, missing, step, offset, lead, unit, proptest::option::of("\\PC{0,8}")).prop_map(
        |(samples, missing, step, offset, lead, unit, label)| {
            let step = Step::new(Exact::ratio(step.0, step.1).unwrap()).unwrap();
            let spans = missing.into_iter().map(|(start, length)| Span { start, end: start + length });
            let mut signal = Signal::new(lead, step, samples).with_missing(spans.collect());
            (signal.offset, signal.unit, signal.label) =
                (Exact::ratio(offset.0, offset.1).unwrap(), unit, label);
            signal
        },
    )
}

fn mark() -> impl Strategy<Value = Mark> {
    let wave = prop_oneof![Just(Wave::P), Just(Wave::Qrs), Just(Wave::T), Just(Wave::Unstated)];
    let kind = prop_oneof![
        Just(MarkKind::Beat),
        Just(MarkKind::Note),
        Just(MarkKind::Rhythm),
        Just(MarkKind::PacingPulse),
        wave.clone().prop_map(MarkKind::Onset),
        wave.clone().prop_map(MarkKind::Offset),
        wave.prop_map(MarkKind::Peak),
        "[ -~]{0,10}".prop_map(MarkKind::Other),
    ];
    let lead = prop_oneof![3 => Just(None), 1 => Just(Some(Lead::I)), 1 => Just(Some(Lead::AVL))];
    let code = (1..60u8, -3..3i8, 0..4u8, -3..3i8).prop_map(|(code, sub, chan, num)| Code {
        system: "WFDB annotation".into(),
        value: format!("atr {code} sub={sub} chan={chan} num={num}"),
        meaning: None,
    });
    let text = || proptest::option::of("\\PC{0,12}");
    (-100..100_000i64, lead, kind, text(), text(), proptest::collection::vec(code, 0..2))
        .prop_map(|(sample, lead, kind, label, text, codes)| Mark { sample, lead, kind, label, text, codes })
}

fn recording(bits: u32) -> impl Strategy<Value = Recording> {
    let rate = prop_oneof![Just((500, 1)), Just((1000, 3)), (1..100_000i128, 1..1_000i128)];
    (0..40usize, 1..5usize, rate).prop_flat_map(move |(length, signals, rate)| {
        let signals = proptest::collection::vec(signal(bits, length), signals);
        (signals, proptest::collection::vec(mark(), 0..12)).prop_map(move |(signals, marks)| {
            let rate = Rate::new(Exact::ratio(rate.0, rate.1).unwrap()).unwrap();
            let mut waveform = Waveform::new(rate, signals).unwrap();
            waveform.marks = marks;
            Recording { waveforms: vec![waveform], ..Recording::default() }
        })
    })
}

fn comes_back(recording: &Recording, storage: &str) -> std::result::Result<(), TestCaseError> {
    let options = Options::default().with("storage", storage);
    match write(&WFDB, std::slice::from_ref(recording), "r", &options) {
        Ok(written) => prop_assert_eq!(written.losses, []),
        // a step so fine or so coarse that no header can hold it
        Err(error) => prop_assert!(error.kind() == Kind::Refused, "{}", error),
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_recording_of_8_bits_comes_back(recording in recording(8)) {
        comes_back(&recording, "80")?;
    }

    #[test]
    fn any_recording_of_12_bits_comes_back(recording in recording(12)) {
        comes_back(&recording, "212")?;
    }

    #[test]
    fn any_recording_of_16_bits_comes_back(recording in recording(16)) {
        comes_back(&recording, "16")?;
        comes_back(&recording, "24")?;
    }

    #[test]
    fn any_recording_of_32_bits_comes_back(recording in recording(32)) {
        comes_back(&recording, "auto")?;
    }

    #[test]
    fn any_text_of_a_patient_comes_back(texts in proptest::collection::vec("\\PC{0,300}", 6), noise in "[%#<>+: \\[\\]1a-]{0,20}") {
        let mut recording = Recording::default();
        recording.subject.name.family = Some(texts[0].clone());
        recording.subject.name.given = Some(noise.clone());
        recording.acquisition.remarks = texts;
        recording.extras = vec![ecgkeep_recording::Extra {
            format: "wfdb".into(),
            address: "comment 1".into(),
            value: ecgkeep_recording::ExtraValue::Text(format!("#{noise}")),
        }];
        comes_back(&recording, "auto")?;
    }

    #[test]
    fn any_header_is_read_or_refused(text in "[ -~\n]{0,200}", line in "[0-9xX:+/(). mVINFe-]{0,40}") {
        check(&text, read("h.hea", vec![File { name: "h.hea".into(), bytes: text.clone().into_bytes() }]));
        let header = format!("h 1 500 4\nh.dat {line}\n");
        let files = vec![
            File { name: "h.hea".into(), bytes: header.clone().into_bytes() },
            File { name: "h.dat".into(), bytes: vec![1; 24] },
        ];
        check(&header, read("h.hea", files));
    }
}
