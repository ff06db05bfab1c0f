//! What is written comes back the same: every field of the model, every storage format.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use ecgkeep_format::{Format, Kind, Limits, Memory, Options, Weight, write};
use ecgkeep_recording::{
    CivilTime, Code, Coded, Device, Exact, Extra, ExtraValue, Field, Filters, Identifier, Lead, Mark,
    MarkKind, Measurement, MeasurementKind, Person, PersonName, Quantity, Rate, Recording, Scope, Sex,
    Signal, SignalUnit, Span, Statement, StatementStatus, Step, Wave, Waveform, WaveformKind, differences,
};
use ecgkeep_wfdb::WFDB;

fn exact(text: &str) -> Exact {
    text.parse().unwrap()
}

fn some(text: &str) -> Option<String> {
    Some(text.to_owned())
}

fn code(system: &str, value: &str, meaning: Option<&str>) -> Code {
    Code { system: system.into(), value: value.into(), meaning: meaning.map(str::to_owned) }
}

fn coded(text: &str, codes: Vec<Code>) -> Coded {
    Coded { text: some(text), codes }
}

fn signal(lead: Lead, samples: &[i32]) -> Signal {
    Signal::new(lead, Step::new(exact("4880")).unwrap(), samples.to_vec())
}

/// Every field of the model, with the characters that a careless writer would lose.
fn full() -> Recording {
    let mut recording = Recording::default();
    let subject = &mut recording.subject;
    subject.identifiers = vec![
        Identifier {
            value: "LK-20417".into(),
            assigner: some("Larkmoor"),
            kind: some("medical record number"),
        },
        Identifier { value: String::new(), assigner: some("blank"), kind: None },
        Identifier { value: " 7 # ".into(), assigner: None, kind: None },
    ];
    subject.name = PersonName {
        text: some("Aldous, Ève"),
        family: some("Aldous"),
        second_family: some("Quént"),
        given: some("Ève"),
        middle: some("%41"),
        prefix: some("Dr"),
        suffix: some(""),
    };
    subject.birth_date = Some("1958-04".parse().unwrap());
    subject.sex = Some(Sex::Other("as stated".into()));
    subject.age = Some(Quantity::new(9i64, "mo"));
    subject.height = Some(Quantity::new(170i64, "cm"));
    subject.weight = Some(Quantity::new(exact("154.3"), "[lb_av]"));
    subject.race = Some(coded("a word", vec![code("SYS", "1", None)]));
    subject.systolic = Some(Quantity::new(120i64, "mm[Hg]"));
    subject.diastolic = Some(Quantity::new(exact("10.5"), "kPa"));
    subject.medications =
        vec![coded("metoprolol", vec![code("ATC", "C07AB02", Some("metoprolol"))]), Coded::default()];
    subject.history = vec![Coded { text: None, codes: vec![code("", "x", None), code("s", "y", Some("z"))] }];
    let acquisition = &mut recording.acquisition;
    acquisition.identifiers = vec![Identifier { value: "R1".into(), assigner: None, kind: some("trial") }];
    acquisition.start = "2026-03-02T09:14:05.25+01:00".parse().unwrap();
    acquisition.operators = vec![
        Person::named("R. Quill"),
        Person {
            name: PersonName { family: some("Quill"), given: some("R."), ..PersonName::default() },
            id: Some(Identifier { value: "N-12".into(), assigner: some("Larkmoor"), kind: None }),
        },
        Person::default(),
    ];
    acquisition.referring = vec![Person::named("Dr Penhale")];
    acquisition.requesting = vec![Person::named("Dr Rowe")];
    acquisition.confirming = vec![Person::named("Dr Tamsin")];
    acquisition.institution = some("Larkmoor day clinic");
    acquisition.department = some("cardiology");
    acquisition.room = some("3\nnext line\ttab");
    acquisition.analysing_institution = some("Larkmoor");
    acquisition.analysing_department = some("core");
    acquisition.recorder = Device {
        manufacturer: some("Invented Instruments"),
        model: some("M1"),
        serial: some("0001"),
        software: some("1.2"),
        id: some("cart 4"),
    };
    acquisition.analyser = Device { model: some("A1"), ..Device::default() };
    acquisition.filters = Filters {
        high_pass_hz: Some(exact("0.05")),
        low_pass_hz: Some(exact("150")),
        notch_hz: vec![exact("50"), exact("100")],
        described: vec!["baseline".into(), "x".repeat(700) + " #"],
    };
    acquisition.mains_hz = Some(exact("50"));
    acquisition.placement = Some(coded("standard", vec![]));
    acquisition.urgency = Some(coded("routine", vec![]));
    acquisition.order_number = some("O-9");
    acquisition.sequence_number = some("3");
    acquisition.indications = vec![coded("chest pain", vec![])];
    acquisition.remarks = vec!["first ".into(), "é".repeat(300), "##".into()];
    recording.measurements = vec![
        Measurement::global(MeasurementKind::QtcInterval, 410i64, "s"),
        Measurement::global(MeasurementKind::HeartRate, exact("72.5"), "/min"),
        Measurement {
            formula: some("Bazett"),
            ..Measurement::global(MeasurementKind::QtcInterval, 412i64, "ms")
        },
        Measurement::global(MeasurementKind::HeartRate, 73i64, "/min"),
        Measurement {
            scope: Scope::Lead(Lead::V1),
            ..Measurement::global(MeasurementKind::RAmplitude, 1234i64, "uV")
        },
        Measurement {
            scope: Scope::Beat(3),
            ..Measurement::global(MeasurementKind::QrsDuration, 90i64, "ms")
        },
        Measurement {
            scope: Scope::BeatClass(1),
            ..Measurement::global(MeasurementKind::Other("odd".into()), exact("1/3"), "")
        },
    ];
    recording.statements = vec![
        Statement {
            text: "sinus rhythm".into(),
            codes: vec![code("SCP-ECG", "SR", None)],
            status: Some(StatementStatus::OverRead),
            author: Some(Person::named("Dr Tamsin")),
            at: Some("2026-03-02T10".parse().unwrap()),
        },
        Statement::default(),
    ];
    recording.extras = vec![
        Extra {
            format: "scp".into(),
            address: "section 1, tag 200".into(),
            value: ExtraValue::Bytes(vec![0, 255]),
        },
        Extra {
            format: "wfdb".into(),
            address: "comment 1".into(),
            value: ExtraValue::Text("# Age: 44".into()),
        },
        Extra {
            format: "wfdb".into(),
            address: "comment 2".into(),
            value: ExtraValue::Text("no comment".into()),
        },
        Extra {
            format: "wfdb".into(),
            address: "comment 3".into(),
            value: ExtraValue::Text("# third".into()),
        },
        Extra {
            format: "wfdb".into(),
            address: "comment above the record 1".into(),
            value: ExtraValue::Bytes(b"# \xff".to_vec()),
        },
        Extra {
            format: "wfdb".into(),
            address: "ADC resolution".into(),
            value: ExtraValue::Text("12".into()),
        },
    ];
    recording.waveforms = vec![rhythm()];
    recording
}

