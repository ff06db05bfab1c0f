//! Rules of writing, one at a time.

use ecgkeep_aecg::AECG;
use ecgkeep_demo::{Spec, every_field, recording, small};
use ecgkeep_format::{Format, Kind, Limits, Loss, Memory, Options, write};
use ecgkeep_recording::{
    Change, Exact, Extra, ExtraValue, Field, Lead, Mark, MarkKind, Measurement, MeasurementKind, Person,
    Rate, Recording, Scope, Sex, Signal, SignalUnit, Step, Wave, Waveform, WaveformKind, differences,
};

fn exact(text: &str) -> Exact {
    text.parse().expect("a number")
}

fn signal(lead: Lead, step: &str, samples: &[i32]) -> Signal {
    Signal::new(lead, Step::new(exact(step)).expect("not zero"), samples.to_vec())
}

fn waveform(rate: Exact, signals: Vec<Signal>) -> Waveform {
    Waveform::new(Rate::new(rate).expect("above zero"), signals).expect("one length")
}

fn of(waveforms: Vec<Waveform>) -> Recording {
    let mut recording = Recording { waveforms, ..Recording::default() };
    recording.acquisition.start = "2026-03-02T09:14:05".parse().expect("a time");
    recording
}

fn written(recording: &Recording) -> (String, Vec<Loss>) {
    let written = write(&AECG, std::slice::from_ref(recording), "r", &Options::default());
    let written = written.unwrap_or_else(|error| panic!("{error}"));
    (String::from_utf8(written.files[0].bytes.clone()).expect("is UTF-8"), written.losses)
}

fn back(document: &str) -> Recording {
    let file = ecgkeep_format::File { name: "r.xml".into(), bytes: document.as_bytes().to_vec() };
    let read = AECG.read(&Memory::new("r.xml", vec![file]), &Limits::default());
    read.and_then(|read| read.one()).unwrap_or_else(|error| panic!("{error}")).0
}

fn refusal(recording: Recording) -> String {
    let error = write(&AECG, &[recording], "r", &Options::default()).expect_err("is refused");
    assert_eq!(error.kind(), Kind::Refused, "{error}");
    error.to_string()
}

#[test]
fn demo_recordings_come_back_exactly_but_for_what_has_no_place() {
    let no_place = [
        Field::SubjectIdentifier,
        Field::Operator,
        Field::Department,
        Field::Room,
        Field::Mains,
        Field::Placement,
        Field::Urgency,
        Field::OrderNumber,
        Field::SequenceNumber,
        Field::Referring,
        Field::Requesting,
        Field::StatementStatus,
        Field::AnalysingDepartment,
        Field::Confirming,
        Field::StatementAuthor,
        Field::RecordingIdentifier,
        Field::Measurement,
        Field::Derived,
    ];
    for seed in 0..4 {
        let spec = Spec { seed, with_marks: true, with_measurements: true, ..Spec::default() };
        let demo = recording(&spec).recording;
        let (document, losses) = written(&demo);
        let unexpected: Vec<String> =
            losses.iter().filter(|loss| !no_place.contains(&loss.field)).map(ToString::to_string).collect();
        assert!(unexpected.is_empty(), "{unexpected:?}");
        assert_eq!(back(&document).fingerprint(), demo.fingerprint());
    }
}

#[test]
fn counts_are_divided_where_that_makes_the_scale_a_decimal() {
    // a third of a microvolt, and counts that are all multiples of three
    let thirds =
        of(vec![waveform(Exact::whole(500), vec![signal(Lead::I, "1000/3", &[0, 3, -999_999_999])])]);
    let (document, losses) = written(&thirds);
    assert!(document.contains("<scale value=\"1\" unit=\"uV\"/>"));
    assert!(document.contains("<digits>0 1 -333333333</digits>"));
    assert_eq!(losses, []);
    let odd = of(vec![waveform(Exact::whole(500), vec![signal(Lead::I, "1000/3", &[0, 3, 4])])]);
    let (document, losses) = written(&odd);
    assert!(document.contains("<scale value=\"0.333333333333333333\" unit=\"uV\"/>"));
    assert_eq!(losses.len(), 1);
    let Change::Samples { count, first, at_most } = &losses[0].change else { panic!("{}", losses[0]) };
    // 4 counts of a third of 10^-15 nanovolts, in microvolts
    assert_eq!((*count, *first), (2, 1));
    assert_eq!(at_most.as_ref().map(|most| most.value), Exact::ratio(4, 3 * 10i128.pow(18)).ok());
}

