//! Leads, tracings, length, rate, resolution, filters.

use crate::synthetic::{Strip, check, of, recording_of_signals, verdicts};
use ecgkeep_checks::{Policy, Verdict, run};
use ecgkeep_recording::{Exact, Lead, Recording, Signal, SignalUnit, Span, Waveform};

fn signals(recording: &Recording) -> Vec<Signal> {
    recording.waveforms[0].signals().to_vec()
}

#[test]
fn a_faultless_strip_gives_no_finding_and_does_not_read_as_a_normal_heart() {
    let assessment = check(&Strip::default().recording());
    assert_eq!(assessment.findings, []);
    assert_eq!(assessment.verdict(), None);
    let n = assessment.performed.len();
    assert_eq!(assessment.headline(), format!("no technical fault found ({n} checks)"));
    assert_eq!(n, ecgkeep_checks::RULES.len());
}

#[test]
fn eight_leads_are_enough_and_the_other_four_a_note() {
    let strip = Strip::default();
    let eight: Vec<Signal> =
        signals(&strip.recording()).into_iter().filter(|signal| Lead::EIGHT.contains(&signal.lead)).collect();
    let assessment = check(&recording_of_signals(500, eight));
    let [finding] = of(&assessment, "leads-missing")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Note);
    assert!(finding.text.starts_with("III, aVR, aVL, aVF not stored"), "{}", finding.text);
    assert_eq!(verdicts(&assessment, "einthoven"), [Verdict::NotAssessed]);
    assert_eq!(assessment.verdict(), None);
}

#[test]
fn a_chest_lead_that_is_missing_is_a_fail() {
    let rest: Vec<Signal> =
        signals(&Strip::default().recording()).into_iter().filter(|signal| signal.lead != Lead::V4).collect();
    let assessment = check(&recording_of_signals(500, rest));
    let [finding] = of(&assessment, "leads-missing")[..] else { panic!("one finding") };
    assert_eq!((finding.verdict, finding.text.as_str()), (Verdict::Fail, "lead V4 is missing"));
    assert_eq!(finding.lead(), Some(&Lead::V4));
    let n = assessment.performed.len();
    assert_eq!(assessment.headline(), format!("1 FAIL ({n} checks, 1 not assessed)"));
}

#[test]
fn a_lead_without_a_known_scale_is_not_checked_as_a_lead() {
    let mut all = signals(&Strip::default().recording());
    all[6].unit = SignalUnit::Uncalibrated;
    all[6].samples.fill(0);
    let assessment = check(&recording_of_signals(500, all));
    let [finding] = of(&assessment, "leads-missing")[..] else { panic!("one finding") };
    assert!(finding.text.contains("without a known voltage scale"), "{}", finding.text);
    assert_eq!(verdicts(&assessment, "lead-flat"), []);
}

#[test]
fn a_lead_stored_twice_is_a_warning() {
    let mut all = signals(&Strip::default().recording());
    all[11].lead = Lead::V5;
    let assessment = check(&recording_of_signals(500, all));
    assert_eq!(verdicts(&assessment, "leads-missing"), [Verdict::Fail, Verdict::Warn]);
}

#[test]
fn a_lead_is_flat_from_one_second_on() {
    let strip = Strip::default();
    for (samples, verdict) in [(490, vec![]), (600, vec![Verdict::Warn]), (5000, vec![Verdict::Fail])] {
        let mut leads = strip.microvolts();
        // noise of a few microvolts so that the rest of the lead varies
        for (index, value) in leads[8].iter_mut().enumerate() {
            *value += if index % 2 == 0 { 8.0 } else { -8.0 };
        }
        leads[8][..samples].fill(137.0);
        let assessment = check(&strip.recording_of(&leads));
        assert_eq!(verdicts(&assessment, "lead-flat"), verdict, "{samples}");
        if let Some(finding) = of(&assessment, "lead-flat").first() {
            assert_eq!(finding.lead(), Some(&Lead::V3));
        }
    }
}

#[test]
fn a_flat_stretch_is_measured_in_seconds_and_samples() {
    let strip = Strip::default();
    let mut leads = strip.microvolts();
    for (index, value) in leads[8].iter_mut().enumerate() {
        *value += if index % 2 == 0 { 8.0 } else { -8.0 };
    }
    leads[8][1500..2700].fill(137.0);
    let assessment = check(&strip.recording_of(&leads));
    let [finding] = of(&assessment, "lead-flat")[..] else { panic!("one finding") };
    assert_eq!(finding.places[0].spans, [Span { start: 1500, end: 2700 }]);
    assert_eq!(finding.measured.as_ref().unwrap().to_string(), "2.4 s");
    assert_eq!(finding.threshold.as_ref().unwrap().to_string(), "1 s");
    assert!(
        finding.text.starts_with("lead V3: no signal variation for 2.40 s from 3.00 s on"),
        "{}",
        finding.text
    );
}

#[test]
fn all_leads_flat_means_look_at_the_patient() {
    let strip = Strip::default();
    let leads = vec![vec![0.0; strip.length()]; 12];
    let assessment = check(&strip.recording_of(&leads));
    let [finding] = of(&assessment, "lead-flat")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Fail);
    assert_eq!(finding.text, "all leads: no signal or asystole: look at the patient");
    assert_eq!(verdicts(&assessment, "polarity-i"), [Verdict::NotAssessed]);
}

