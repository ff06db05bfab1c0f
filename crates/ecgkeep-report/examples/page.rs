//! Writes the first page of an invented recording: `cargo run -p ecgkeep-report --example page > page.svg`.

use ecgkeep_checks::{Policy, run};
use ecgkeep_recording::{
    CivilTime, Exact, Identifier, Lead, Measurement, MeasurementKind, Person, PersonName, Rate, Recording,
    Sex, Signal, Statement, StatementStatus, Step, Waveform,
};
use ecgkeep_report::{PageFacts, Paper, sheet, svg};

/// Samples per second.
const RATE: i32 = 500;
/// Samples in ten seconds.
const LENGTH: i32 = 10 * RATE;

fn main() {
    let recording = recording();
    let now: CivilTime = "2026-03-02T12:00:00+01:00".parse().expect("a time");
    let assessment = run(&recording, None, &Policy::default(), &now);
    let facts = PageFacts {
        digest: recording.fingerprint().to_string(),
        program: "ecgkeep 0.1.0".to_owned(),
        ..PageFacts::default()
    };
    let sheet = sheet(&recording, &assessment, &facts, &Paper::default());
    print!("{}", svg(&sheet, 0));
}

/// A regular rhythm of 72 beats a minute, an invented person, an invented day clinic.
fn recording() -> Recording {
    let limb = |height: f64| signal(height);
    let (one, two) = (limb(0.7), limb(1.1));
    let mut signals = vec![
        Signal { lead: Lead::III, ..combine(&one, &two, |one, two| two - one) },
        Signal { lead: Lead::AVR, ..combine(&one, &two, |one, two| -(one + two) / 2) },
        Signal { lead: Lead::AVL, ..combine(&one, &two, |one, two| one - two / 2) },
        Signal { lead: Lead::AVF, ..combine(&one, &two, |one, two| two - one / 2) },
    ];
    signals.insert(0, Signal { lead: Lead::I, ..one });
    signals.insert(1, Signal { lead: Lead::II, ..two });
    for (lead, height) in Lead::TWELVE.into_iter().skip(6).zip([-0.6, -0.2, 0.5, 1.4, 1.3, 0.9]) {
        signals.push(Signal { lead, ..signal(height) });
    }
    let rate = Rate::new(RATE.into()).expect("above zero");
    let mut recording = Recording {
        waveforms: vec![Waveform::new(rate, signals).expect("equal lengths")],
        ..Recording::default()
    };
    recording.subject.name = PersonName {
        family: Some("Vossebelt".to_owned()),
        given: Some("Ilse".to_owned()),
        ..PersonName::default()
    };
    recording.subject.identifiers = vec![Identifier {
        value: "LK-004711".to_owned(),
        assigner: Some("Larkmoor Day Clinic".to_owned()),
        kind: None,
    }];
    recording.subject.birth_date = "1958-11-23".parse().ok();
    recording.subject.sex = Some(Sex::Female);
    recording.acquisition.start = "2026-03-02T09:14:05+01:00".parse().expect("a time");
    recording.acquisition.operators = vec![Person::named("R. Osei")];
    recording.acquisition.institution = Some("Larkmoor Day Clinic".to_owned());
    recording.acquisition.room = Some("Room 4".to_owned());
    recording.measurements = [
        (MeasurementKind::HeartRate, 72, "/min"),
        (MeasurementKind::PrInterval, 160, "ms"),
        (MeasurementKind::QrsDuration, 92, "ms"),
        (MeasurementKind::QtInterval, 392, "ms"),
        (MeasurementKind::QrsAxis, 48, "deg"),
    ]
    .map(|(kind, value, unit)| Measurement::global(kind, value, unit))
    .to_vec();
    recording.statements = vec![Statement {
        text: "Sinus rhythm".to_owned(),
        status: Some(StatementStatus::Unconfirmed),
        ..Statement::default()
    }];
    recording
}

/// One lead in microvolts: P, QRS and T as bell curves, the R wave so many millivolts high.
fn signal(height_mv: f64) -> Signal {
    const WAVES: [(f64, f64, f64); 5] = [
        (-0.17, 0.022, 0.12),
        (-0.025, 0.008, -0.1),
        (0.0, 0.010, 1.0),
        (0.027, 0.009, -0.18),
        (0.26, 0.045, 0.28),
    ];
    let voltage = |sample: i32| {
        let since_beat = (f64::from(sample) / f64::from(RATE) + 0.4) % (60.0 / 72.0) - 0.3;
        let wave =
            |(at, width, share): (f64, f64, f64)| share * (-((since_beat - at) / width).powi(2) / 2.0).exp();
        height_mv * 1000.0 * WAVES.into_iter().map(wave).sum::<f64>()
    };
    #[expect(clippy::cast_possible_truncation, reason = "some thousand microvolts at most")]
    let samples = (0..LENGTH).map(|sample| voltage(sample).round() as i32).collect();
    Signal::new(Lead::I, Step::new(Exact::whole(1000)).expect("not zero"), samples)
}

fn combine(one: &Signal, two: &Signal, formula: impl Fn(i32, i32) -> i32) -> Signal {
    let samples = one.samples.iter().zip(&two.samples).map(|(one, two)| formula(*one, *two)).collect();
    Signal { samples, ..one.clone() }
}