#[test]
fn voltages_at_the_edges_come_back() {
    for (step, offset) in
        [("1", "0"), ("-2500", "12.5"), ("0.000001", "-1000000000"), ("123456.789012345", "0.25")]
    {
        let mut edge = signal(Lead::V1, step, &[i32::MIN, i32::MAX, 0, -1]);
        edge.offset = exact(offset);
        let recording = of(vec![waveform(Exact::whole(1000), vec![edge])]);
        assert_eq!(written(&recording).1, [], "{step} {offset}");
    }
}

#[test]
fn every_rate_comes_back_exactly() {
    for rate in ["500", "360", "257", "1000/3", "62.4725", "7/3", "128.3", "1/7"] {
        let (document, losses) =
            written(&of(vec![waveform(exact(rate), vec![signal(Lead::I, "1", &[1, 2])])]));
        assert_eq!(losses, [], "{rate}");
        let is_stated = document.contains("MDC_ECG_CTL_VBL_SAMPLE_RATE");
        assert_eq!(is_stated, ["360", "257", "62.4725", "7/3", "128.3"].contains(&rate), "{rate}");
    }
}

#[test]
fn starts_come_back_whatever_is_known_of_the_time() {
    let with = |start: &str, seconds: &[&str]| {
        let rhythm = |start: &&str| {
            let mut waveform = waveform(Exact::whole(500), vec![signal(Lead::I, "1", &[1, 2])]);
            waveform.start = exact(start);
            waveform
        };
        let mut recording = of(seconds.iter().map(rhythm).collect());
        recording.acquisition.start =
            if start.is_empty() { Default::default() } else { start.parse().expect("a time") };
        recording
    };
    for start in
        ["", "2026", "2026-03-02", "2026-03-02T09:14", "2026-03-02T09:14:05", "2026-03-02T23:59:59.75-03:30"]
    {
        for seconds in
            [["0", "2.5"].as_slice(), &["5", "0"], &["1"], &["-1", "0"], &["0.3", "7"], &["0", "0"]]
        {
            let (document, losses) = written(&with(start, seconds));
            assert_eq!(losses, [], "{start} {seconds:?}");
            let is_absolute = start.len() > 16 && seconds.contains(&"0") && !seconds.contains(&"-1");
            assert_eq!(document.contains("TIME_ABSOLUTE"), is_absolute, "{start} {seconds:?}");
        }
    }
    let (_, losses) = written(&with("T09:14:05.5", &["0"]));
    let fields: Vec<Field> = losses.iter().map(|loss| loss.field).collect();
    assert_eq!(fields, [Field::StartTime, Field::StartFraction]);
}

#[test]
fn marks_come_back_on_every_time_axis_and_waves_are_intervals() {
    let mut rhythm = waveform(exact("360"), vec![signal(Lead::I, "1", &[0; 720])]);
    let mark = |sample, kind| Mark::new(sample, kind);
    rhythm.marks = vec![
        mark(7, MarkKind::Onset(Wave::P)),
        mark(11, MarkKind::Peak(Wave::P)),
        mark(19, MarkKind::Offset(Wave::P)),
        mark(31, MarkKind::Onset(Wave::Qrs)),
        Mark {
            label: Some("V".into()),
            text: Some("a & b".into()),
            lead: Some(Lead::I),
            ..mark(37, MarkKind::Beat)
        },
        mark(41, MarkKind::Offset(Wave::Qrs)),
        mark(43, MarkKind::Offset(Wave::T)),
        mark(719, MarkKind::Onset(Wave::T)),
        mark(1_000_000_007, MarkKind::PacingPulse),
        mark(-86_400 * 360, MarkKind::Other("MDC_ECG_WAVP_DEFIB".into())),
    ];
    for start in ["2026-03-02T09:14:05", "2026-03-02"] {
        let mut recording = of(vec![rhythm.clone()]);
        recording.acquisition.start = start.parse().expect("a time");
        let (document, losses) = written(&recording);
        assert_eq!(losses, [], "{start}");
        assert_eq!(
            document.matches("<high ").count() - document.matches("<high value=\"20260302091407\"/>").count(),
            3
        );
        let samples: Vec<i64> = back(&document).waveforms[0].marks.iter().map(|mark| mark.sample).collect();
        assert!(samples.is_sorted());
    }
    // a sample in no year of the calendar
    rhythm.marks = vec![mark(i64::MAX, MarkKind::Beat)];
    let (_, losses) = written(&of(vec![rhythm]));
    assert_eq!(losses.iter().map(|loss| loss.field).collect::<Vec<_>>(), [Field::Mark]);
}

