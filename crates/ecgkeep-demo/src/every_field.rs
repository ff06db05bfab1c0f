//! One small recording in which every field of the model is filled: what the tests of every format write, read
//! back and compare. No `..` here: a new field of the model does not compile until it is filled.

use ecgkeep_recording::{
    Acquisition, CivilTime, Code, Coded, Device, Exact, Extra, ExtraValue, Filters, Identifier, Lead, Mark,
    MarkKind, Measurement, MeasurementKind, Origin, PartialDate, Person, PersonName, Quantity, Rate,
    Recording, Scope, Sex, Signal, SignalUnit, Span, Statement, StatementStatus, Step, Subject, Wave,
    Waveform, WaveformKind,
};

/// Leads II, V2 and aVF, 16 samples each, a representative beat, a waveform of other units, and every field of the
/// model filled at least once. All people, places and devices are invented.
#[must_use]
pub fn every_field() -> Recording {
    Recording {
        subject: subject(),
        acquisition: acquisition(),
        waveforms: vec![rhythm(), representative_beat(), other_units()],
        measurements: measurements(),
        statements: statements(),
        extras: vec![
            Extra {
                format: "invented".to_owned(),
                address: "block 7, item 2".to_owned(),
                value: ExtraValue::Text("kept word for word".to_owned()),
            },
            Extra {
                format: "invented".to_owned(),
                address: "block 9".to_owned(),
                value: ExtraValue::Bytes(vec![0x00, 0xFF, 0x1A, 0x0A]),
            },
        ],
        origin: Origin {
            format: "demo".to_owned(),
            version: Some("1".to_owned()),
            record: Some("every_field".to_owned()),
        },
    }
}

fn subject() -> Subject {
    Subject {
        identifiers: vec![
            identifier("LM-204417", "Larkmoor Day Clinic", "medical record number"),
            identifier("73-1180-4", "Fenmarch Insurance", "insurance number"),
        ],
        name: PersonName {
            text: None,
            family: Some("Østergård".to_owned()),
            second_family: Some("Quintanel".to_owned()),
            given: Some("Maren".to_owned()),
            middle: Some("Elodie".to_owned()),
            prefix: Some("Dr.".to_owned()),
            suffix: Some("the Younger".to_owned()),
        },
        birth_date: Some(date("1971-06-19")),
        sex: Some(Sex::Female),
        age: Some(Quantity::new(54, "a")),
        height: Some(Quantity::new(exact("168.5"), "cm")),
        weight: Some(Quantity::new(exact("63.2"), "kg")),
        race: Some(coded("not stated by the patient", "invented race list", "9")),
        systolic: Some(Quantity::new(124, "mm[Hg]")),
        diastolic: Some(Quantity::new(78, "mm[Hg]")),
        medications: vec![
            coded("Cordalin 5 mg", "invented drug list", "C-05"),
            Coded::from_text("none other"),
        ],
        history: vec![coded("appendectomy 1988", "invented history list", "A-88")],
    }
}

