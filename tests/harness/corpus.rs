//! Recordings to try on every format.

use ecgkeep_demo::{Spec, every_field, recording, small};
use ecgkeep_recording::{Code, Coded, Exact, Person, Recording, Sex, Step, Waveform};
use serde_json::{Map, Value};

/// A recording and what to call it.
#[derive(Clone, Debug)]
pub struct Named {
    /// What it is, for messages.
    pub name: String,
    /// The recording.
    pub recording: Recording,
}

/// The recordings that every format that writes must be able to hold, at least with losses.
#[must_use]
pub fn plain() -> Vec<Named> {
    let twelve = Spec { with_marks: true, with_measurements: true, ..Spec::default() };
    vec![named("small", small()), quiet(), named("twelve leads", recording(&twelve).recording)]
}

/// [`small`] in steps of ten microvolts, so that eight bits hold its samples.
fn quiet() -> Named {
    let mut recording = small();
    let waveform = recording.waveforms.remove(0);
    let (rate, mut signals) = (waveform.rate(), waveform.into_signals());
    for signal in &mut signals {
        signal.step = Step::new(Exact::whole(10_000)).expect("10000 is not zero");
        signal.samples.iter_mut().for_each(|sample| *sample /= 10);
    }
    recording.waveforms.push(Waveform::new(rate, signals).expect("as many samples as before"));
    named("quiet", recording)
}

/// [`plain`], the recording with every field filled, and variants of it with values that are hard to hold.
#[must_use]
pub fn all() -> Vec<Named> {
    let mut all = plain();
    all.push(named("every field", every_field()));
    all.extend(TEXTS.iter().map(|(name, text)| with_texts(name, text)));
    all.extend(NUMBERS.iter().map(|(name, number)| with_numbers(name, number)));
    all.extend(TIMES.iter().map(|(start, birth)| with_times(start, birth)));
    all.extend([Sex::Undifferentiated, Sex::Unknown, Sex::Other("X-2".to_owned())].map(with_sex));
    all.extend([
        with_lead_system(),
        with_one_waveform(),
        with_waveforms_turned_round(),
        with_two_rhythms(),
        with_everything_in_every_waveform(),
        with_many_items(),
        with_no_values(),
    ]);
    all
}

fn named(name: &str, recording: Recording) -> Named {
    Named { name: name.to_owned(), recording }
}

/// Texts that files of texts, of fixed lengths and of one code page have trouble with.
const TEXTS: &[(&str, &str)] = &[
    ("one character", "x"),
    ("a blank at each end", " two  blanks "),
    ("line breaks", "one\r\ntwo\nthree\tfour"),
    ("punctuation", "<a&b> \"c\" 'd' #e =f\\g/h^i~j|k,l;m:n"),
    ("Latin", "Åse Müller-Çelik, 37 °C, ½ µV"),
    ("beyond Latin", "Łódź Ελλάδα Київ 心電図 \u{1F493}"),
    ("zero and other controls", "a\0b\u{1}c\u{7f}d\u{85}e"),
    ("nothing", ""),
    (
        "300 characters",
        "0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst0123456789abcdefghijklmnopqrst",
    ),
];

/// Numbers that decimals, whole numbers and 16 bits have trouble with.
const NUMBERS: &[(&str, &str)] = &[
    ("a third", "1/3"),
    ("a negative fraction", "-12.75"),
    ("eighteen digits", "123456789.012345678"),
    ("a large number", "70000"),
    ("zero", "0"),
];

/// Starts and birth dates of every precision.
const TIMES: &[(&str, &str)] = &[
    ("2026", "1971"),
    ("2026-03", "1971-06"),
    ("2026-03-02", "1971-06-19"),
    ("2026-03-02T09", "0001-01-01"),
    ("2026-03-02T09:14-03:30", "9999-12-31"),
    ("2026-03-02T09:14:05", "1971"),
    ("2026-03-02T09:14:05.123456789012345678+14:00", "1971"),
    ("T09:14:05.5", "1971"),
    ("2026-03-02+01:00", "1971"),
    ("+05:45", "1971"),
    ("0001-03-02T09:14:05", "1971"),
    ("9999-12-31T23:59:59", "1971"),
];

/// Members of the JSON form whose text is free.
const FREE_TEXTS: &[&str] = &[
    "value",
    "assigner",
    "text",
    "family",
    "second_family",
    "given",
    "middle",
    "prefix",
    "suffix",
    "system",
    "meaning",
    "institution",
    "department",
    "room",
    "analysing_institution",
    "analysing_department",
    "order_number",
    "sequence_number",
    "label",
    "formula",
    "manufacturer",
    "model",
    "serial",
    "software",
    "id",
    "remarks",
    "described",
];

fn with_texts(name: &str, text: &str) -> Named {
    changed(&format!("every text is {name}"), |member, value, beside| {
        // beside a unit, `value` is a number
        let free = FREE_TEXTS.contains(&member) && !(member == "value" && beside.contains_key("unit"));
        let identifier_kind = member == "kind" && beside.contains_key("assigner");
        if let (Value::String(old), true) = (value, free || identifier_kind) {
            text.clone_into(old);
        }
    })
}

