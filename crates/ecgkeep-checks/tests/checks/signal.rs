//! Noise, wander, hum, clipping, steps, duplicates, voltages, rate.

use std::f64::consts::TAU;

use ecgkeep_checks::{Assessment, Verdict, rhythm};
use ecgkeep_recording::{Lead, Span};

use crate::synthetic::{Strip, check, of, verdicts};

/// A strip with the same function of the sample number added to some leads (indices in the usual order).
fn disturbed(leads: &[usize], add: impl Fn(usize) -> f64) -> Assessment {
    let strip = Strip::default();
    let mut all = strip.microvolts();
    for lead in leads {
        all[*lead].iter_mut().enumerate().for_each(|(at, value)| *value += add(at));
    }
    check(&strip.recording_of(&all))
}

fn sine(hertz: f64, peak_uv: f64) -> impl Fn(usize) -> f64 {
    move |at| peak_uv * (TAU * hertz * at as f64 / 500.0 + 0.4).sin()
}

/// White noise of this standard deviation, the sum of twelve uniform numbers (central limit theorem).
fn noise(sigma_uv: f64) -> impl Fn(usize) -> f64 {
    move |at| {
        let mut state = (at as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let mut uniform = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        sigma_uv * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0)
    }
}

#[test]
fn hum_is_measured_with_its_frequency_and_lead() {
    for (hertz, peak, verdict) in
        [(50.0, 20.0, None), (50.0, 30.0, Some(Verdict::Note)), (60.0, 100.0, Some(Verdict::Warn))]
    {
        let assessment = disturbed(&[7], sine(hertz, peak));
        let finding = of(&assessment, "mains-hum").first().copied().cloned();
        assert_eq!(finding.as_ref().map(|finding| finding.verdict), verdict, "{hertz} {peak}");
        if let Some(finding) = finding {
            assert_eq!(finding.lead(), Some(&Lead::V2));
            assert!(finding.text.starts_with(&format!("mains hum at {hertz:.0} Hz")), "{}", finding.text);
            let measured = finding.measured.expect("a size").value.to_f64();
            assert!((measured - peak).abs() <= 4.0, "{measured} for {peak}");
        }
    }
}

#[test]
fn hum_beside_the_nominal_frequency_is_measured_within_ten_percent() {
    let assessment = disturbed(&[8], sine(49.8, 100.0));
    let measured = of(&assessment, "mains-hum")[0].measured.as_ref().expect("a size").value.to_f64();
    assert!((90.0..=110.0).contains(&measured), "{measured}");
}

#[test]
fn muscle_noise_is_measured_and_is_no_hum() {
    let assessment = disturbed(&[6, 7, 8, 9, 10, 11], noise(70.0));
    let [finding] = of(&assessment, "muscle-noise")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Warn);
    assert!(finding.text.contains("leads V1, V2, V3, V4, V5 and V6"), "{}", finding.text);
    let measured = finding.measured.as_ref().expect("a size").value.to_f64();
    assert!((60.0..=80.0).contains(&measured), "{measured}");
    assert_eq!(verdicts(&assessment, "mains-hum"), []);
    assert_eq!(verdicts(&disturbed(&[6], noise(10.0)), "muscle-noise"), []);
}

#[test]
fn hum_is_no_muscle_noise() {
    assert_eq!(verdicts(&disturbed(&[7], sine(50.0, 100.0)), "muscle-noise"), []);
}

#[test]
fn harmonics_are_named_with_the_frequency_they_belong_to() {
    let (base, third) = (sine(60.0, 40.0), sine(180.0, 70.0));
    let assessment = disturbed(&[7], |at| base(at) + third(at));
    let [finding] = of(&assessment, "mains-hum")[..] else { panic!("one finding") };
    // The largest of them decides.
    assert_eq!(finding.verdict, Verdict::Warn);
    let measured = finding.measured.as_ref().expect("a size").value.to_f64();
    assert!((measured - 70.0).abs() <= 7.0, "{measured}");
    assert!(finding.text.starts_with("mains hum at 60 Hz of 4"), "{}", finding.text);
    assert!(finding.text.contains("(peak), at 180 Hz of "), "{}", finding.text);
    assert_eq!(verdicts(&assessment, "muscle-noise"), []);
}

#[test]
fn hum_alone_has_no_harmonics() {
    let assessment = disturbed(&[7], sine(50.0, 200.0));
    let [finding] = of(&assessment, "mains-hum")[..] else { panic!("one finding") };
    assert!(finding.text.ends_with("(peak) in lead V2; limit 50 uV"), "{}", finding.text);
}