fn acquisition() -> Acquisition {
    Acquisition {
        identifiers: vec![
            identifier("REC-2026-000931", "Larkmoor Day Clinic", "recording"),
            identifier("TRIAL-HALYARD", "Fenmarch Trials", "trial"),
        ],
        start: time("2026-03-02T09:14:05.25+01:00"),
        operators: vec![
            person("R. Quill", "LM-N-031"),
            Person {
                name: PersonName {
                    text: None,
                    family: Some("Brackwater".to_owned()),
                    second_family: None,
                    given: Some("Ines".to_owned()),
                    middle: None,
                    prefix: None,
                    suffix: None,
                },
                id: None,
            },
        ],
        referring: vec![person("Dr. H. Vennel", "LM-D-004")],
        requesting: vec![person("Dr. O. Sarkeld", "LM-D-011")],
        confirming: vec![person("Dr. P. Ashgrove", "LM-D-002")],
        institution: Some("Larkmoor Day Clinic".to_owned()),
        department: Some("Cardiography".to_owned()),
        room: Some("Room 3".to_owned()),
        analysing_institution: Some("Fenmarch Reading Centre".to_owned()),
        analysing_department: Some("Over-reading".to_owned()),
        recorder: device("Fenwright Instruments", "FW 12R", "FW-00718", "2.4.1", "LM-ECG-2"),
        analyser: device("Fenwright Instruments", "Reader", "FW-R-0044", "5.0", "LM-AN-1"),
        filters: Filters {
            high_pass_hz: Some(exact("0.05")),
            low_pass_hz: Some(Exact::whole(150)),
            notch_hz: vec![Exact::whole(50), exact("16.7")],
            described: vec!["no display filter".to_owned(), "linear phase".to_owned()],
        },
        mains_hz: Some(Exact::whole(50)),
        placement: Some(coded("standard 12-lead", "invented placement list", "S12")),
        urgency: Some(coded("routine", "invented urgency list", "0")),
        order_number: Some("ORD-88-2201".to_owned()),
        sequence_number: Some("17".to_owned()),
        indications: vec![coded("before surgery", "invented indication list", "PRE")],
        remarks: vec!["lay still".to_owned(), "second attempt; electrodes renewed".to_owned()],
    }
}

fn rhythm() -> Waveform {
    let mut waveform = waveform(
        Exact::whole(500),
        vec![
            Signal {
                lead: Lead::II,
                label: Some("L2".to_owned()),
                unit: SignalUnit::Volt,
                // a third of a microvolt
                step: step(ratio(1000, 3)),
                offset: exact("12.5"),
                missing: vec![Span { start: 3, end: 5 }, Span { start: 14, end: 15 }],
                derived: false,
                skew: None,
                samples: vec![0, 6, 15, 0, 0, -180, 1260, 3540, 1830, -570, -120, 9, 18, 36, 0, 93],
            },
            Signal {
                lead: Lead::V2,
                label: Some("C2".to_owned()),
                unit: SignalUnit::Volt,
                // 204.91803278688525 counts per millivolt
                step: step(ratio(100_000_000_000_000_000_000, 20_491_803_278_688_525)),
                offset: Exact::ZERO,
                missing: Vec::new(),
                derived: false,
                skew: Some(exact("0.002")),
                samples: vec![0, 1, 1, 0, 0, 18, 131, 64, -178, -109, -16, 2, 5, 7, 10, 14],
            },
            Signal {
                lead: Lead::AVF,
                label: None,
                unit: SignalUnit::Volt,
                // a step of 204.91803278688525 nanovolts, negative: the source inverts
                step: step(exact("-204.91803278688525")),
                offset: exact("-500"),
                missing: Vec::new(),
                derived: true,
                skew: None,
                samples: vec![
                    -5, -15, -20, -34, -10, 220, -1464, -4343, -2342, 732, 161, -10, -24, -49, -73, -112,
                ],
            },
        ],
    );
    waveform.marks = vec![
        mark(-3, None, MarkKind::Onset(Wave::P), None),
        mark(1, Some(Lead::II), MarkKind::Peak(Wave::P), None),
        mark(4, None, MarkKind::Offset(Wave::P), None),
        mark(5, None, MarkKind::Onset(Wave::Qrs), None),
        Mark {
            sample: 7,
            lead: None,
            kind: MarkKind::Beat,
            label: Some("N".to_owned()),
            text: Some("first beat".to_owned()),
            codes: vec![code("invented beat list", "1", "normal beat")],
        },
        mark(10, Some(Lead::V2), MarkKind::Offset(Wave::Qrs), None),
        mark(12, None, MarkKind::PacingPulse, None),
        mark(13, None, MarkKind::Rhythm, Some("(N")),
        mark(14, Some(Lead::AVF), MarkKind::Quality, Some("noisy")),
        mark(15, None, MarkKind::Note, Some("cough")),
        mark(15, None, MarkKind::Other("button".to_owned()), None),
        mark(40, None, MarkKind::Offset(Wave::T), None),
        mark(44, None, MarkKind::Peak(Wave::U), None),
        mark(50, None, MarkKind::Onset(Wave::Unstated), None),
        mark(52, None, MarkKind::Peak(Wave::Other("delta".to_owned())), None),
    ];
    waveform
}

