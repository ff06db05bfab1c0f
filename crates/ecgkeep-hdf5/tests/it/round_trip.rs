//! Every field comes back, whatever it holds, and the same recordings are the same bytes.

use ecgkeep_demo::{Spec, every_field, recording, small};
use ecgkeep_format::{File, Format, Kind, Limits, Match, Memory, Options, Weight, write};
use ecgkeep_hdf5::HDF5;
use ecgkeep_recording::{
    Exact, Extra, ExtraValue, Lead, Mark, MarkKind, Quantity, Rate, Recording, Signal, Span, Statement, Step,
    Waveform,
};
use proptest::prelude::*;

pub fn files(recordings: &[Recording], options: &Options) -> Vec<File> {
    write(&HDF5, recordings, "r", options).unwrap_or_else(|error| panic!("{error}")).files
}

fn back(recordings: &[Recording]) -> Vec<Recording> {
    let source = Memory::new("r.h5", files(recordings, &Options::default()));
    let read = HDF5.read(&source, &Limits::default()).unwrap();
    assert!(read.notes.is_empty(), "{:?}", read.notes);
    read.recordings
}

#[test]
fn every_field_comes_back_and_so_do_many_recordings_in_one_file() {
    let twelve = recording(&Spec { with_marks: true, with_measurements: true, ..Spec::default() }).recording;
    let mut recordings = vec![every_field(), twelve, small()];
    recordings.resize_with(30, small);
    recordings.push(every_field());
    let again = back(&recordings);
    for (number, (again, first)) in again.iter().zip(&recordings).enumerate() {
        let mut first = first.clone();
        if first.origin == ecgkeep_recording::Origin::default() {
            first.origin = again.origin.clone();
        }
        assert_eq!(*again, first, "{number}");
    }
    assert_eq!(back(&[]), []);
}

#[test]
fn the_same_recordings_are_the_same_bytes() {
    for options in [Options::default(), Options::default().with("stack", "without-identity")] {
        let recordings = [small(), small()];
        assert_eq!(files(&recordings, &options), files(&recordings, &options));
    }
}

#[test]
fn a_file_is_recognised_and_ends_with_a_digest_that_notices_a_changed_byte() {
    let mut files = files(&[small()], &Options::default());
    assert_eq!(HDF5.probe("x", &files[0].bytes[..4096.min(files[0].bytes.len())]), Match::Certain);
    let middle = files[0].bytes.len() / 2;
    files[0].bytes[middle] ^= 1;
    let error = HDF5.read(&Memory::new("r.h5", files.clone()), &Limits::default()).unwrap_err();
    assert_eq!(error.kind(), Kind::Altered, "{error}");
    // without the digest the change reaches the checks behind it
    files[0].bytes[middle] ^= 1;
    let length = files[0].bytes.len();
    files[0].bytes.truncate(length - 86);
    let read = HDF5.read(&Memory::new("r.h5", files), &Limits::default()).unwrap();
    assert!(read.notes.iter().all(|note| note.weight != Weight::Damage));
}

#[test]
fn long_texts_and_bytes_stand_among_the_values() {
    let mut recording = small();
    for length in [4095, 4096, 4097, 40_000] {
        recording.acquisition.remarks.push("µ".repeat(length / 2) + &"x".repeat(length % 2));
        recording.statements.push(Statement { text: "\0".repeat(length), ..Statement::default() });
        let value = ExtraValue::Bytes(vec![7; length]);
        recording.extras.push(Extra { format: "scp".into(), address: length.to_string(), value });
    }
    recording.extras.push(Extra {
        format: "x".into(),
        address: String::new(),
        value: ExtraValue::Bytes(Vec::new()),
    });
    let again = back(std::slice::from_ref(&recording)).remove(0);
    assert_eq!(again.acquisition, recording.acquisition);
    assert_eq!(again.statements, recording.statements);
    assert_eq!(again.extras, recording.extras);
}

