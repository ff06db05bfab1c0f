//! Recordings written and read again: what SCP-ECG carries comes back, what it does not is stated with its amount.

use ecgkeep_format::{Format, Kind, Loss, Options, Read, Written, write};
use ecgkeep_recording::{
    Change, CivilTime, Code, Coded, Exact, Extra, ExtraValue, Field, Lead, Mark, MarkKind, Measurement,
    MeasurementKind, Person, Quantity, Rate, Recording, Scope, Signal, SignalUnit, Span, Statement,
    StatementStatus, Step, Waveform, WaveformKind,
};
use ecgkeep_scp::SCP;
use proptest::prelude::*;

use crate::read;

fn exact(text: &str) -> Exact {
    text.parse().expect("an exact number")
}

fn signal(lead: Lead, step: &str, samples: &[i32]) -> Signal {
    Signal::new(lead, Step::new(exact(step)).expect("not zero"), samples.to_vec())
}

fn waveform(rate: &str, signals: Vec<Signal>) -> Waveform {
    Waveform::new(Rate::new(exact(rate)).expect("above zero"), signals).expect("signals of one length")
}

fn plain() -> Recording {
    let signals = vec![signal(Lead::I, "1000", &[1, 2, -3, 400]), signal(Lead::II, "1000", &[0, 9, 8, -700])];
    Recording { waveforms: vec![waveform("500", signals)], ..Recording::default() }
}

fn written(recording: &Recording) -> Written {
    write(&SCP, std::slice::from_ref(recording), "r", &Options::default())
        .expect("the recording can be written")
}

fn back(recording: &Recording) -> Recording {
    read(&written(recording).files[0].bytes).and_then(Read::one).expect("own output is read").0
}

fn losses(recording: &Recording) -> Vec<Loss> {
    written(recording).losses
}

fn refusal(recording: &Recording) -> String {
    let error =
        write(&SCP, std::slice::from_ref(recording), "r", &Options::default()).expect_err("is refused");
    assert_eq!(error.kind(), Kind::Refused, "{error}");
    error.to_string()
}

#[test]
fn a_recording_of_silence_comes_back_silent() {
    let plain = plain();
    assert_eq!(losses(&plain), []);
    let back = back(&plain);
    assert_eq!(
        (&back.subject, &back.acquisition, &back.extras),
        (&plain.subject, &plain.acquisition, &plain.extras)
    );
    assert!(back.measurements.is_empty() && back.statements.is_empty());
}

#[test]
fn the_recording_with_every_field_is_written_and_its_losses_stated() {
    let recording = ecgkeep_demo::every_field();
    let found = losses(&recording);
    for field in [
        Field::StartFraction,
        Field::Requesting,
        Field::OrderNumber,
        Field::Label,
        Field::Missing,
        Field::Skew,
    ] {
        assert!(found.iter().any(|loss| loss.field == field), "{field} is not among the losses");
    }
    // a second time nothing more is lost
    assert_eq!(losses(&back(&recording)), []);
}

#[test]
fn a_step_of_no_whole_nanovolt_is_rounded_once_and_the_error_is_stated() {
    let mut recording = plain();
    // 1716 counts per millivolt, as in real records
    let samples: Vec<i32> = (-1716..=1716).step_by(7).collect();
    recording.waveforms = vec![waveform("500", vec![signal(Lead::II, "1000000/1716", &samples)])];
    let losses = losses(&recording);
    assert_eq!(losses.len(), 1);
    let Change::Samples { at_most: Some(most), .. } = &losses[0].change else { panic!("{}", losses[0]) };
    assert_eq!((losses[0].field, most.unit.as_str()), (Field::Voltage, "uV"));
    // 1 mV at 31 nV per unit is 32258 units: nothing is off by more than half a unit
    assert!(most.value <= exact("0.0155") && most.value > exact("0.015"), "{most}");
    assert_eq!(back(&recording).waveforms[0].signals()[0].step.nanovolts(), Exact::whole(31));
}