fn representative_beat() -> Waveform {
    let mut waveform = waveform(
        Exact::whole(250),
        vec![
            Signal::new(Lead::II, step(Exact::whole(5000)), vec![0, 1, -12, 90, 210, -20, 2, 6]),
            Signal::new(Lead::V2, step(Exact::whole(5000)), vec![0, 0, 30, 110, -160, -60, 5, 12]),
        ],
    );
    waveform.kind = WaveformKind::RepresentativeBeat { class: 0 };
    waveform.start = exact("-0.012");
    waveform
}

fn other_units() -> Waveform {
    let respiration = Signal {
        lead: Lead::Other("Resp".to_owned()),
        label: None,
        unit: SignalUnit::Other("Ohm".to_owned()),
        step: step(exact("62472500")),
        offset: exact("250000000000"),
        missing: vec![Span { start: 2, end: 3 }],
        derived: false,
        skew: None,
        samples: vec![4, 9, 0, 12],
    };
    let counter = Signal {
        lead: Lead::Unspecified,
        label: Some("button".to_owned()),
        unit: SignalUnit::Uncalibrated,
        step: step(Exact::whole(1_000_000_000)),
        offset: Exact::ZERO,
        missing: Vec::new(),
        derived: false,
        skew: None,
        samples: vec![0, 0, 1, 1],
    };
    let mut waveform = waveform(ratio(1000, 3), vec![respiration, counter]);
    waveform.kind = WaveformKind::Other("companion".to_owned());
    waveform.start = ratio(1, 3);
    waveform
}

fn measurements() -> Vec<Measurement> {
    let of = |kind, value: &str, unit: &str, scope, formula: Option<&str>| Measurement {
        kind,
        value: exact(value),
        unit: unit.to_owned(),
        scope,
        formula: formula.map(str::to_owned),
    };
    vec![
        of(MeasurementKind::HeartRate, "64.5", "/min", Scope::Global, None),
        of(MeasurementKind::PrInterval, "162", "ms", Scope::Global, None),
        of(MeasurementKind::QrsDuration, "92", "ms", Scope::Global, None),
        of(MeasurementKind::QtInterval, "391", "ms", Scope::Global, None),
        of(MeasurementKind::QtcInterval, "405", "ms", Scope::Global, Some("Bazett")),
        of(MeasurementKind::QrsAxis, "-12", "deg", Scope::Global, None),
        of(MeasurementKind::RAmplitude, "1180", "uV", Scope::Lead(Lead::II), None),
        of(MeasurementKind::RrInterval, "930", "ms", Scope::Beat(1), None),
        of(MeasurementKind::PDuration, "104", "ms", Scope::BeatClass(0), None),
        of(MeasurementKind::Other("ST slope".to_owned()), "1/3", "uV/ms", Scope::Lead(Lead::V2), None),
    ]
}

fn statements() -> Vec<Statement> {
    vec![
        Statement {
            text: "sinus rhythm".to_owned(),
            codes: vec![code("invented statement list", "SR", "sinus rhythm")],
            status: Some(StatementStatus::Confirmed),
            author: Some(person("Dr. P. Ashgrove", "LM-D-002")),
            at: Some(time("2026-03-02T11:40+01:00")),
        },
        Statement {
            text: "no earlier recording to compare with".to_owned(),
            codes: Vec::new(),
            status: Some(StatementStatus::Unconfirmed),
            author: None,
            at: None,
        },
    ]
}