fn with_numbers(name: &str, number: &str) -> Named {
    changed(&format!("every number is {name}"), |member, value, beside| {
        let quantity = member == "value" && beside.contains_key("unit");
        let hertz = ["mains_hz", "high_pass_hz", "low_pass_hz", "notch_hz"].contains(&member);
        let of_signal = ["skew", "offset"].contains(&member) && beside.contains_key("step");
        let start = member == "start" && beside.contains_key("rate");
        if let (Value::String(old), true) = (value, quantity || hertz || of_signal || start) {
            number.clone_into(old);
        }
    })
}

fn with_times(start: &str, birth: &str) -> Named {
    changed(&format!("start {start}, born {birth}"), |member, value, _| match (member, value) {
        ("start", Value::String(old)) if old.contains("T09") => start.clone_into(old),
        ("birth_date", Value::String(old)) => birth.clone_into(old),
        ("at", Value::String(old)) => start.clone_into(old),
        _ => {}
    })
}

/// The electrode placement as a lead system of ISO/IEEE 11073, the one placement for which HL7 aECG has a place.
fn with_lead_system() -> Named {
    let mut recording = every_field();
    let system = "2.16.840.1.113883.6.24".to_owned();
    let code = Code { system, value: "MDC_ECG_LDSYS_10D_TORSO".to_owned(), meaning: None };
    recording.acquisition.placement = Some(Coded { text: None, codes: vec![code] });
    named("lead system", recording)
}

fn with_sex(sex: Sex) -> Named {
    let mut recording = every_field();
    let name = format!("sex {sex}");
    recording.subject.sex = Some(sex);
    named(&name, recording)
}

/// Formats that hold a single waveform of voltages are tried with everything else, too.
fn with_one_waveform() -> Named {
    let mut recording = every_field();
    recording.waveforms.truncate(1);
    named("every field, one waveform", recording)
}

/// A format that keeps the first waveform loses what only the others have.
fn with_waveforms_turned_round() -> Named {
    let mut recording = every_field();
    recording.waveforms.reverse();
    named("every field, waveforms turned round", recording)
}

/// A recording that was interrupted: a second rhythm waveform, half as long, one second later.
fn with_two_rhythms() -> Named {
    let mut recording = every_field();
    let first = &recording.waveforms[0];
    let half = first.signals().iter().map(|signal| {
        let mut signal = signal.clone();
        signal.samples.truncate(8);
        let missing = std::mem::take(&mut signal.missing);
        signal.with_missing(missing)
    });
    let mut second = Waveform::new(first.rate(), half.collect()).expect("all signals have eight samples");
    second.start = Exact::whole(1);
    second.marks = first.marks.clone();
    recording.waveforms.insert(1, second);
    named("every field, two rhythms", recording)
}

/// A format that holds one kind of waveform loses what stands in the others: marks, skew and derived leads, too.
fn with_everything_in_every_waveform() -> Named {
    let mut recording = every_field();
    let marks = recording.waveforms[0].marks.clone();
    for waveform in &mut recording.waveforms {
        let mut signals = waveform.signals().to_vec();
        signals[0].derived = true;
        signals[0].skew = Exact::ratio(1, 250).ok();
        let mut full = Waveform::new(waveform.rate(), signals).expect("as many samples as before");
        full.kind = waveform.kind.clone();
        full.start = waveform.start;
        full.marks = marks.clone();
        *waveform = full;
    }
    named("every waveform with marks, skew and a derived lead", recording)
}

fn with_many_items() -> Named {
    let mut recording = every_field();
    let remark = recording.acquisition.remarks[0].clone();
    recording.acquisition.remarks = (0..300).map(|number| format!("{remark} {number}")).collect();
    let statement = recording.statements[0].clone();
    recording.statements = vec![statement; 300];
    named("300 remarks and statements", recording)
}

/// Persons, codes and devices of which nothing is said but that they exist.
fn with_no_values() -> Named {
    let mut recording = every_field();
    let acquisition = &mut recording.acquisition;
    for persons in [&mut acquisition.operators, &mut acquisition.referring, &mut acquisition.confirming] {
        *persons = vec![Person::default(); 2];
    }
    acquisition.indications = vec![Coded::default(); 2];
    recording.subject.medications = vec![Coded::default()];
    recording.subject.race = Some(Coded::default());
    named("empty persons and codes", recording)
}

/// [`every_field`] with each text of its JSON form passed through `change`, which is told the member that holds it
/// (for a list: the list's) and the members beside it.
fn changed(name: &str, change: impl Fn(&str, &mut Value, &Map<String, Value>)) -> Named {
    let mut form = serde_json::to_value(every_field()).expect("the model has a JSON form");
    walk("", &mut form, &Map::new(), &change);
    named(name, serde_json::from_value(form).expect("texts were changed for texts of the same kind"))
}

fn walk(
    member: &str,
    value: &mut Value,
    beside: &Map<String, Value>,
    change: &impl Fn(&str, &mut Value, &Map<String, Value>),
) {
    match value {
        Value::Object(members) => {
            let beside = members.clone();
            for (member, value) in members {
                walk(member, value, &beside, change);
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|item| walk(member, item, beside, change)),
        _ => change(member, value, beside),
    }
}