#[test]
fn a_rate_of_no_whole_microsecond_is_stated_or_refused() {
    let of = |samples: usize| {
        let signals = vec![signal(Lead::II, "5000", &vec![1; samples])];
        Recording { waveforms: vec![waveform("360", signals)], ..Recording::default() }
    };
    let losses = losses(&of(3600));
    assert_eq!(losses.iter().map(|loss| loss.field).collect::<Vec<_>>(), [Field::Rate]);
    assert!(losses[0].to_string().contains("changed from 360 Hz to 500000/1389 Hz"), "{}", losses[0]);
    // 2778 us for 2777.78 us: after 6250 samples the end has moved by half a sample
    assert!(written(&of(6250)).losses.len() == 1);
    assert!(refusal(&of(6251)).contains("more than half a sample"));
    for rate in ["10", "2000001"] {
        let signals = vec![signal(Lead::II, "5000", &[1, 2])];
        let recording = Recording { waveforms: vec![waveform(rate, signals)], ..Recording::default() };
        assert!(refusal(&recording).contains("65535 microseconds"));
    }
}

#[test]
fn missing_samples_are_written_as_zero_volts_and_stated() {
    let mut recording = plain();
    let gap = vec![Span { start: 1, end: 3 }];
    let mut signals = recording.waveforms.remove(0).into_signals();
    signals[1].offset = exact("5000");
    signals[1] = signals[1].clone().with_missing(gap);
    recording.waveforms = vec![waveform("500", signals)];
    let losses = losses(&recording);
    assert_eq!(losses.len(), 1);
    assert!(losses[0].to_string().contains("2 samples (1-2)"), "{}", losses[0]);
    assert!(losses[0].to_string().contains("0 V"), "{}", losses[0]);
    let back = back(&recording);
    assert_eq!(back.waveforms[0].signals()[1].nanovolts(1), Some(Exact::ZERO));
    assert_eq!(back.waveforms[0].signals()[1].nanovolts(0), Some(exact("5000")));
}

#[test]
fn what_cannot_be_held_at_all_is_refused_with_a_remedy() {
    let of = |waveforms| Recording { waveforms, ..Recording::default() };
    assert!(refusal(&of(vec![])).contains("no rhythm in volts"));
    let two = vec![
        waveform("500", vec![signal(Lead::I, "1000", &[1])]),
        waveform("250", vec![signal(Lead::II, "1000", &[1])]),
    ];
    assert!(refusal(&of(two)).contains("SCP-ECG has one rate"));
    let wide = vec![waveform("500", vec![signal(Lead::I, "1000000000", &[3])])];
    assert!(refusal(&of(wide)).contains("3000000000 nV do not fit"));
    // noise that no code shortens, 70 s of it
    let mut state = 1u32;
    let noise = std::iter::repeat_with(|| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        i32::from((state >> 16).to_le_bytes()[0]) * 100 - 12_800
    });
    let noise: Vec<i32> = noise.take(35_000).collect();
    assert!(
        refusal(&of(vec![waveform("500", vec![signal(Lead::I, "1001", &noise)])])).contains("65535 bytes")
    );
    let error = SCP.encode(&[plain(), plain()], "r", &Options::default()).expect_err("two recordings");
    assert_eq!(error.kind(), Kind::Refused);
    let error = SCP.encode(&[plain()], "../r", &Options::default()).expect_err("a path");
    assert!(error.to_string().contains("plain file name"), "{error}");
}

#[test]
fn signals_that_are_no_voltage_are_left_out_and_named() {
    let mut respiration = signal(Lead::Other("RESP".into()), "1000", &[1, 2, 3, 4]);
    respiration.unit = SignalUnit::Other("Ohm".into());
    let mut recording = plain();
    let mut signals = recording.waveforms.remove(0).into_signals();
    signals.insert(1, respiration);
    recording.waveforms = vec![waveform("500", signals)];
    let losses = losses(&recording);
    assert!(losses.iter().any(|loss| loss.field == Field::Lead && loss.to_string().contains("RESP")));
    assert_eq!(back(&recording).waveforms[0].signals().len(), 2);
}

#[test]
fn leads_that_start_apart_keep_their_places() {
    let mut recording = plain();
    let mut later = waveform("500", vec![signal(Lead::V1, "500", &[7, 8, 9])]);
    later.start = exact("0.25");
    recording.waveforms.push(later);
    assert_eq!(losses(&recording), []);
    recording.waveforms[1].start = exact("0.2501");
    assert_eq!(losses(&recording).iter().map(|loss| loss.field).collect::<Vec<_>>(), [Field::WaveformStart]);
}