fn identifier(value: &str, assigner: &str, kind: &str) -> Identifier {
    Identifier { value: value.to_owned(), assigner: Some(assigner.to_owned()), kind: Some(kind.to_owned()) }
}

fn person(name: &str, id: &str) -> Person {
    Person {
        name: PersonName::from_text(name),
        id: Some(identifier(id, "Larkmoor Day Clinic", "staff number")),
    }
}

fn device(manufacturer: &str, model: &str, serial: &str, software: &str, id: &str) -> Device {
    Device {
        manufacturer: Some(manufacturer.to_owned()),
        model: Some(model.to_owned()),
        serial: Some(serial.to_owned()),
        software: Some(software.to_owned()),
        id: Some(id.to_owned()),
    }
}

fn code(system: &str, value: &str, meaning: &str) -> Code {
    Code { system: system.to_owned(), value: value.to_owned(), meaning: Some(meaning.to_owned()) }
}

fn coded(text: &str, system: &str, value: &str) -> Coded {
    Coded { text: Some(text.to_owned()), codes: vec![code(system, value, text)] }
}

fn mark(sample: i64, lead: Option<Lead>, kind: MarkKind, text: Option<&str>) -> Mark {
    Mark { sample, lead, kind, label: None, text: text.map(str::to_owned), codes: Vec::new() }
}

fn waveform(rate: Exact, signals: Vec<Signal>) -> Waveform {
    let rate = Rate::new(rate).expect("the rates above are above zero");
    Waveform::new(rate, signals).expect("the signals above have one length and zeros where missing")
}

fn step(nanovolts: Exact) -> Step {
    Step::new(nanovolts).expect("the steps above are not zero")
}

fn exact(text: &str) -> Exact {
    text.parse().expect("the numbers above have at most 18 digits")
}

fn ratio(numerator: i128, denominator: i128) -> Exact {
    Exact::ratio(numerator, denominator).expect("the denominators above are not zero")
}

fn date(text: &str) -> PartialDate {
    text.parse().expect("the dates above are of the calendar")
}

fn time(text: &str) -> CivilTime {
    text.parse().expect("the times above are of the calendar")
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use ecgkeep_recording::{Field, differences};

    use super::*;

    #[test]
    fn every_field_of_the_model_is_filled() {
        let filled: BTreeSet<Field> =
            differences(&every_field(), &Recording::default()).into_iter().map(|found| found.field).collect();
        // these two are compared sample by sample, between two signals of one lead
        let by_sample = [Field::Voltage, Field::Missing];
        let empty: Vec<&Field> =
            Field::ALL.iter().filter(|field| !filled.contains(field) && !by_sample.contains(field)).collect();
        assert!(empty.is_empty(), "not filled: {empty:?}");
        let recording = every_field();
        assert!(recording.waveforms[0].signals().iter().any(|signal| !signal.missing.is_empty()));
    }

    #[test]
    fn no_optional_part_is_left_out_everywhere() {
        let recording = every_field();
        let names = [&recording.subject.name, &recording.acquisition.operators[0].name];
        assert!(names[0].text.is_none() && names[1].text.is_some(), "a name is one text or parts");
        let subject = Subject { name: PersonName::default(), medications: Vec::new(), ..recording.subject };
        let text = format!("{subject:?}{:?}", recording.origin);
        assert_eq!(text.matches("None").count(), 7, "the parts of the emptied name alone: {text}");
        assert_eq!(text.matches("[]").count(), 1, "the emptied medications alone: {text}");
        let Acquisition { recorder, analyser, filters, mains_hz, placement, urgency, .. } =
            recording.acquisition;
        let text = format!("{recorder:?}{analyser:?}{filters:?}{mains_hz:?}{placement:?}{urgency:?}");
        assert!(!text.contains("None") && !text.contains("[]"), "{text}");
    }
}