#[test]
fn long_waveforms_and_many_marks_come_in_blocks() {
    let signal = |lead: Lead, scale: i32| {
        let samples = (0..400_000).map(|at: i32| at.wrapping_mul(7_919).rotate_left(9) % scale).collect();
        Signal::new(lead, Step::default(), samples)
    };
    let rate = Rate::new(Exact::whole(1000)).unwrap();
    let mut waveform =
        Waveform::new(rate, vec![signal(Lead::I, 2000), signal(Lead::II, 100_000_000)]).unwrap();
    waveform.marks = (0..50_000).map(|at| Mark::new(at * 8, MarkKind::Beat)).collect();
    let recording = Recording { waveforms: vec![waveform], ..Recording::default() };
    assert_eq!(back(std::slice::from_ref(&recording))[0].waveforms, recording.waveforms);
}

#[test]
fn a_waveform_without_samples_comes_back() {
    let rate = Rate::new(Exact::ratio(1, 3).unwrap()).unwrap();
    let empty =
        Waveform::new(rate, vec![Signal::new(Lead::Other(String::new()), Step::default(), vec![])]).unwrap();
    let recording = Recording { waveforms: vec![empty], ..Recording::default() };
    assert_eq!(back(std::slice::from_ref(&recording))[0].waveforms, recording.waveforms);
}

#[test]
fn a_name_with_a_folder_is_refused() {
    let error = HDF5.encode(&[small()], "a/b", &Options::default()).unwrap_err();
    assert_eq!(error.kind(), Kind::Usage);
}

#[test]
fn limits_are_kept() {
    let source = Memory::new("r.h5", files(&[every_field()], &Options::default()));
    let kinds = |limits: Limits| HDF5.read(&source, &limits).map_err(|error| error.kind()).map(drop);
    assert_eq!(kinds(Limits::default()), Ok(()));
    assert_eq!(kinds(Limits { samples: 10, ..Limits::default() }), Err(Kind::Limit));
    assert_eq!(kinds(Limits { signals: 1, ..Limits::default() }), Err(Kind::Limit));
    assert_eq!(kinds(Limits { marks: 1, ..Limits::default() }), Err(Kind::Limit));
    assert_eq!(kinds(Limits { file_bytes: 100, ..Limits::default() }), Err(Kind::Limit));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn any_texts_numbers_and_samples_come_back(
        texts in proptest::collection::vec(any::<String>(), 1..6),
        numerator in any::<i64>(),
        denominator in 1..=i64::MAX,
        samples in proptest::collection::vec(any::<i32>(), 1..200),
        gap in 0usize..200,
    ) {
        let exact = Exact::ratio(numerator.into(), denominator.into()).unwrap();
        let mut signal = Signal::new(Lead::Other(texts[0].clone()), Step::default(), samples);
        signal.offset = exact;
        signal.skew = Some(exact);
        signal.label = texts.get(1).cloned();
        let signal = signal.with_missing(vec![Span { start: gap, end: gap + 3 }]);
        let rate = Rate::new(Exact::ratio(denominator.into(), 7).unwrap()).unwrap();
        let mut waveform = Waveform::new(rate, vec![signal]).unwrap();
        let mut mark = Mark::new(numerator, MarkKind::Other(texts[0].clone()));
        mark.text = texts.get(2).cloned();
        mark.label = texts.get(3).cloned();
        waveform.marks = vec![mark];
        let mut recording = Recording { waveforms: vec![waveform], ..Recording::default() };
        recording.acquisition.remarks = texts.clone();
        recording.subject.age = Some(Quantity { value: exact, unit: texts[0].clone() });
        let again = back(std::slice::from_ref(&recording)).remove(0);
        prop_assert_eq!(again.waveforms, recording.waveforms);
        prop_assert_eq!(again.acquisition, recording.acquisition);
        prop_assert_eq!(again.subject, recording.subject);
    }
}