#[test]
fn hum_of_some_seconds_is_placed_there() {
    let hum = sine(50.0, 80.0);
    let assessment = disturbed(&[7], |at| if at >= 2000 { hum(at) } else { 0.0 });
    let [finding] = of(&assessment, "mains-hum")[..] else { panic!("one finding") };
    let seconds: Vec<usize> = finding.places[0].spans.iter().map(|span| span.start / 500).collect();
    assert_eq!(seconds, [4, 5, 6, 7, 8, 9]);
    let passing = disturbed(&[7], |at| if (2000..3500).contains(&at) { hum(at) } else { 0.0 });
    let [finding] = of(&passing, "mains-hum")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Note);
    assert!(
        finding.text.starts_with("mains hum at 50 Hz in some seconds of lead V2, of "),
        "{}",
        finding.text
    );
    assert!(finding.text.ends_with("in V2 from 4 s on; limit 50 uV"), "{}", finding.text);
    let seconds: Vec<usize> = finding.places[0].spans.iter().map(|span| span.start / 500).collect();
    assert_eq!(seconds, [4, 5, 6]);
}

#[test]
fn the_end_of_one_wide_complex_is_no_step() {
    // Left bundle branch block: every QRS is wide, one a little larger than the limit.
    let strip = Strip::default();
    let mut leads = strip.microvolts();
    for (beat, at) in strip.beats().iter().enumerate() {
        let size = if beat == 4 { 1100.0 } else { 900.0 };
        for (index, value) in leads[11].iter_mut().enumerate() {
            let from_beat = index as f64 / 500.0 - at;
            if (-0.02..0.2).contains(&from_beat) {
                *value += size;
            }
        }
    }
    assert_eq!(verdicts(&check(&strip.recording_of(&leads)), "baseline-step"), []);
}

#[test]
fn a_flat_start_is_no_clipping() {
    let strip = Strip::default();
    let mut leads = strip.microvolts();
    leads[10].iter_mut().for_each(|value| *value -= 2000.0);
    leads[10][..40].fill(500.0);
    assert_eq!(verdicts(&check(&strip.recording_of(&leads)), "signal-clipped"), []);
}

#[test]
fn a_burst_is_a_note_with_its_second() {
    let hiss = noise(80.0);
    let assessment = disturbed(&[9], |at| if (2000..2500).contains(&at) { hiss(at) } else { 0.0 });
    let [finding] = of(&assessment, "muscle-noise")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Note);
    assert_eq!(finding.places[0].spans, [Span { start: 2000, end: 2500 }]);
    assert!(finding.text.contains("in the second that begins at 4 s"), "{}", finding.text);
}

#[test]
fn wander_is_measured_from_lowest_to_highest() {
    for (peak, verdict) in [(150.0, vec![]), (350.0, vec![Verdict::Note]), (700.0, vec![Verdict::Warn])] {
        let assessment = disturbed(&[10], sine(0.25, peak));
        assert_eq!(verdicts(&assessment, "baseline-wander"), verdict, "{peak}");
        if let Some(finding) = of(&assessment, "baseline-wander").first() {
            let measured = finding.measured.as_ref().expect("a size").value.to_f64();
            assert!((1.6 * peak..=2.3 * peak).contains(&measured), "{measured} for {peak}");
        }
    }
}

#[test]
fn noise_alone_shows_no_hum() {
    for sigma_uv in [30.0, 60.0, 100.0] {
        let assessment = disturbed(&[0, 6, 9], noise(sigma_uv));
        assert_eq!(verdicts(&assessment, "mains-hum"), [], "{sigma_uv} uV");
    }
}

#[test]
fn a_jump_and_the_jump_back_are_steps_even_if_both_stand_beside_a_beat() {
    let beats = Strip::default().beats();
    let at = |beat: usize| ((beats[beat] + 0.08) * 500.0).round();
    let (there, back) = (at(1), at(8));
    let assessment =
        disturbed(&[9], |sample| if (there..back).contains(&(sample as f64)) { 1500.0 } else { 0.0 });
    let [finding] = of(&assessment, "baseline-step")[..] else { panic!("one finding") };
    let found: Vec<usize> = finding.places[0].spans.iter().map(|span| span.start).collect();
    assert_eq!(found.len(), 2, "{found:?}");
    for (found, true_one) in found.iter().zip([there, back]) {
        assert!((*found as f64 - true_one).abs() <= 10.0, "{found}, {true_one}");
    }
    let measured = finding.measured.as_ref().expect("a size").value.to_f64();
    assert!((measured - 1500.0).abs() <= 150.0, "{measured}");
}

