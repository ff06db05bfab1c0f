//! Recordings that no device makes: no rule may fail to answer.

use crate::synthetic::{check, verdicts};
use ecgkeep_checks::{Policy, Verdict, run};
use ecgkeep_recording::{Exact, Lead, Rate, Recording, Signal, Span, Step, Waveform, WaveformKind};

fn waveform(rate: &str, samples: Vec<i32>, step: &str) -> Waveform {
    let rate = Rate::new(rate.parse::<Exact>().expect("a number")).expect("above zero");
    let step = Step::new(step.parse::<Exact>().expect("a number")).expect("not zero");
    let signals = Lead::TWELVE.map(|lead| Signal::new(lead, step, samples.clone())).to_vec();
    Waveform::new(rate, signals).expect("equal lengths")
}

fn ramp(n: i32) -> Vec<i32> {
    (0..n).map(|index| (index * 7919) % 2003 - 1000).collect()
}

#[test]
fn an_empty_recording_fails_and_is_answered_by_every_rule() {
    let assessment = check(&Recording::default());
    assert_eq!(assessment.performed.len(), ecgkeep_checks::RULES.len());
    assert_eq!(verdicts(&assessment, "leads-missing"), [Verdict::Fail]);
    assert_eq!(assessment.verdict(), Some(Verdict::Fail));
}

#[test]
fn lengths_rates_and_steps_at_the_edge_are_answered() {
    for samples in [vec![], vec![1], vec![1, 2], vec![i32::MIN, i32::MAX], ramp(4999), vec![i32::MAX; 3000]] {
        for rate in ["0.000001", "1", "79", "80", "500", "1000000000", "999999999999999999"] {
            for step in ["1", "-1000", "0.000000001", "999999999999999999"] {
                let recording = Recording {
                    waveforms: vec![waveform(rate, samples.clone(), step)],
                    ..Recording::default()
                };
                let assessment = check(&recording);
                assert!(assessment.verdict().is_some(), "{rate} {step} {}", samples.len());
            }
        }
    }
}

#[test]
fn leads_without_any_sample_present_are_answered() {
    let mut all = waveform("500", ramp(5000), "1000").into_signals();
    for signal in &mut all {
        *signal = signal.clone().with_missing(vec![Span { start: 0, end: 5000 }]);
    }
    let rate = Rate::new(500.into()).unwrap();
    let recording = Recording { waveforms: vec![Waveform::new(rate, all).unwrap()], ..Recording::default() };
    let assessment = check(&recording);
    assert_eq!(verdicts(&assessment, "lead-gap"), [Verdict::Fail; 12]);
    assert_eq!(verdicts(&assessment, "polarity-avr"), [Verdict::NotAssessed]);
}

#[test]
fn a_representative_beat_alone_is_no_rhythm() {
    let mut beat = waveform("500", ramp(600), "1000");
    beat.kind = WaveformKind::RepresentativeBeat { class: 0 };
    let assessment = check(&Recording { waveforms: vec![beat], ..Recording::default() });
    assert_eq!(verdicts(&assessment, "leads-missing"), [Verdict::Fail]);
    assert_eq!(verdicts(&assessment, "duration"), [Verdict::NotAssessed]);
}

#[test]
fn a_policy_of_zeros_or_of_nothing_numbers_is_answered() {
    let recording = crate::synthetic::Strip::default().recording();
    for number in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let policy = Policy {
            flat_seconds_at_most: number,
            flat_percent_at_most: number,
            flat_range_uv: number,
            strip_seconds_at_least: number,
            relation_steps_at_most: number,
            inverted_factor: number,
            ..Policy::default()
        };
        let assessment = run(&recording, None, &policy, &"2026-03-02T12:00Z".parse().unwrap());
        assert_eq!(assessment.performed.len(), ecgkeep_checks::RULES.len());
    }
}

#[test]
fn a_long_term_recording_is_not_judged_as_a_strip() {
    let recording = Recording { waveforms: vec![waveform("1", ramp(4000), "1000")], ..Recording::default() };
    let assessment = check(&recording);
    assert_eq!(verdicts(&assessment, "duration"), [Verdict::Warn]);
    assert_eq!(verdicts(&assessment, "einthoven"), [Verdict::NotAssessed]);
    assert_eq!(verdicts(&assessment, "polarity-i"), [Verdict::NotAssessed]);
}