fn rhythm() -> Waveform {
    let mut signals = vec![
        signal(Lead::I, &[1, 0, -3, 32_767]).with_missing(vec![Span { start: 1, end: 2 }]),
        signal(Lead::AVR, &[5; 4]),
        signal(Lead::Other("é odd ".into()), &[6; 4]),
        signal(Lead::I, &[7; 4]),
        signal(Lead::Other("resp".into()), &[8; 4]),
        signal(Lead::Other("flow".into()), &[9; 4]),
        signal(Lead::Other("raw".into()), &[10; 4]),
    ];
    signals[1].label = some("avr");
    signals[1].derived = true;
    signals[1].skew = Some(exact("1/3"));
    signals[1].offset = exact("2440");
    signals[2].label = some("I");
    signals[3].step = Step::new(exact("-1/3")).unwrap();
    signals[3].offset = exact("100/3");
    signals[4].unit = SignalUnit::Other("ohm".into());
    signals[5].unit = SignalUnit::Other("l per min".into());
    signals[5].step = Step::new(exact("1/7")).unwrap();
    signals[6].unit = SignalUnit::Uncalibrated;
    signals[6].step = Step::new(Exact::whole(1_000_000_000)).unwrap();
    let mut waveform = Waveform::new(Rate::new(exact("1000/3")).unwrap(), signals).unwrap();
    waveform.marks = marks();
    waveform
}