#[test]
fn a_step_is_found_with_its_time_and_qrs_complexes_are_none() {
    let assessment = disturbed(&[9], |at| if at >= 2750 { 1500.0 } else { 0.0 });
    let [finding] = of(&assessment, "baseline-step")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Warn);
    assert!(finding.text.contains("at 5.50 s"), "{}", finding.text);
    let huge = Strip::default();
    let tall: Vec<Vec<f64>> =
        huge.microvolts().iter().map(|lead| lead.iter().map(|value| 3.0 * value).collect()).collect();
    assert_eq!(verdicts(&check(&huge.recording_of(&tall)), "baseline-step"), []);
}

#[test]
fn clipping_is_found_and_a_rounded_wave_is_not() {
    let strip = Strip { step_uv: 5, ..Strip::default() };
    assert_eq!(verdicts(&check(&strip.recording()), "signal-clipped"), []);
    let mut leads = strip.microvolts();
    leads[10].iter_mut().for_each(|value| *value = value.clamp(-600.0, 600.0));
    let assessment = check(&strip.recording_of(&leads));
    let [finding] = of(&assessment, "signal-clipped")[..] else { panic!("one finding") };
    assert_eq!((finding.verdict, finding.lead()), (Verdict::Warn, Some(&Lead::V5)));
    assert!(finding.text.starts_with("lead V5: clipped at 600 uV"), "{}", finding.text);
}

#[test]
fn two_leads_alike_or_opposite_are_a_warning() {
    let strip = Strip::default();
    for sign in [1.0, -1.0] {
        let mut leads = strip.microvolts();
        leads[7] = leads[6].iter().map(|value| sign * value).collect();
        let assessment = check(&strip.recording_of(&leads));
        assert_eq!(verdicts(&assessment, "lead-duplicate"), [Verdict::Warn]);
    }
    let mut leads = strip.microvolts();
    (leads[7], leads[9]) = (leads[6].clone(), leads[6].clone());
    let assessment = check(&strip.recording_of(&leads));
    let [finding] = of(&assessment, "lead-duplicate")[..] else { panic!("one finding for all three") };
    assert_eq!(finding.text, "leads V1, V2 and V4 are alike in every sample");
}

#[test]
fn voltages_beyond_the_range_and_below_the_usual_are_said() {
    let scaled = |factor: f64| {
        let strip = Strip::default();
        let leads: Vec<Vec<f64>> =
            strip.microvolts().iter().map(|lead| lead.iter().map(|value| factor * value).collect()).collect();
        check(&strip.recording_of(&leads))
    };
    assert_eq!(verdicts(&scaled(5.0), "amplitude-range"), [Verdict::Warn]);
    assert_eq!(verdicts(&scaled(0.3), "low-voltage"), [Verdict::Note, Verdict::Note]);
    assert_eq!(verdicts(&scaled(1.0), "low-voltage"), []);
}

#[test]
fn a_rate_outside_the_plausible_is_a_note() {
    for (beats_per_minute, verdict) in [(35.0, vec![Verdict::Note]), (45.0, vec![]), (170.0, vec![])] {
        let assessment = check(&Strip { beats_per_minute, ..Strip::default() }.recording());
        assert_eq!(verdicts(&assessment, "heart-rate"), verdict, "{beats_per_minute}");
    }
}

#[test]
fn rhythm_figures_follow_from_the_beats() {
    let strip = Strip { beats_per_minute: 75.0, ..Strip::default() };
    let figures = rhythm(&strip.recording()).expect("beats");
    // The last one, at 9.95 s, is cut by the end.
    assert_eq!(figures.beats.len(), strip.beats().len() - 1);
    for (found, made) in figures.beats.iter().zip(strip.beats()) {
        assert!((*found as f64 / 500.0 - made).abs() < 0.03, "{found} {made}");
    }
    // 60 s / 75 = 800 ms
    assert_eq!(figures.heart_rate.to_string(), "75 /min");
    assert_eq!(figures.rr_mean.to_string(), "800 ms");
    assert!(figures.caution.contains("unconfirmed"));
}

#[test]
fn noise_alone_has_no_beats() {
    let strip = Strip::default();
    let leads: Vec<Vec<f64>> =
        (0..12).map(|lead| (0..strip.length()).map(|at| noise(100.0)(at * 13 + lead)).collect()).collect();
    assert_eq!(rhythm(&strip.recording_of(&leads)), None);
    let assessment = check(&strip.recording_of(&leads));
    assert_eq!(verdicts(&assessment, "heart-rate"), [Verdict::NotAssessed]);
}
