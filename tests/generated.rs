//! The signature test on recordings that proptest makes up: texts, numbers, times and lists of every kind in every
//! field, written in every format and read back, and then in every other one.

use ecgkeep::format::Options;
use ecgkeep::recording::{
    Acquisition, CivilTime, Code, Coded, Device, Exact, Extra, ExtraValue, Filters, Identifier, Lead, Mark,
    MarkKind, Measurement, MeasurementKind, PartialDate, Person, PersonName, Quantity, Rate, Recording,
    Scope, Sex, Signal, SignalUnit, Span, Statement, StatementStatus, Step, Subject, Wave, Waveform,
    WaveformKind,
};
use ecgkeep_tests::contract::trial;
use ecgkeep_tests::files::writing;
use proptest::collection::vec;
use proptest::option::of;
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// Recordings that are tried.
const CASES: u32 = 64;
/// Faults that are shown of many.
const SHOWN: usize = 40;

#[test]
fn every_difference_is_stated_on_generated_recordings() {
    let config = Config { failure_persistence: None, ..Config::default() };
    // the same recordings every time; others where somebody asks for them
    let mut runner = match std::env::var_os("ECGKEEP_OTHER_RECORDINGS") {
        None => TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha)),
        Some(_) => TestRunner::new(config),
    };
    let mut faults = Vec::new();
    for number in 0..CASES {
        let recording =
            recording().new_tree(&mut runner).expect("nothing is filtered out for long").current();
        for first in writing() {
            let id = first.about().id;
            let tried = trial(first, &recording, &Options::default());
            faults.extend(tried.faults.iter().map(|fault| format!("{number}, {id}: {fault}")));
            let Some(back) = tried.back else { continue };
            for second in writing() {
                let again = trial(second, &back, &Options::default());
                let ids = format!("{number}, {id} then {}", second.about().id);
                faults.extend(again.faults.iter().map(|fault| format!("{ids}: {fault}")));
                if id == second.about().id {
                    faults.extend(again.lost.iter().map(|field| format!("{ids}: {field} drifts")));
                }
            }
        }
    }
    let shown = faults.iter().take(SHOWN).map(String::as_str).collect::<Vec<_>>().join("\n");
    assert!(faults.is_empty(), "{} faults:\n{shown}", faults.len());
}

/// Short texts of the letters, signs and controls that formats stumble over.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => "[A-Za-z0-9 .,:;/_()-]{0,12}",
        2 => "[#=\"'<>&|\\\\^~ÅéµΩ心\u{1F493} ]{0,6}",
        1 => "[ \t\r\n\u{0}\u{1}\u{85}a]{0,4}",
    ]
}

fn number() -> impl Strategy<Value = Exact> {
    prop_oneof![
        (-2000i64..2000).prop_map(Exact::whole),
        (-99_999i128..99_999, prop_oneof![Just(10i128), Just(1000), Just(3), Just(7)])
            .prop_map(|(above, below)| Exact::ratio(above, below).expect("small numbers")),
        Just(Exact::ratio(100_000_000_000_000_000, 20_491_803_278_688_525).expect("17 digits")),
    ]
}

fn date() -> impl Strategy<Value = PartialDate> {
    (1i16..=9999, of((1u8..=12, of(1u8..=28)))).prop_map(|(year, rest)| {
        let (month, day) = rest.map_or((None, None), |(month, day)| (Some(month), day));
        PartialDate::new(year, month, day).expect("days up to 28 are in every month")
    })
}

fn time() -> impl Strategy<Value = CivilTime> {
    let of_day = (0u8..24, of((0u8..60, of((0u8..60, of(0u16..1000)))))).prop_map(|(hour, rest)| {
        let (mut text, mut rest) = (format!("T{hour:02}"), rest);
        if let Some((minute, seconds)) = rest.take() {
            text.push_str(&format!(":{minute:02}"));
            if let Some((second, fraction)) = seconds {
                text.push_str(&format!(":{second:02}"));
                text.push_str(&fraction.map_or_else(String::new, |part| format!(".{part:03}")));
            }
        }
        text.parse::<CivilTime>().expect("a time of day").time
    });
    (of(date()), of(of_day), of(-900i16..900)).prop_map(|(date, time, offset_minutes)| CivilTime {
        date,
        time: time.flatten(),
        offset_minutes,
    })
}

fn identifier() -> impl Strategy<Value = Identifier> {
    (text(), of(text()), of(text())).prop_map(|(value, assigner, kind)| Identifier { value, assigner, kind })
}

fn name() -> impl Strategy<Value = PersonName> {
    let parts = (of(text()), of(text()), of(text()), of(text()), of(text()), of(text()));
    prop_oneof![
        of(text()).prop_map(|text| PersonName { text, ..PersonName::default() }),
        parts.prop_map(|(family, second_family, given, middle, prefix, suffix)| PersonName {
            text: None,
            family,
            second_family,
            given,
            middle,
            prefix,
            suffix,
        }),
    ]
}