/// Marks of every kind, some that an annotation can hold and some that only lines of the header can.
fn marks() -> Vec<Mark> {
    let waves = [Wave::P, Wave::Qrs, Wave::T, Wave::U, Wave::Unstated, Wave::Other("delta".into())];
    let mut kinds: Vec<MarkKind> = waves
        .iter()
        .flat_map(|wave| [MarkKind::Onset, MarkKind::Peak, MarkKind::Offset].map(|kind| kind(wave.clone())))
        .collect();
    kinds.extend([
        MarkKind::Beat,
        MarkKind::PacingPulse,
        MarkKind::Rhythm,
        MarkKind::Quality,
        MarkKind::Note,
    ]);
    kinds.extend(["ST change", "note", "normal beat", "anything"].map(|name| MarkKind::Other(name.into())));
    let mut marks: Vec<Mark> =
        (0..).zip(&kinds).map(|(sample, kind)| Mark::new(sample, kind.clone())).collect();
    for label in ["N", "V", "+", "odd", ""] {
        marks.push(Mark { label: some(label), ..Mark::new(40, MarkKind::Beat) });
    }
    for text in ["(AFIB", "", "é", &"x".repeat(256), "ends in zero\0"] {
        marks.push(Mark { text: some(text), ..Mark::new(0, MarkKind::Note) });
    }
    for lead in [Lead::I, Lead::AVR, Lead::V1, Lead::Other("é odd ".into()), Lead::Other("I".into())] {
        marks.push(Mark { lead: Some(lead), ..Mark::new(50, MarkKind::Beat) });
    }
    for sample in [-5, 1023, 1024, 10_000_000_000, i64::MAX, i64::MIN] {
        marks.push(Mark::new(sample, MarkKind::Beat));
    }
    let codes = vec![code("MDC", "MDC_ECG_WAVC_PWAVE", Some("P wave")), code("x", "y", None)];
    marks.push(Mark { codes, ..Mark::new(60, MarkKind::Onset(Wave::P)) });
    for value in ["atr 28 sub=1 chan=2 num=-1", "marks 1", "atr 0", "dat 1", "atr 22 aux=2323", "my_own 55"] {
        marks.push(Mark {
            codes: vec![code("WFDB annotation", value, None)],
            ..Mark::new(70, MarkKind::Rhythm)
        });
    }
    marks
}

fn lossless(recording: &Recording, options: &Options) -> Vec<ecgkeep_format::File> {
    let written = write(&WFDB, std::slice::from_ref(recording), "r", options).unwrap();
    assert_eq!(written.losses, [], "{recording:?}");
    written.files
}

#[test]
fn every_field_of_the_model_comes_back() {
    let files = lossless(&full(), &Options::default());
    let header = String::from_utf8_lossy(&files.last().unwrap().bytes).into_owned();
    for line in header.lines() {
        assert!(line.len() < 255, "{line}");
        assert!(line.is_ascii() || line.starts_with("# "), "{line}");
    }
    for line in [
        "#<ecg-info>: 1",
        "#<patient.id>: LK-20417",
        "#<patient.id.assigner>: Larkmoor",
        "#<patient.family>: Aldous",
        "#<patient.birth-date>: 1958-04",
        "#<acq.datetime>: 2026-03-02T09:14:05.25+01:00",
        "#<acq.operator>: R. Quill",
        "#<acq.operator[2].given>: R.",
        "#<meas.hr-bpm>: 72.5",
        "# Age: 44",
    ] {
        assert!(header.lines().any(|found| found == line), "{line} in\n{header}");
    }
}

#[test]
fn what_was_read_is_read_the_same_again_and_silence_stays_silence() {
    let files =
        lossless(&Recording { waveforms: vec![rhythm()], ..Recording::default() }, &Options::default());
    let (read, _) = WFDB.read(&Memory::new("r.hea", files), &Limits::default()).unwrap().one().unwrap();
    assert_eq!(read.subject, Default::default());
    assert_eq!(read.acquisition, Default::default());
    assert_eq!(read.extras, []);
    lossless(&read, &Options::default());
    lossless(&Recording::default(), &Options::default());
}