#[test]
fn a_second_signal_of_one_lead_is_written_by_name() {
    let twice = vec![
        signal(Lead::V5, "1", &[1, 2]),
        signal(Lead::V5, "1", &[3, 4]),
        signal(Lead::Other("V5".into()), "1", &[5, 6]),
    ];
    let (document, losses) = written(&of(vec![waveform(Exact::whole(500), twice)]));
    assert_eq!(losses, []);
    assert_eq!(document.matches("MDC_ECG_LEAD_V5").count(), 1);
}

#[test]
fn representative_beats_keep_their_class_and_stand_under_their_rhythm() {
    let beat = |class| {
        let mut beat = waveform(Exact::whole(500), vec![signal(Lead::I, "1", &[1, 2])]);
        beat.kind = WaveformKind::RepresentativeBeat { class };
        beat.marks = vec![Mark::new(1, MarkKind::Beat)];
        beat
    };
    let rhythm = || waveform(Exact::whole(500), vec![signal(Lead::I, "1", &[1, 2])]);
    for waveforms in [
        vec![rhythm(), beat(0), beat(1)],
        vec![rhythm(), beat(3), rhythm(), beat(0)],
        vec![beat(1), rhythm()],
        vec![beat(2), beat(0)],
    ] {
        let (_, losses) = written(&of(waveforms));
        assert_eq!(losses, []);
    }
}

#[test]
fn extras_go_back_to_their_paths_in_the_order_of_the_tree() {
    let extra = |address: &str, text: &str| Extra {
        format: "aecg".into(),
        address: address.into(),
        value: ExtraValue::Text(text.into()),
    };
    let mut recording = small();
    recording.acquisition.operators = vec![Person::named("R. Quill")];
    recording.extras = vec![
        extra("/AnnotatedECG/id/@displayable", "true"),
        extra("/AnnotatedECG/confidentialityCode", "<confidentialityCode code=\"S\"/>"),
        extra("/AnnotatedECG/componentOf/timepointEvent/code", "<code code=\"VISIT 2\"/>"),
        extra(
            "/AnnotatedECG/componentOf/timepointEvent/componentOf/subjectAssignment/componentOf/clinicalTrial/title",
            "<title>Halyard</title>",
        ),
        extra("/AnnotatedECG/component/series/@{urn:example:x}quality", "7 & more"),
        extra("/AnnotatedECG/component/series/id", "<id root=\"2.999.1.2\"/>"),
        extra(
            "/AnnotatedECG/component/series/secondaryPerformer/functionCode",
            "<functionCode code=\"TECH\"/>",
        ),
        extra(
            "/AnnotatedECG/component/series/subjectOf/annotationSet/component",
            "<component><x/></component>",
        ),
    ];
    let (document, losses) = written(&recording);
    assert!(losses.iter().all(|loss| loss.field != Field::Extra), "{losses:?}");
    let at = |text: &str| document.find(text).unwrap_or_else(|| panic!("no {text} in {document}"));
    assert!(
        at("<effectiveTime") < at("<confidentialityCode") && at("<confidentialityCode") < at("<componentOf>")
    );
    assert!(at("VISIT 2") < at("<subjectAssignment>"));
    assert!(at("2.999.1.2") < at("RHYTHM"));
    assert_eq!(back(&document).extras.len(), recording.extras.len());
}