fn person() -> impl Strategy<Value = Person> {
    (name(), of(identifier())).prop_map(|(name, id)| Person { name, id })
}

fn code() -> impl Strategy<Value = Code> {
    (text(), text(), of(text())).prop_map(|(system, value, meaning)| Code { system, value, meaning })
}

fn coded() -> impl Strategy<Value = Coded> {
    (of(text()), vec(code(), 0..2)).prop_map(|(text, codes)| Coded { text, codes })
}

fn quantity(units: &'static [&'static str]) -> impl Strategy<Value = Quantity> {
    (number(), proptest::sample::select(units)).prop_map(|(value, unit)| Quantity::new(value, unit))
}

fn sex() -> impl Strategy<Value = Sex> {
    prop_oneof![
        Just(Sex::Female),
        Just(Sex::Male),
        Just(Sex::Undifferentiated),
        Just(Sex::Unknown),
        "[A-Z]-[0-9]{1,3}".prop_map(Sex::Other),
    ]
}

fn subject() -> impl Strategy<Value = Subject> {
    let who = (vec(identifier(), 0..3), name(), of(date()), of(sex()));
    let body = (
        of(quantity(&["a", "mo", "d", "winters"])),
        of(quantity(&["cm", "m", "[in_i]"])),
        of(quantity(&["kg", "g", "[lb_av]"])),
        of(quantity(&["mm[Hg]", "kPa"])),
        of(quantity(&["mm[Hg]"])),
    );
    let told = (of(coded()), vec(coded(), 0..3), vec(coded(), 0..2));
    (who, body, told).prop_map(|(who, body, told)| {
        let (identifiers, name, birth_date, sex) = who;
        let (age, height, weight, systolic, diastolic) = body;
        let (race, medications, history) = told;
        Subject {
            identifiers,
            name,
            birth_date,
            sex,
            age,
            height,
            weight,
            race,
            systolic,
            diastolic,
            medications,
            history,
        }
    })
}

fn device() -> impl Strategy<Value = Device> {
    (of(text()), of(text()), of(text()), of(text()), of(text())).prop_map(
        |(manufacturer, model, serial, software, id)| Device { manufacturer, model, serial, software, id },
    )
}

fn filters() -> impl Strategy<Value = Filters> {
    (of(number()), of(number()), vec(number(), 0..2), vec(text(), 0..2)).prop_map(
        |(high_pass_hz, low_pass_hz, notch_hz, described)| Filters {
            high_pass_hz,
            low_pass_hz,
            notch_hz,
            described,
        },
    )
}

fn acquisition() -> impl Strategy<Value = Acquisition> {
    let who = (vec(identifier(), 0..2), time(), vec(person(), 0..3), vec(person(), 0..2));
    let more = (vec(person(), 0..2), vec(person(), 0..2), device(), device(), filters());
    let places = (of(text()), of(text()), of(text()), of(text()), of(text()));
    let rest = (
        of(number()),
        of(coded()),
        of(coded()),
        of(text()),
        of(text()),
        vec(coded(), 0..2),
        vec(text(), 0..3),
    );
    (who, more, places, rest).prop_map(|(who, more, places, rest)| {
        let (identifiers, start, operators, referring) = who;
        let (requesting, confirming, recorder, analyser, filters) = more;
        let (institution, department, room, analysing_institution, analysing_department) = places;
        let (mains_hz, placement, urgency, order_number, sequence_number, indications, remarks) = rest;
        Acquisition {
            identifiers,
            start,
            operators,
            referring,
            requesting,
            confirming,
            institution,
            department,
            room,
            analysing_institution,
            analysing_department,
            recorder,
            analyser,
            filters,
            mains_hz,
            placement,
            urgency,
            order_number,
            sequence_number,
            indications,
            remarks,
        }
    })
}

/// A lead as a reader makes it: `Other` only for names that the standard does not know.
fn lead() -> impl Strategy<Value = Lead> {
    prop_oneof![
        (0u16..140).prop_map(Lead::from_number),
        "[A-Za-z][A-Za-z0-9 ]{0,8}".prop_map(|name| Lead::from_name(&name))
    ]
}

fn signal(length: usize) -> impl Strategy<Value = Signal> {
    let unit = prop_oneof![
        6 => Just(SignalUnit::Volt),
        1 => "[A-Za-z%]{1,5}".prop_map(SignalUnit::Other),
    ];
    let step = number().prop_filter_map("a step is not zero", Step::new);
    let gaps = vec((0..length, 1usize..4), 0..3);
    let scale = (step, prop_oneof![3 => Just(Exact::ZERO), 1 => number()], any::<bool>(), of(number()));
    (lead(), of(text()), unit, scale, gaps, vec(-40_000i32..40_000, length)).prop_map(
        |(lead, label, unit, (step, offset, derived, skew), gaps, samples)| {
            let gaps = gaps.into_iter().map(|(start, length)| Span { start, end: start + length });
            let signal =
                Signal { lead, label, unit, step, offset, missing: Vec::new(), derived, skew, samples };
            signal.with_missing(gaps.collect())
        },
    )
}

