//! Einthoven's and Goldberger's relations, and what a mismatch looks like.

use crate::synthetic::{Strip, check, of, recording_of_signals, verdicts};
use ecgkeep_checks::Verdict;
use ecgkeep_recording::{Exact, Lead, Signal, Step};

/// The limb leads with one of them replaced by a function of the true microvolts.
fn with_lead_iii(change: impl Fn(usize, &[f64]) -> f64) -> ecgkeep_checks::Assessment {
    let strip = Strip { axis_deg: 75.0, ..Strip::default() };
    let mut leads = strip.microvolts();
    leads[2] = (0..strip.length()).map(|at| change(at, &leads[2])).collect();
    check(&strip.recording_of(&leads))
}

#[test]
fn rounding_of_stored_leads_is_within_the_tolerance() {
    for step_uv in [1, 5] {
        for axis_deg in [-80.0, -30.0, 17.0, 50.0, 93.0, 170.0] {
            let assessment = check(&Strip { step_uv, axis_deg, ..Strip::default() }.recording());
            assert_eq!(verdicts(&assessment, "einthoven"), []);
            assert_eq!(verdicts(&assessment, "goldberger"), []);
        }
    }
}

#[test]
fn the_first_sample_of_a_published_record_agrees() {
    // PTB Diagnostic ECG Database, patient001/s0010_re, header: initial values of the first six leads, 2000 counts/mV.
    let counts = [-489, -458, 31, 474, -260, -214];
    let step = Step::new(Exact::whole(500)).unwrap();
    let signals =
        counts.iter().zip(Lead::TWELVE).map(|(count, lead)| Signal::new(lead, step, vec![*count])).collect();
    let assessment = check(&recording_of_signals(1000, signals));
    assert_eq!(verdicts(&assessment, "einthoven"), []);
    assert_eq!(verdicts(&assessment, "goldberger"), []);
}

#[test]
fn one_step_beyond_the_tolerance_is_a_warning() {
    let assessment = with_lead_iii(|at, iii| if at == 2000 { iii[at] + 4.0 } else { iii[at] });
    let [finding] = of(&assessment, "einthoven")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Warn);
    assert_eq!(finding.threshold.as_ref().unwrap().to_string(), "2 uV");
}

#[test]
fn an_inverted_lead_is_a_fail_that_says_polarity() {
    let assessment = with_lead_iii(|at, iii| -iii[at]);
    let [finding] = of(&assessment, "einthoven")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Fail);
    assert!(finding.text.ends_with("it looks inverted: polarity or label wrong"), "{}", finding.text);
}

#[test]
fn a_wrong_gain_is_named_with_its_size() {
    let assessment = with_lead_iii(|at, iii| 1.1 * iii[at]);
    let [finding] = of(&assessment, "einthoven")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Fail);
    assert!(finding.text.ends_with("it looks like a gain of 1.100"), "{}", finding.text);
}

#[test]
fn a_shift_in_time_is_named_in_samples() {
    let assessment = with_lead_iii(|at, iii| if at < 2 { iii[0] } else { iii[at - 2] });
    let [finding] = of(&assessment, "einthoven")[..] else { panic!("one finding") };
    assert!(finding.text.ends_with("it looks shifted in time by 2 samples (4.0 ms)"), "{}", finding.text);
}

#[test]
fn another_baseline_is_named_slow() {
    let assessment =
        with_lead_iii(|at, iii| iii[at] + 100.0 * (at as f64 / 500.0 * 0.2 * std::f64::consts::TAU).sin());
    let [finding] = of(&assessment, "einthoven")[..] else { panic!("one finding") };
    assert!(finding.text.contains("the difference is slow"), "{}", finding.text);
    let offset = with_lead_iii(|at, iii| iii[at] + 100.0);
    assert!(of(&offset, "einthoven")[0].text.ends_with("a constant offset of 100.0 uV"));
}

#[test]
fn contradicting_steps_are_named_where_the_counts_fit() {
    // The LUDB data set (Kalyakulina et al. 2020) declares another gain for each lead, while its counts fit.
    let strip = Strip::default();
    let mut signals = strip.recording().waveforms[0].signals().to_vec();
    signals[2].step = Step::new(Exact::whole(1300)).unwrap();
    let assessment = check(&recording_of_signals(500, signals));
    let [finding] = of(&assessment, "einthoven")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Fail);
    assert!(finding.text.contains("steps (gains) of the leads contradict each other"), "{}", finding.text);
}

#[test]
fn exchanged_limb_cables_keep_the_relations() {
    // Right and left arm exchanged: I' = -I, II' = III, III' = II, aVR' = aVL, aVL' = aVR (exact algebra).
    let strip = Strip::default();
    let t = strip.microvolts();
    let swapped = [
        t[0].iter().map(|v| -v).collect(),
        t[2].clone(),
        t[1].clone(),
        t[4].clone(),
        t[3].clone(),
        t[5].clone(),
    ];
    let leads: Vec<Vec<f64>> = swapped.into_iter().chain(t[6..].iter().cloned()).collect();
    let assessment = check(&strip.recording_of(&leads));
    assert_eq!(verdicts(&assessment, "einthoven"), []);
    assert_eq!(verdicts(&assessment, "goldberger"), []);
}

#[test]
fn minus_avr_is_held_against_its_own_relation() {
    let strip = Strip::default();
    let mut signals = strip.recording().waveforms[0].signals().to_vec();
    signals[3].lead = Lead::NegativeAVR;
    signals[3].samples.iter_mut().for_each(|count| *count = -*count);
    let assessment = check(&recording_of_signals(500, signals.clone()));
    assert_eq!(assessment.findings, []);
    signals[3].lead = Lead::AVR;
    assert_eq!(verdicts(&check(&recording_of_signals(500, signals)), "goldberger"), [Verdict::Fail]);
}

#[test]
fn missing_samples_are_left_out_of_the_comparison() {
    let strip = Strip::default();
    let mut signals = strip.recording().waveforms[0].signals().to_vec();
    signals[0] = signals[0].clone().with_missing(vec![ecgkeep_recording::Span { start: 100, end: 200 }]);
    assert_eq!(verdicts(&check(&recording_of_signals(500, signals.clone())), "einthoven"), []);
    let all = ecgkeep_recording::Span { start: 0, end: 5000 };
    signals[0] = signals[0].clone().with_missing(vec![all]);
    let assessment = check(&recording_of_signals(500, signals));
    assert_eq!(verdicts(&assessment, "einthoven"), [Verdict::NotAssessed]);
}