#[test]
fn starts_of_every_precision_come_back() {
    for text in [
        "2026",
        "2026-03",
        "2026-03-02",
        "2026-03-02T09",
        "2026-03-02T09:14",
        "2026-03-02T09:14:05",
        "2026-03-02T09:14:05.000000001",
        "2026-03-02T09:14:05.0",
        "T09:14:05",
        "T00:00:00",
        "2026-03T09:14:05Z",
        "0001-01-01T00:00:00-11:30",
    ] {
        let mut recording = Recording { waveforms: vec![rhythm()], ..Recording::default() };
        recording.acquisition.start = text.parse().unwrap();
        lossless(&recording, &Options::default());
    }
    let mut recording = Recording { waveforms: vec![rhythm()], ..Recording::default() };
    recording.acquisition.start = CivilTime { offset_minutes: Some(60), ..CivilTime::default() };
    lossless(&recording, &Options::default());
}

#[test]
fn ages_and_sexes_come_back_beside_any_foreign_line() {
    let ages = [
        None,
        Some(Quantity::new(71i64, "a")),
        Some(Quantity::new(exact("0.5"), "a")),
        Some(Quantity::new(3i64, "wk")),
    ];
    let sexes = [None, Some(Sex::Female), Some(Sex::Male), Some(Sex::Unknown), Some(Sex::Undifferentiated)];
    for line in
        ["# age: 71", "#<age>: 28  <sex>: M  <Height>: 170", "#Sex: Female", "#<age>: 71", "# 69 M 1085"]
    {
        for age in &ages {
            for sex in &sexes {
                let mut recording = Recording::default();
                recording.subject.age = age.clone();
                recording.subject.sex = sex.clone();
                let value = ExtraValue::Text(line.into());
                recording.extras = vec![Extra { format: "wfdb".into(), address: "comment 1".into(), value }];
                lossless(&recording, &Options::default());
            }
        }
    }
}

#[test]
fn each_storage_format_holds_its_range_or_is_refused() {
    let cases = [("80", 127), ("212", 2_047), ("16", 32_767), ("24", 8_388_607), ("32", i32::MAX)];
    for (storage, most) in cases {
        let recording = |least, most| {
            let signals = vec![
                signal(Lead::I, &[0, least, most, 1, 2]).with_missing(vec![Span { start: 3, end: 4 }]),
                signal(Lead::II, &[-1, 1, 0, 5, -7]),
                signal(Lead::III, &[0; 5]),
            ];
            let waveform = Waveform::new(Rate::new(exact("500")).unwrap(), signals).unwrap();
            Recording { waveforms: vec![waveform], ..Recording::default() }
        };
        let options = Options::default().with("storage", storage);
        lossless(&recording(-most, most), &options);
        let code = -most - 1;
        let error = write(&WFDB, &[recording(code, most)], "r", &options).unwrap_err();
        assert_eq!(error.kind(), Kind::Refused);
        let automatic = write(&WFDB, &[recording(code, most)], "r", &Options::default());
        assert_eq!(automatic.is_err(), most == i32::MAX, "{storage}");
    }
}

#[test]
fn the_smallest_of_16_24_and_32_is_taken() {
    for (most, bytes) in [(32_767, 2), (32_768, 3), (8_388_607, 3), (8_388_608, 4)] {
        let waveform =
            Waveform::new(Rate::new(exact("500")).unwrap(), vec![signal(Lead::I, &[most])]).unwrap();
        let files =
            lossless(&Recording { waveforms: vec![waveform], ..Recording::default() }, &Options::default());
        assert_eq!(files[0].bytes.len(), bytes);
    }
}

fn waveform(rate: &str, start: &str, samples: usize, lead: Lead, kind: WaveformKind) -> Waveform {
    let signals = vec![signal(lead, &vec![3; samples])];
    let mut waveform = Waveform::new(Rate::new(exact(rate)).unwrap(), signals).unwrap();
    (waveform.kind, waveform.start) = (kind, exact(start));
    waveform.marks = vec![Mark::new(2, MarkKind::Beat), Mark::new(-1, MarkKind::Onset(Wave::P))];
    waveform
}