#[test]
fn a_representative_beat_with_a_scale_of_its_own_comes_back() {
    let mut recording = plain();
    let mut beat =
        waveform("500", vec![signal(Lead::II, "2500", &[0, 1, 300, -4]), signal(Lead::I, "2500", &[5; 4])]);
    beat.kind = WaveformKind::RepresentativeBeat { class: 0 };
    beat.marks = vec![Mark::new(2, MarkKind::Beat)];
    recording.waveforms.push(beat);
    let found = losses(&recording);
    // the leads of section 5 stand in the order of section 3
    assert_eq!(found.iter().map(|loss| loss.field).collect::<Vec<_>>(), [Field::LeadOrder]);
    let raw = Options::default().with("compression", "raw");
    assert_eq!(write(&SCP, &[recording], "r", &raw).expect("can be written").losses, found);
}

#[test]
fn measurements_spikes_and_beats_come_back() {
    let mut recording = plain();
    let code = |system: &str, value: &str| Code { system: system.into(), value: value.into(), meaning: None };
    let beat = Mark { codes: vec![code("SCP-ECG beat type", "0")], ..Mark::new(1, MarkKind::Beat) };
    let spike = Mark {
        codes: vec![code("SCP-ECG spike amplitude, uV", "-900")],
        ..Mark::new(2, MarkKind::PacingPulse)
    };
    recording.waveforms[0].marks = vec![beat, spike];
    let other =
        |name: &str, value: i64| Measurement::global(MeasurementKind::Other(name.into()), value, "ms");
    recording.measurements = vec![
        Measurement::global(MeasurementKind::RrInterval, 820, "ms"),
        other("P onset", 40),
        other("P offset", 150),
        other("QRS onset", 200),
        other("QRS offset", 290),
        other("T offset", 580),
        Measurement::global(MeasurementKind::PDuration, 110, "ms"),
        Measurement::global(MeasurementKind::PrInterval, 160, "ms"),
        Measurement::global(MeasurementKind::QrsDuration, 90, "ms"),
        Measurement::global(MeasurementKind::QtInterval, 380, "ms"),
        Measurement::global(MeasurementKind::QrsAxis, -30, "deg"),
        Measurement::global(MeasurementKind::HeartRate, 73, "/min"),
        Measurement {
            formula: Some("Hodges".into()),
            ..Measurement::global(MeasurementKind::QtcInterval, 401, "ms")
        },
        Measurement {
            scope: Scope::Lead(Lead::II),
            ..Measurement::global(MeasurementKind::RAmplitude, 1210, "uV")
        },
    ];
    assert_eq!(losses(&recording), []);
    // without the onsets a global PR interval has no place
    recording.measurements = vec![Measurement::global(MeasurementKind::PrInterval, 160, "ms")];
    assert_eq!(losses(&recording).iter().map(|loss| loss.field).collect::<Vec<_>>(), [Field::Measurement]);
}

#[test]
fn statements_of_different_states_become_the_least_confirmed() {
    let at: CivilTime = "2026-03-02T15:40:00".parse().expect("a time");
    let statement = |text: &str, status| Statement {
        text: text.into(),
        status: Some(status),
        at: Some(at),
        ..Statement::default()
    };
    let mut recording = plain();
    recording.statements = vec![
        statement("Sinus rhythm", StatementStatus::Confirmed),
        statement("Östlich", StatementStatus::Confirmed),
    ];
    assert_eq!(losses(&recording), []);
    recording.statements[1].status = Some(StatementStatus::OverRead);
    let found = losses(&recording);
    assert_eq!(found.len(), 1);
    assert!(found[0].to_string().starts_with("statement status, 1: changed from confirmed"), "{}", found[0]);
    recording.statements[1].author = Some(Person::named("Dr. P. Ashgrove"));
    assert!(losses(&recording).iter().any(|loss| loss.field == Field::StatementAuthor));
}

