//! Stacks: equal recordings in one array, without identity unless it is asked for.

use ecgkeep_demo::{Spec, every_field, recording, small};
use ecgkeep_format::{Format, Kind, Limits, Memory, Options, Written, write};
use ecgkeep_hdf5::HDF5;
use ecgkeep_recording::{
    Exact, Field, Lead, MarkKind, MeasurementKind, Recording, Scope, Wave, Waveform, differences,
};

use crate::round_trip::files;

fn stacked(with: &str) -> Options {
    Options::default().with("stack", with)
}

/// Recordings of one size that differ in everything else.
fn equal_recordings() -> Vec<Recording> {
    let spec = Spec { with_marks: true, with_measurements: true, ..Spec::default() };
    (0..4).map(|seed| recording(&Spec { seed, ..spec.clone() }).recording).collect()
}

#[test]
fn a_stack_holds_the_samples_of_each_recording() {
    let recordings = equal_recordings();
    for with in ["without-identity", "with-identity"] {
        let Written { files, losses } = write(&HDF5, &recordings, "r", &stacked(with)).unwrap();
        let read = HDF5.read(&Memory::new("r.h5", files), &Limits::default()).unwrap();
        assert!(read.notes.is_empty(), "{:?}", read.notes);
        for (again, first) in read.recordings.iter().zip(&recordings) {
            assert_eq!(again.fingerprint(), first.fingerprint());
            assert_eq!(again.measurements, first.measurements);
            assert_eq!(again.subject.sex, first.subject.sex);
            let keeps_name = with == "with-identity";
            assert_eq!(again.subject.name == first.subject.name, keeps_name);
            assert_eq!(again.acquisition.start == first.acquisition.start, keeps_name);
        }
        assert!(losses.iter().any(|loss| loss.field == Field::Operator), "what is left out is said");
    }
}

#[test]
fn steps_that_differ_between_recordings_stay_exact() {
    let mut other = small();
    let waveform = other.waveforms.remove(0);
    let (rate, mut signals) = (waveform.rate(), waveform.into_signals());
    signals[1].step = ecgkeep_recording::Step::new(Exact::ratio(1_000_000, 1716).unwrap()).unwrap();
    signals[0].offset = Exact::ratio(1, 3).unwrap();
    other.waveforms.push(Waveform::new(rate, signals).unwrap());
    let recordings = [small(), other];
    let read =
        HDF5.read(&Memory::new("r.h5", files(&recordings, &stacked("with-identity"))), &Limits::default());
    for (again, first) in read.unwrap().recordings.iter().zip(&recordings) {
        assert!(differences(first, again).iter().all(|difference| difference.field != Field::Voltage));
    }
}

#[test]
fn recordings_that_are_not_equal_are_refused_with_what_differs() {
    let refused = |change: &dyn Fn(&mut Recording)| {
        let mut recordings = [small(), small()];
        change(&mut recordings[1]);
        let error = HDF5.encode(&recordings, "r", &stacked("with-identity")).unwrap_err();
        assert_eq!(error.kind(), Kind::Refused);
        error.what().to_owned()
    };
    let with_signals = |recording: &mut Recording, rate: i64, leads: &[Lead], length: usize| {
        let signals = recording.waveforms[0].signals().iter().zip(leads).map(|(signal, lead)| {
            let mut signal = signal.clone();
            signal.lead = lead.clone();
            signal.samples.truncate(length);
            signal
        });
        let rate = ecgkeep_recording::Rate::new(Exact::whole(rate)).unwrap();
        recording.waveforms[0] = Waveform::new(rate, signals.collect()).unwrap();
    };
    let leads = [Lead::I, Lead::II, Lead::V1];
    let rate = small().waveforms[0].rate().per_second().to_whole().unwrap();
    let names: Vec<Lead> = small().waveforms[0].signals().iter().map(|signal| signal.lead.clone()).collect();
    assert!(
        refused(&|r| with_signals(r, rate, &names, 15))
            .starts_with("recording 2 differs from the first in the number of samples: 15")
    );
    assert!(refused(&|r| with_signals(r, rate + 1, &names, 99)).contains("in the sampling rate"));
    assert!(
        refused(&|r| with_signals(r, rate, &[leads[2].clone(), leads[1].clone(), leads[0].clone()], 99))
            .contains("in the leads")
    );
    assert_eq!(refused(&|r| r.waveforms.clear()), "recording 2 has no waveform to stack");
    let error = HDF5.encode(&[], "r", &stacked("with-identity")).unwrap_err();
    assert_eq!(error.what(), "no recording to stack");
}