#[test]
fn waveforms_of_other_starts_lengths_and_rates_share_a_record() {
    fn rhythm(rate: &str, start: &str, samples: usize, lead: Lead) -> Waveform {
        waveform(rate, start, samples, lead, WaveformKind::Rhythm)
    }
    // three rows of four leads and a strip: each lead was recorded when it was recorded
    let mut rows: Vec<Waveform> = (0..)
        .zip(Lead::TWELVE)
        .map(|(k, lead)| rhythm("500", &format!("{}", k / 3 * 2), 1_000, lead))
        .collect();
    rows.push(rhythm("500", "0", 4_000, Lead::II));
    let recordings = [
        rows,
        vec![rhythm("500", "0", 50, Lead::I), rhythm("750", "0", 75, Lead::II)],
        vec![
            rhythm("500", "0", 50, Lead::I),
            rhythm("1000", "0.1", 3, Lead::II),
            rhythm("250", "0.004", 1, Lead::V1),
        ],
        vec![rhythm("500", "1/3", 50, Lead::I), rhythm("500", "1/3", 50, Lead::I)],
        vec![rhythm("500", "-0.5", 50, Lead::I), rhythm("500", "0", 0, Lead::II)],
        vec![
            waveform("500", "0", 50, Lead::I, WaveformKind::Other("strip".into())),
            rhythm("500", "2", 50, Lead::I),
        ],
        vec![waveform("500", "0", 9, Lead::I, WaveformKind::RepresentativeBeat { class: 1 })],
    ];
    for waveforms in recordings {
        let files = lossless(&Recording { waveforms, ..Recording::default() }, &Options::default());
        assert_eq!(files[0].name, "r.dat");
    }
}

#[test]
fn a_waveform_that_fits_no_record_is_lost_aloud() {
    let rhythm = waveform("500", "0", 50, Lead::I, WaveformKind::Rhythm);
    for other in [
        waveform("500", "0", 7, Lead::V1, WaveformKind::RepresentativeBeat { class: 0 }),
        waveform("500", "0.0001", 7, Lead::V1, WaveformKind::Other("between two samples".into())),
        waveform("499.999", "0", 7, Lead::V1, WaveformKind::Other("no common frame".into())),
        waveform("500", "1000000", 7, Lead::V1, WaveformKind::Other("far away".into())),
    ] {
        let recording = Recording { waveforms: vec![rhythm.clone(), other], ..Recording::default() };
        let written = write(&WFDB, std::slice::from_ref(&recording), "r", &Options::default()).unwrap();
        let fields: Vec<Field> = written.losses.iter().map(|loss| loss.field).collect();
        assert!(fields.contains(&Field::Waveform) && fields.contains(&Field::Rate), "{fields:?}");
        let first = Recording { waveforms: vec![rhythm.clone()], ..Recording::default() };
        let read = WFDB.read(&Memory::new("r.hea", written.files), &Limits::default());
        assert_eq!(differences(&first, &read.unwrap().one().unwrap().0), []);
    }
}

#[test]
fn an_empty_waveform_comes_back() {
    let waveform = Waveform::new(Rate::new(exact("500")).unwrap(), vec![signal(Lead::I, &[])]).unwrap();
    let mut recording = Recording { waveforms: vec![waveform], ..Recording::default() };
    recording.acquisition.start = "2026-03-02T09:14:05".parse().unwrap();
    lossless(&recording, &Options::default());
}

#[test]
fn a_name_that_wfdb_does_not_allow_is_a_wrong_use() {
    for stem in ["", "a-b", "a.b", "é", &"x".repeat(51)] {
        let error = write(&WFDB, &[Recording::default()], stem, &Options::default()).unwrap_err();
        assert_eq!(error.kind(), Kind::Usage, "{stem}");
        assert!(error.what_to_do().is_some());
    }
}

#[test]
fn a_header_and_a_line_that_disagree_are_noted_and_the_header_is_taken() {
    let header = "r 1 500 2 09:14:05 02/03/2026\nr.dat 16 200(0)/mV 0 0 1 3 0 II\n\
        #<acq.datetime>: 2026-03-03T09:15:05+01:00\n#<lead.1.lsb>: 4 uV\n#<lead.1.offset>: 9 uV\n";
    let files = [("r.dat", vec![1, 0, 2, 0]), ("r.hea", header.as_bytes().to_vec())]
        .map(|(name, bytes)| ecgkeep_format::File { name: name.into(), bytes });
    let (read, notes) =
        WFDB.read(&Memory::new("r.hea", files.to_vec()), &Limits::default()).unwrap().one().unwrap();
    assert_eq!(read.acquisition.start.to_string(), "2026-03-02T09:14:05+01:00");
    let signal = &read.waveforms[0].signals()[0];
    assert_eq!((signal.step.nanovolts(), signal.offset), (exact("5000"), Exact::ZERO));
    assert_eq!(notes.len(), 4, "{notes:?}");
    assert!(notes.iter().all(|note| note.weight == Weight::Departure));
}