#[test]
fn an_extra_without_a_place_is_a_loss() {
    let extra = |format: &str, address: &str, text: &str| Extra {
        format: format.into(),
        address: address.into(),
        value: ExtraValue::Text(text.into()),
    };
    let mut recording = small();
    recording.extras = vec![
        extra("other", "/AnnotatedECG/x", "<x/>"),
        extra("aecg", "/AnnotatedECG/nowhere/x", "<x/>"),
        extra("aecg", "/AnnotatedECG/x", "<x>not well-formed"),
        extra("aecg", "/AnnotatedECG/@not a name", ""),
        Extra { format: "aecg".into(), address: "/AnnotatedECG/x".into(), value: ExtraValue::Bytes(vec![1]) },
    ];
    let (_, losses) = written(&recording);
    assert_eq!(losses.iter().filter(|loss| loss.field == Field::Extra).count(), 5, "{losses:?}");
}

#[test]
fn what_cannot_be_written_truly_is_refused() {
    let one = |signal| of(vec![waveform(Exact::whole(500), vec![signal])]);
    assert!(refusal(of(vec![])).contains("no series"));
    assert!(refusal(one(signal(Lead::I, "1", &[]))).contains("without samples"));
    assert!(refusal(one(signal(Lead::Other("a\0b".into()), "1", &[1]))).contains("XML"));
    let unit = |name: &str| Signal {
        unit: SignalUnit::Other(name.into()),
        ..signal(Lead::Other("P".into()), "1", &[1])
    };
    assert!(refusal(one(unit("mV"))).contains("voltage"));
    assert!(refusal(one(unit(""))).contains("unit"));
    let mut sex = one(signal(Lead::I, "1", &[1]));
    sex.subject.sex = Some(Sex::Other("\u{1}".into()));
    assert!(refusal(sex).contains("sex"));
    let two = [small(), small()];
    assert_eq!(write(&AECG, &two, "r", &Options::default()).expect_err("two").kind(), Kind::Refused);
    assert!(AECG.encode(&[small()], "../r", &Options::default()).is_err());
}

#[test]
fn whatever_text_stands_in_a_field_comes_back_word_for_word() {
    let mut recording = every_field();
    let hard = " <a&b> \"c\" 'd'\u{A0}é\n\t line 2\r\r\n ]]> ";
    recording.subject.name.family = Some(hard.into());
    recording.statements[1].text = hard.into();
    recording.acquisition.recorder.model = Some(hard.into());
    recording.subject.identifiers[0].value = hard.into();
    recording.subject.sex = Some(Sex::Other(hard.into()));
    let (document, losses) = written(&recording);
    let shown: Vec<String> =
        losses.iter().map(ToString::to_string).filter(|loss| loss.contains("<a&b>")).collect();
    assert!(shown.is_empty(), "{shown:?}");
    assert_eq!(back(&document).subject.name.family.as_deref(), Some(hard));
}

#[test]
fn measurements_of_every_kind_and_known_formula_come_back() {
    let mut recording = small();
    let kinds = [
        MeasurementKind::HeartRate,
        MeasurementKind::AtrialRate,
        MeasurementKind::RrInterval,
        MeasurementKind::PpInterval,
        MeasurementKind::PDuration,
        MeasurementKind::PAxis,
        MeasurementKind::TAxis,
        MeasurementKind::QDuration,
        MeasurementKind::SDuration,
        MeasurementKind::PAmplitude,
        MeasurementKind::QAmplitude,
        MeasurementKind::SAmplitude,
        MeasurementKind::TAmplitude,
        MeasurementKind::JAmplitude,
        MeasurementKind::Other("MDC_ECG_TIME_PD_QTU".into()),
        MeasurementKind::Other("QT dispersion".into()),
    ];
    let plain = kinds
        .into_iter()
        .map(|kind| Measurement { scope: Scope::Lead(Lead::V3), ..Measurement::global(kind, 7, "ms") });
    recording.measurements = plain.collect();
    for formula in ["Bazett", "Fridericia", "Framingham", "Hodges"] {
        let qtc = Measurement::global(MeasurementKind::QtcInterval, 401, "ms");
        recording.measurements.push(Measurement { formula: Some(formula.into()), ..qtc });
    }
    let (document, losses) = written(&recording);
    assert!(
        losses.iter().all(|loss| !matches!(loss.field, Field::Measurement | Field::MeasurementFormula)),
        "{losses:?}"
    );
    assert_eq!(differences(&recording, &back(&document)).len(), losses.len());
}