#[test]
fn a_flat_stretch_broken_by_a_gap_is_still_flat() {
    let strip = Strip::default();
    let mut all = signals(&strip.recording());
    all[7].samples[1000..1700].fill(5);
    all[7] = all[7].clone().with_missing(vec![Span { start: 1300, end: 1400 }]);
    let assessment = check(&recording_of_signals(500, all));
    assert_eq!(verdicts(&assessment, "lead-flat"), [Verdict::Warn]);
    let [gap] = of(&assessment, "lead-gap")[..] else { panic!("one finding") };
    assert_eq!(gap.verdict, Verdict::Warn);
    assert_eq!(gap.measured.as_ref().unwrap().to_string(), "2 %");
}

#[test]
fn many_missing_samples_are_a_fail() {
    let mut all = signals(&Strip::default().recording());
    all[7] = all[7].clone().with_missing(vec![Span { start: 0, end: 300 }]);
    let assessment = check(&recording_of_signals(500, all));
    assert_eq!(verdicts(&assessment, "lead-gap"), [Verdict::Fail]);
}

#[test]
fn the_strip_lasts_about_ten_seconds() {
    for (seconds, verdict) in
        [(9.4, vec![Verdict::Warn]), (9.5, vec![]), (10.5, vec![]), (10.6, vec![Verdict::Warn])]
    {
        let recording = Strip { seconds, ..Strip::default() }.recording();
        assert_eq!(verdicts(&check(&recording), "duration"), verdict, "{seconds}");
    }
    let assessment = check(&Strip { seconds: 7.5, ..Strip::default() }.recording());
    assert_eq!(of(&assessment, "duration")[0].text, "the recording lasts 7.50 s, shorter than 9.5 s");
}

#[test]
fn slow_sampling_and_coarse_steps_are_said() {
    let verdict = |rate_hz, step_uv| {
        let assessment = check(&Strip { rate_hz, step_uv, ..Strip::default() }.recording());
        (verdicts(&assessment, "sampling-rate"), verdicts(&assessment, "resolution"))
    };
    assert_eq!(verdict(500, 5), (vec![], vec![]));
    assert_eq!(verdict(400, 6), (vec![Verdict::Note], vec![Verdict::Note]));
    assert_eq!(verdict(100, 20), (vec![Verdict::Warn], vec![Verdict::Warn]));
}

#[test]
fn filters_narrower_than_the_diagnostic_band_are_said() {
    let verdict = |high: &str, low: i32| {
        let mut recording = Strip::default().recording();
        recording.acquisition.filters.high_pass_hz = Some(high.parse::<Exact>().unwrap());
        recording.acquisition.filters.low_pass_hz = Some(low.into());
        verdicts(&check(&recording), "filters-narrow")
    };
    assert_eq!(verdict("0.05", 150), []);
    assert_eq!(verdict("0.5", 100), [Verdict::Note, Verdict::Note]);
    assert_eq!(verdict("1", 40), [Verdict::Warn, Verdict::Warn]);
}

#[test]
fn leads_of_several_waveforms_are_all_found_but_not_related() {
    let strip = Strip::default();
    let all = signals(&strip.recording());
    let rate = strip.recording().waveforms[0].rate();
    let mut recording = strip.recording();
    recording.waveforms = all.chunks(3).map(|three| Waveform::new(rate, three.to_vec()).unwrap()).collect();
    let assessment = check(&recording);
    assert_eq!(verdicts(&assessment, "leads-missing"), []);
    assert_eq!(verdicts(&assessment, "einthoven"), []);
    let goldberger = of(&assessment, "goldberger");
    assert!(goldberger.iter().all(|finding| finding.verdict == Verdict::NotAssessed));
    assert!(goldberger[0].text.ends_with("the leads were not recorded together"), "{}", goldberger[0].text);
    // The chest leads are most; lead I is stored, but not with them.
    let (limb, chest) = all.split_at(6);
    recording.waveforms = [limb[..3].to_vec(), limb[3..].to_vec(), chest.to_vec()]
        .map(|together| Waveform::new(rate, together).unwrap())
        .to_vec();
    let text = |recording: &Recording| of(&check(recording), "polarity-i")[0].text.clone();
    assert!(
        text(&recording).ends_with("lead I was not recorded at the same time as most leads"),
        "{}",
        text(&recording)
    );
    recording.waveforms.remove(0);
    assert!(text(&recording).ends_with("lead I is not stored"), "{}", text(&recording));
}

#[test]
fn a_rule_that_the_policy_switches_off_is_not_performed() {
    let recording = Strip { seconds: 5.0, ..Strip::default() }.recording();
    let policy = Policy { off: vec!["duration".into(), "durations".into()], ..Policy::default() };
    let assessment = run(&recording, None, &policy, &"2026-03-02T12:00Z".parse().unwrap());
    assert!(!assessment.performed.contains(&"duration"));
    assert_eq!(assessment.verdict(), None);
}