fn mark() -> impl Strategy<Value = Mark> {
    let wave = || {
        prop_oneof![
            Just(Wave::P),
            Just(Wave::Qrs),
            Just(Wave::T),
            Just(Wave::U),
            Just(Wave::Unstated),
            text().prop_map(Wave::Other)
        ]
    };
    let kind = prop_oneof![
        Just(MarkKind::Beat),
        wave().prop_map(MarkKind::Onset),
        wave().prop_map(MarkKind::Peak),
        wave().prop_map(MarkKind::Offset),
        Just(MarkKind::PacingPulse),
        Just(MarkKind::Rhythm),
        Just(MarkKind::Note),
        text().prop_map(MarkKind::Other),
    ];
    (-5i64..60, of(lead()), kind, of(text()), of(text()), vec(code(), 0..2))
        .prop_map(|(sample, lead, kind, label, text, codes)| Mark { sample, lead, kind, label, text, codes })
}

fn waveform() -> impl Strategy<Value = Waveform> {
    let kind = prop_oneof![
        4 => Just(WaveformKind::Rhythm),
        1 => (0u32..3).prop_map(|class| WaveformKind::RepresentativeBeat { class }),
        1 => "[a-z ]{1,8}".prop_map(WaveformKind::Other),
    ];
    let rate = (1i64..2000, 1i64..4).prop_map(|(above, below)| {
        Rate::new(Exact::ratio(above.into(), below.into()).expect("small")).expect("above zero")
    });
    let signals = (1usize..24).prop_flat_map(|length| vec(signal(length), 1..4));
    let start = prop_oneof![3 => Just(Exact::ZERO), 1 => number()];
    (kind, rate, signals, start, vec(mark(), 0..4)).prop_map(|(kind, rate, signals, start, marks)| {
        let mut waveform = Waveform::new(rate, signals).expect("one length, zeros where missing");
        (waveform.kind, waveform.start, waveform.marks) = (kind, start, marks);
        waveform
    })
}

fn measurement() -> impl Strategy<Value = Measurement> {
    let kind = prop_oneof![
        Just(MeasurementKind::HeartRate),
        Just(MeasurementKind::QrsDuration),
        Just(MeasurementKind::QtcInterval),
        Just(MeasurementKind::TAxis),
        Just(MeasurementKind::RAmplitude),
        "[a-z ]{1,8}".prop_map(MeasurementKind::Other),
    ];
    let scope = prop_oneof![
        3 => Just(Scope::Global),
        1 => lead().prop_map(Scope::Lead),
        1 => (0u32..5).prop_map(Scope::Beat),
        1 => (0u32..5).prop_map(Scope::BeatClass),
    ];
    (kind, number(), proptest::sample::select(&["ms", "deg", "/min", "uV", "x y"][..]), scope, of(text()))
        .prop_map(|(kind, value, unit, scope, formula)| Measurement {
            kind,
            value,
            unit: unit.to_owned(),
            scope,
            formula,
        })
}

fn statement() -> impl Strategy<Value = Statement> {
    let status = proptest::sample::select(vec![
        StatementStatus::Unconfirmed,
        StatementStatus::OverRead,
        StatementStatus::Confirmed,
    ]);
    (text(), vec(code(), 0..2), of(status), of(person()), of(time())).prop_map(
        |(text, codes, status, author, at)| {
            // A time that says nothing is none.
            let at = at.filter(|at| !at.is_empty());
            Statement { text, codes, status, author, at }
        },
    )
}

fn extra() -> impl Strategy<Value = Extra> {
    let value =
        prop_oneof![text().prop_map(ExtraValue::Text), vec(any::<u8>(), 0..6).prop_map(ExtraValue::Bytes)];
    (prop_oneof!["invented".prop_map(String::from), "[a-z]{1,4}"], text(), value)
        .prop_map(|(format, address, value)| Extra { format, address, value })
}

fn recording() -> impl Strategy<Value = Recording> {
    let lists = (vec(measurement(), 0..4), vec(statement(), 0..3), vec(extra(), 0..2));
    (subject(), acquisition(), vec(waveform(), 1..3), lists).prop_map(
        |(subject, acquisition, waveforms, (measurements, statements, extras))| Recording {
            subject,
            acquisition,
            waveforms,
            measurements,
            statements,
            extras,
            ..Recording::default()
        },
    )
}