#[test]
fn extras_of_scp_go_back_to_their_places_and_others_are_named() {
    let extra =
        |format: &str, address: &str, value| Extra { format: format.into(), address: address.into(), value };
    let text = |text: &str| ExtraValue::Text(text.into());
    let mut recording = plain();
    recording.extras = vec![
        extra("scp", "section 1 tag 14 capabilities", text("208")),
        extra("scp", "section 1 tag 34 index", text("3")),
        extra("scp", "section 1 tag 204", ExtraValue::Bytes(vec![1, 2, 3])),
        extra("scp", "section 7 QRS types", ExtraValue::Bytes(vec![0, 0, 1])),
        extra("scp", "section 10 lead 2 without value", text("5=19999")),
        extra("scp", "section 9", ExtraValue::Bytes(vec![9; 4])),
        extra("scp", "section 700", ExtraValue::Bytes(vec![7; 2])),
        extra("scp", "section 700 version", text("31")),
    ];
    assert_eq!(losses(&recording), []);
    recording.extras.push(extra("wfdb", "line 3", text("# of another format")));
    let found = losses(&recording);
    assert_eq!(found.len(), 1);
    assert!(found[0].to_string().contains("of another format"), "{}", found[0]);
}

#[test]
fn quantities_are_written_in_units_that_hold_them() {
    let mut recording = plain();
    recording.subject.height = Some(Quantity::new(exact("1.75"), "m"));
    recording.subject.weight = Some(Quantity::new(exact("62.5"), "kg"));
    recording.subject.medications = vec![Coded::from_text("Cordalin 5 mg")];
    let found: Vec<String> = losses(&recording).iter().map(ToString::to_string).collect();
    assert_eq!(found.len(), 2);
    assert!(found[0].starts_with("height: changed from 1.75 m to 175 cm"), "{}", found[0]);
    assert!(found[1].starts_with("weight: changed from 62.5 kg to 62500 g"), "{}", found[1]);
}

fn any_signal(length: usize) -> impl Strategy<Value = Signal> {
    let steps =
        ["1", "2500", "5000", "-4880", "0.5", "1000/3", "100000000000000000/20491803278688525", "70000"];
    let offsets = ["0", "1000", "-12.5", "7/3"];
    let samples = prop::collection::vec(prop_oneof![-9..9i32, -900..900i32, -32_768..32_768i32], length);
    let gaps = prop::collection::vec((0..length, 1..4usize), 0..3);
    // above 127 a lead comes back as one of the maker
    let lead = (0u16..128).prop_map(Lead::from_number);
    (prop::sample::select(steps.to_vec()), prop::sample::select(offsets.to_vec()), samples, gaps, lead)
        .prop_map(|(step, offset, samples, gaps, lead)| {
            let mut signal = signal(lead, step, &samples);
            signal.offset = exact(offset);
            signal.with_missing(
                gaps.into_iter().map(|(start, length)| Span { start, end: start + length }).collect(),
            )
        })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever the scales, offsets and gaps: every voltage comes back within half a unit, and what differs is said.
    #[test]
    fn any_signals_come_back_within_half_a_unit(
        signals in (1..40usize).prop_flat_map(|length| prop::collection::vec(any_signal(length), 1..4)),
        compression in prop::sample::select(vec!["auto", "huffman", "raw"]),
    ) {
        let recording = Recording { waveforms: vec![waveform("500", signals)], ..Recording::default() };
        let options = Options::default().with("compression", compression);
        let written = match write(&SCP, std::slice::from_ref(&recording), "r", &options) {
            Ok(written) => written,
            Err(error) => {
                prop_assert_eq!(error.kind(), Kind::Refused, "{}", error);
                return Ok(());
            }
        };
        let (back, notes) = read(&written.files[0].bytes).and_then(Read::one).expect("own output is read");
        prop_assert!(notes.is_empty(), "{:?}", notes);
        let pairs = recording.waveforms[0].signals().iter().zip(back.waveforms[0].signals());
        for (was, is) in pairs {
            let half = is.step.nanovolts().over(Exact::whole(2)).expect("half of a whole number");
            for index in 0..was.samples.len() {
                let Some(voltage) = was.nanovolts(index) else { continue };
                let apart = voltage.minus(is.nanovolts(index).expect("nothing is missing")).expect("small numbers");
                prop_assert!(apart.magnitude() <= half, "sample {}: {} nV apart", index, apart);
            }
        }
        let is_rounded = written.losses.iter().any(|loss| loss.field == Field::Voltage);
        prop_assert_eq!(is_rounded, recording.waveforms[0].signals().iter().zip(back.waveforms[0].signals()).any(
            |(was, is)| (0..was.samples.len()).any(
                |index| was.nanovolts(index).is_some_and(|voltage| Some(voltage) != is.nanovolts(index)))));
    }
}