/// Every text of a recording holds the planted word, but for those that say what is measured and where.
fn planted() -> Recording {
    const WORD: &str = "Quillfeather";
    let text = serde_json::to_value(every_field()).unwrap();
    fn plant(value: serde_json::Value, member: &str) -> serde_json::Value {
        use serde_json::Value;
        let kept = [
            "lead",
            "kind",
            "unit",
            "scope",
            "of",
            "status",
            "formula",
            "birth_date",
            "at",
            "start",
            "rate",
            "step",
            "offset",
            "skew",
            "sex",
            "onset",
            "peak",
            "offset",
            "other",
            "format",
            "high_pass_hz",
            "low_pass_hz",
            "notch_hz",
            "mains_hz",
        ];
        match value {
            Value::Object(members) => {
                let is_quantity = members.contains_key("unit");
                let one = |(name, inner): (String, Value)| {
                    let inner = if is_quantity && name == "value" { inner } else { plant(inner, &name) };
                    (name, inner)
                };
                Value::Object(members.into_iter().map(one).collect())
            }
            Value::Array(items) => Value::Array(items.into_iter().map(|item| plant(item, member)).collect()),
            Value::String(_) if !kept.contains(&member) => Value::String(WORD.to_owned()),
            other => other,
        }
    }
    let mut recording: Recording = serde_json::from_value(plant(text, "")).unwrap();
    // codes are what a stack is for; these are of a standard, not of a person
    for statement in &mut recording.statements {
        statement.codes.iter_mut().for_each(|code| (code.system, code.value) = ("local".into(), "AF".into()));
    }
    recording
}

#[test]
fn a_stack_without_identity_holds_no_word_of_it() {
    let word = b"Quillfeather";
    let has_word = |bytes: &[u8]| bytes.windows(word.len()).any(|window| window == word);
    let recording = planted();
    let plain = files(std::slice::from_ref(&recording), &Options::default());
    assert!(has_word(&plain[0].bytes), "the word is planted and short rows are not compressed");
    let with = files(std::slice::from_ref(&recording), &stacked("with-identity"));
    assert!(has_word(&with[0].bytes));
    let without = files(std::slice::from_ref(&recording), &stacked("without-identity"));
    assert!(!has_word(&without[0].bytes));
    let read = HDF5.read(&Memory::new("r.h5", without), &Limits::default()).unwrap();
    assert!(!format!("{:?}", read.recordings).contains("Quillfeather"));
}

#[test]
fn marks_measurements_and_codes_are_counted_in_tables() {
    let mut recording = small();
    let mut mark = ecgkeep_recording::Mark::new(5, MarkKind::Peak(Wave::Qrs));
    mark.lead = Some(recording.waveforms[0].signals()[0].lead.clone());
    mark.label = Some("N".into());
    let mut long = ecgkeep_recording::Mark::new(6, MarkKind::Beat);
    long.label = Some("Quill".into());
    recording.waveforms[0].marks = vec![mark.clone(), long.clone()];
    let mut measurement = ecgkeep_recording::Measurement::global(
        MeasurementKind::QtcInterval,
        Exact::ratio(1, 3).unwrap(),
        "ms",
    );
    measurement.scope = Scope::Lead(Lead::V2);
    measurement.formula = Some("Bazett".into());
    recording.measurements = vec![measurement.clone()];
    let read = HDF5
        .read(
            &Memory::new("r.h5", files(&[small(), recording], &stacked("without-identity"))),
            &Limits::default(),
        )
        .unwrap();
    long.label = None;
    assert_eq!(read.recordings[1].waveforms[0].marks, [mark, long]);
    assert_eq!(read.recordings[1].measurements, [measurement]);
    assert!(read.recordings[0].measurements.is_empty());
}
