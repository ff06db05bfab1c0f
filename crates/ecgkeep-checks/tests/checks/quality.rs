//! How well each lead was recorded, in words and second by second; the verdict on the page.

use ecgkeep_checks::{Assessment, Grade, LeadQuality, Policy, run};
use ecgkeep_recording::{Lead, Measurement, MeasurementKind, Recording};

use crate::synthetic::{Strip, check};

fn of<'a>(assessment: &'a Assessment, lead: &Lead) -> &'a LeadQuality {
    assessment.leads.iter().find(|quality| quality.lead == *lead).expect("the lead is there")
}

fn disturbed(lead: usize, add: impl Fn(usize) -> f64) -> Assessment {
    let strip = Strip::default();
    let mut leads = strip.microvolts();
    leads[lead].iter_mut().enumerate().for_each(|(at, value)| *value += add(at));
    check(&strip.recording_of(&leads))
}

#[test]
fn a_faultless_strip_is_good_in_every_lead_and_second() {
    let assessment = check(&Strip::default().recording());
    assert_eq!(assessment.leads.len(), 12);
    for quality in &assessment.leads {
        assert_eq!((quality.grade, quality.waveform), (Grade::Good, Some(0)));
        assert_eq!(quality.seconds, vec![Vec::<&str>::new(); 10]);
        assert_eq!(quality.to_string(), format!("{} good", quality.lead));
    }
    assert_eq!(assessment.usability, "technically usable, as far as checked");
    assert_eq!(assessment.leads_in_words(), ["all 12 good"]);
}

#[test]
fn the_seconds_of_a_fault_are_named() {
    let jump = disturbed(9, |at| if at >= 2750 { 1500.0 } else { 0.0 });
    let quality = of(&jump, &Lead::V4);
    assert_eq!(quality.grade, Grade::Poor);
    assert_eq!(quality.seconds[5], ["baseline-step", "baseline-wander"]);
    assert!(!quality.seconds[2].contains(&"baseline-step"));
    assert!(quality.to_string().starts_with("V4 poor: "), "{quality}");
    assert_eq!(of(&jump, &Lead::V5).grade, Grade::Good);
    let hum =
        disturbed(
            7,
            |at| if at < 3500 { 90.0 * (at as f64 * 0.2 * std::f64::consts::PI).sin() } else { 0.0 },
        );
    assert_eq!(of(&hum, &Lead::V2).to_string(), "V2 poor: mains hum (seconds 1 to 7)");
}

#[test]
fn a_lead_without_a_tracing_is_not_usable() {
    let strip = Strip::default();
    let mut leads = strip.microvolts();
    leads[9].fill(0.0);
    let assessment = check(&strip.recording_of(&leads));
    assert_eq!(of(&assessment, &Lead::V4).to_string(), "V4 not usable: no tracing (throughout)");
    assert_eq!(assessment.usability, "not technically usable: no tracing (V4)");
    let words = assessment.leads_in_words();
    assert_eq!(words[0], "V4 not usable: no tracing (throughout)");
    assert_eq!(words[1], "I, II, III, aVR, aVL, aVF, V1, V2, V3, V5, V6 good");
}

#[test]
fn an_expected_lead_that_is_not_there_is_named_so() {
    let recording = Strip::default().recording();
    let rest = recording.waveforms[0].signals()[..11].to_vec();
    let assessment = check(&crate::synthetic::recording_of_signals(500, rest));
    let quality = of(&assessment, &Lead::V6);
    assert_eq!((quality.waveform, quality.grade, quality.seconds.len()), (None, Grade::NotUsable, 0));
    assert_eq!(quality.to_string(), "V6 not usable: not recorded");
}

#[test]
fn usability_is_a_matter_of_technique_alone() {
    let mut recording = Strip::default().recording();
    recording.acquisition.operators.clear();
    assert_eq!(check(&recording).usability, "technically usable, as far as checked");
    let short = check(&Strip { seconds: 7.0, ..Strip::default() }.recording());
    assert_eq!(short.usability, "technically usable with reservations: not the usual length");
    assert_eq!(check(&Recording::default()).usability, "not technically usable: not recorded");
    let drift = disturbed(10, |at| 700.0 * (at as f64 * 0.001 * std::f64::consts::PI).sin());
    assert_eq!(drift.usability, "technically usable with reservations: baseline wander (V5)");
}

#[test]
fn a_long_recording_has_no_quality_by_seconds() {
    let strip = Strip { seconds: 3700.0, rate_hz: 10, ..Strip::default() };
    let leads: Vec<Vec<f64>> = vec![(0..37_000).map(|at| f64::from(at % 7)).collect(); 12];
    let assessment =
        run(&strip.recording_of(&leads), None, &Policy::default(), &"2026".parse().expect("a year"));
    assert!(assessment.leads.iter().all(|quality| quality.seconds.is_empty()));
    assert!(assessment.leads.iter().all(|quality| quality.grade >= Grade::NotAssessed));
}

#[test]
fn rate_and_rr_are_computed_only_where_the_source_states_none() {
    let mut recording = Strip { beats_per_minute: 75.0, ..Strip::default() }.recording();
    let figures = check(&recording).rhythm.expect("beats");
    assert_eq!(
        figures.line(),
        "75 /min, RR 800 ms (800 to 800 ms), 12 beats: automatic and unconfirmed, to be over-read by a qualified clinician"
    );
    recording.measurements = vec![Measurement::global(MeasurementKind::HeartRate, 74, "/min")];
    assert_eq!(check(&recording).rhythm, None);
}
