//! Whatever the model can hold comes back, and whatever is done to a document, reading it does not panic.

use ecgkeep_format::{Error, File, Format, Kind, Limits, Match, Memory, Options, Read};
use ecgkeep_json::{JSON, to_string};
use ecgkeep_recording::{
    CivilTime, Exact, Extra, ExtraValue, Lead, PartialDate, Rate, Recording, Signal, Span, Statement, Step,
    TimeOfDay, Waveform,
};
use proptest::prelude::*;

fn read(text: &[u8]) -> Result<Read, Error> {
    let file = File { name: "r.json".into(), bytes: text.to_vec() };
    JSON.read(&Memory::new("r.json", vec![file]), &Limits::default())
}

fn back(recording: &Recording) -> Recording {
    let text = to_string(recording).expect("the model can be written");
    let (back, notes) = read(text.as_bytes()).and_then(Read::one).expect("own text can be read");
    assert!(notes.is_empty());
    back
}

fn exact() -> impl Strategy<Value = Exact> {
    let ratio = |(numerator, denominator)| Exact::ratio(numerator, denominator).unwrap_or(Exact::ONE);
    let wide = (any::<i128>(), any::<i128>()).prop_map(ratio);
    let small = (-1000i128..1000, 1i128..1000).prop_map(ratio);
    let powers = (any::<bool>(), 0u32..39, 1i128..10)
        .prop_map(|(small, power, digit)| {
            let ten = 10i128.pow(power);
            if small { Exact::ratio(digit, ten) } else { Exact::ratio(digit.saturating_mul(ten), 1) }
        })
        .prop_map(|value| value.unwrap_or(Exact::ONE));
    prop_oneof![wide, small, powers]
}

fn civil_time() -> impl Strategy<Value = CivilTime> {
    let date =
        (1i16..=9999, prop::option::of((1u8..=12, prop::option::of(1u8..=28)))).prop_map(|(year, rest)| {
            PartialDate::new(year, rest.map(|(month, _)| month), rest.and_then(|(_, day)| day))
                .expect("in range")
        });
    let fraction = prop::option::of(
        (0i128..1_000_000, 6u32..20)
            .prop_map(|(part, places)| Exact::ratio(part, 10i128.pow(places)).expect("in range")),
    );
    let time = (0u8..24, prop::option::of((0u8..60, prop::option::of((0u8..60, fraction))))).prop_map(
        |(hour, rest)| {
            let second = rest.and_then(|(_, second)| second);
            let fraction = second.and_then(|(_, fraction)| fraction);
            TimeOfDay::new(hour, rest.map(|(minute, _)| minute), second.map(|(second, _)| second), fraction)
                .expect("in range")
        },
    );
    (prop::option::of(date), prop::option::of(time), prop::option::of(-1439i16..=1439))
        .prop_map(|(date, time, offset_minutes)| CivilTime { date, time, offset_minutes })
}

fn waveform(samples: Vec<i32>, rate: Exact, step: Exact, offset: Exact) -> Waveform {
    let signal = Signal { offset, ..Signal::new(Lead::V3, Step::new(step).unwrap_or_default(), samples) };
    let gap = Span { start: signal.samples.len() / 2, end: signal.samples.len() / 2 + 2 };
    let rate = Rate::new(rate.magnitude()).unwrap_or(Rate::new(Exact::ONE).expect("one is above zero"));
    Waveform::new(rate, vec![signal.with_missing(vec![gap])]).expect("one signal is a waveform")
}

proptest! {
    #[test]
    fn numbers_times_texts_and_bytes_come_back(
        samples in prop::collection::vec(any::<i32>(), 0..40),
        numbers in prop::array::uniform4(exact()),
        start in civil_time(),
        text in any::<String>(),
        bytes in prop::collection::vec(any::<u8>(), 0..40),
    ) {
        let mut recording = Recording::default();
        let mut waveform = waveform(samples, numbers[0], numbers[1], numbers[2]);
        waveform.start = numbers[3];
        recording.waveforms.push(waveform);
        recording.acquisition.start = start;
        recording.statements.push(Statement { at: Some(start), ..Statement::default() });
        recording.acquisition.remarks.push(text.clone());
        for value in [ExtraValue::Text(text.clone()), ExtraValue::Bytes(bytes)] {
            recording.extras.push(Extra { format: "scp".into(), address: text.clone(), value });
        }
        prop_assert_eq!(back(&recording), recording);
    }

    #[test]
    fn any_bytes_give_an_error_and_never_a_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        prop_assert!(read(&bytes).is_err());
    }
}

#[test]
fn a_cut_document_says_where_it_ends() {
    let mut recording = Recording::default();
    recording.waveforms.push(waveform(vec![5, -6, 7], Exact::whole(500), Exact::ONE, Exact::ZERO));
    let text = to_string(&recording).unwrap();
    let document = text.trim_end();
    for cut in 0..document.len() {
        let error = read(&document.as_bytes()[..cut]).unwrap_err();
        assert_eq!(error.kind(), Kind::Truncated, "{cut}: {error}");
        let byte = usize::try_from(error.place().byte.unwrap()).unwrap();
        assert!(byte.abs_diff(cut) <= 1, "cut at {cut}: {error}");
    }
}

#[test]
fn limits_are_kept() {
    let mut recording = Recording::default();
    recording.waveforms.push(waveform(vec![1; 100], Exact::whole(500), Exact::ONE, Exact::ZERO));
    let file = File { name: "r.json".into(), bytes: to_string(&recording).unwrap().into_bytes() };
    let source = Memory::new("r.json", vec![file]);
    let none = Limits::default();
    for limits in [
        Limits { file_bytes: 100, ..none },
        Limits { samples: 99, ..none },
        Limits { signals: 0, ..none },
        Limits { text_bytes: 3, ..none },
    ] {
        let error = JSON.read(&source, &limits).unwrap_err();
        assert_eq!(error.kind(), Kind::Limit, "{error}");
        assert_eq!(error.place().file.as_deref(), Some("r.json"));
    }
    assert!(JSON.read(&source, &Limits { samples: 100, signals: 1, ..none }).is_ok());
}

#[test]
fn a_document_is_recognised_by_its_first_member() {
    let text = to_string(&Recording::default()).unwrap();
    for (name, head, expected) in [
        ("a", text.as_str(), Match::Certain),
        ("a", "\u{feff} {\t\"schema\" :\"ecgkeep-recording/9\"", Match::Certain),
        ("a", "{\"recordings\": [", Match::Likely),
        ("a.JSON", "{\"schema\": \"ecgkeep-policy/1\"", Match::ByName),
        ("a.json", "", Match::ByName),
        ("json", "", Match::No),
        ("a.txt", "{\"schema\"", Match::No),
    ] {
        assert_eq!(JSON.probe(name, head.as_bytes()), expected, "{name} {head}");
    }
}

#[test]
fn the_name_of_the_file_is_the_stem_with_the_ending() {
    let options = Options::default();
    assert_eq!(JSON.encode(&[], "r1", &options).unwrap()[0].name, "r1.json");
    assert_eq!(JSON.encode(&[], "a/b", &options).unwrap_err().kind(), Kind::Usage);
}
