//! A faultless recording looks like an ECG: relations, proportions and rhythm, against published values.

use ecgkeep_demo::{Demo, LeadTruth, Spec, Truth, recording};
use ecgkeep_recording::{Lead, MarkKind, MeasurementKind, Wave};

fn plain(seed: u64) -> Demo {
    recording(&Spec { seed, ..Spec::default() })
}

fn counts(demo: &Demo, lead: Lead) -> &[i32] {
    &demo.recording.waveforms[0].lead(&lead).expect("one of the twelve").samples
}

fn lead(truth: &Truth, lead: Lead) -> &LeadTruth {
    truth.leads.iter().find(|one| one.lead == lead).expect("one of the twelve")
}

fn real(n: usize) -> f64 {
    f64::from(u32::try_from(n).expect("a short recording"))
}

/// The residual of rounding four leads to the nearest count: at most 1.5 counts for III, 1 for aVR, 1.25 for aVL and
/// aVF by arithmetic, so 1, 0.5, 1 and 1 in steps of half a count.
#[test]
fn limb_leads_follow_einthoven_and_goldberger_within_rounding() {
    let demo = plain(11);
    let [i, ii, iii, avr, avl, avf] =
        [Lead::I, Lead::II, Lead::III, Lead::AVR, Lead::AVL, Lead::AVF].map(|lead| counts(&demo, lead));
    for n in 0..i.len() {
        assert!((iii[n] - (ii[n] - i[n])).abs() <= 1);
        assert!((2 * avr[n] + i[n] + ii[n]).abs() <= 1);
        assert!((2 * avl[n] - 2 * i[n] + ii[n]).abs() <= 2);
        assert!((2 * avf[n] - 2 * ii[n] + i[n]).abs() <= 2);
    }
}

#[test]
fn the_eight_leads_are_independent() {
    // Gram-Schmidt: what is left of a lead after the leads before it, in microvolts rms; rounding alone leaves 0.3
    let demo = recording(&Spec { noise_microvolts_rms: 0.0, breathing_microvolts: 0.0, ..Spec::default() });
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for name in Lead::EIGHT {
        let mut rest = demo.recording.waveforms[0].lead(&name).expect("one of the twelve").microvolts();
        for earlier in &basis {
            let along: f64 = rest.iter().zip(earlier).map(|(a, b)| a * b).sum();
            rest.iter_mut().zip(earlier).for_each(|(a, b)| *a -= along * b);
        }
        let norm = rest.iter().map(|a| a * a).sum::<f64>().sqrt();
        let rms = norm / 5000.0_f64.sqrt();
        assert!(rms > 2.0, "{name}: {rms}");
        basis.push(rest.into_iter().map(|a| a / norm).collect());
    }
}

#[test]
fn durations_are_those_of_healthy_adults() {
    // Women's Health Initiative, 36 299 healthy women, 2nd to 98th percentile (PMC3825808, table 2): heart rate 49 to
    // 88 per minute, PR 118 to 212 ms, QRS 70 to 104 ms. QT 350 to 440 ms at 65 per minute: common practice, no source.
    for truth in (1..40).map(|seed| plain(seed).truth) {
        assert!((49.0..=88.0).contains(&truth.rate));
        assert!((118.0..=212.0).contains(&truth.pr_ms), "{}", truth.pr_ms);
        assert!((70.0..=104.0).contains(&truth.qrs_ms), "{}", truth.qrs_ms);
        assert!((350.0..=440.0).contains(&truth.qt_ms), "{}", truth.qt_ms);
        // normal axis -30 to +90 degrees (AHA/ACC/HRS 2009, part III, from memory)
        assert!((-30.0..=90.0).contains(&truth.axis_deg));
    }
}

#[test]
fn waves_point_where_they_do_in_a_healthy_heart() {
    // common practice, no source: P, QRS and T upright in I, II and V4 to V6, inverted in aVR; rS in V1; R grows from V1 to V4
    for truth in (1..40).map(|seed| plain(seed).truth) {
        for name in [Lead::I, Lead::II, Lead::V4, Lead::V5, Lead::V6] {
            let wave = lead(&truth, name.clone());
            assert!(wave.p_microvolts > 30.0 && wave.qrs_area > 0.0 && wave.t_microvolts > 100.0, "{name}");
        }
        let avr = lead(&truth, Lead::AVR);
        assert!(avr.p_microvolts < 0.0 && avr.qrs_area < 0.0 && avr.t_microvolts < 0.0);
        let r = [Lead::V1, Lead::V2, Lead::V3, Lead::V4].map(|name| lead(&truth, name).qrs_max_microvolts);
        assert!(r.is_sorted(), "{r:?}");
        let v1 = lead(&truth, Lead::V1);
        assert!(v1.qrs_max_microvolts > 100.0 && v1.qrs_min_microvolts < -2.0 * v1.qrs_max_microvolts);
        assert!(
            lead(&truth, Lead::II).qrs_max_microvolts > 500.0,
            "no low voltage (below 0.5 mV, from memory)"
        );
    }
}

#[test]
fn the_highest_voltages_stand_where_the_truth_says() {
    for seed in 1..20 {
        let demo = recording(&Spec { seed, noise_microvolts_rms: 0.0, ..Spec::default() });
        for name in [Lead::I, Lead::II, Lead::V2, Lead::V5] {
            let (samples, wave) = (counts(&demo, name.clone()), lead(&demo.truth, name.clone()));
            for beat in demo.truth.beats.iter().filter(|beat| (60..4940).contains(*beat)) {
                let highest = (beat - 30..beat + 30).max_by_key(|at| samples[*at]).expect("not empty");
                let found_ms = 2.0 * (real(highest) - real(*beat));
                assert!((found_ms - wave.qrs_max_ms).abs() <= 2.0, "seed {seed}, {name}: {found_ms} ms");
                // a beat is up to 2 % larger or smaller, and breathing moves it by up to 15 microvolts
                let found = f64::from(samples[highest]);
                let tolerance = 0.02 * wave.qrs_max_microvolts + 0.01 * wave.qrs_max_microvolts + 16.0;
                assert!((found - wave.qrs_max_microvolts).abs() < tolerance, "seed {seed}, {name}: {found}");
            }
        }
        assert!(
            lead(&demo.truth, Lead::II).qrs_max_ms.abs() < 5.0,
            "a beat is marked near the R peak of lead II"
        );
    }
}

#[test]
fn the_waves_of_a_beat_follow_each_other() {
    for heart_rate in [35.0, 65.0, 100.0, 160.0] {
        let truth = recording(&Spec { heart_rate, ..Spec::default() }).truth;
        for (beat, waves) in truth.beats.iter().zip(&truth.waves) {
            let ordered = [
                waves.p_onset,
                waves.p_peak,
                waves.p_offset,
                waves.qrs_onset,
                i64::try_from(*beat).expect("a small number"),
                waves.qrs_offset,
                waves.t_peak,
                waves.t_offset,
            ];
            assert!(ordered.is_sorted_by(|a, b| a < b), "{heart_rate}: {ordered:?}");
        }
    }
}

#[test]
fn between_the_waves_lies_the_baseline() {
    let spec = Spec { noise_microvolts_rms: 0.0, breathing_microvolts: 0.0, ..Spec::default() };
    let demo = recording(&spec);
    for signal in demo.recording.waveforms[0].signals() {
        for two in demo.truth.waves.windows(2) {
            let [from, to] = [two[0].t_offset, two[1].p_onset].map(|at| usize::try_from(at).expect("inside"));
            let most = signal.samples[from..to].iter().map(|count| count.abs()).max();
            // 4.4 % of a wave of at most 0.6 mV, twice where Gaussians meet
            assert!(most.is_some_and(|most| most <= 30), "{}: {most:?}", signal.lead);
        }
    }
}

#[test]
fn the_rate_is_sixty_over_the_mean_interval() {
    for asked in [40.0, 65.0, 100.0, 150.0] {
        let truth = recording(&Spec { heart_rate: asked, seconds: 60.0, ..Spec::default() }).truth;
        let intervals: Vec<f64> = truth
            .beats
            .windows(2)
            .map(|two| f64::from(u32::try_from(two[1] - two[0]).expect("small")))
            .collect();
        let mean = intervals.iter().sum::<f64>() / f64::from(u32::try_from(intervals.len()).expect("small"));
        assert!((truth.rate - 60.0 * 500.0 / mean).abs() < 1e-9);
        assert!((truth.rate / asked - 1.0).abs() < 0.02, "asked {asked}, made {}", truth.rate);
        assert!(
            intervals.iter().any(|interval| (interval - mean).abs() > 3.0),
            "no two hearts tick like a clock"
        );
    }
}

#[test]
fn the_same_spec_gives_the_same_recording_and_another_seed_another() {
    let (one, same, other) = (plain(3), plain(3), plain(4));
    assert_eq!(one.recording, same.recording);
    assert_eq!(one.truth, same.truth);
    assert_ne!(one.truth.beats, other.truth.beats);
    assert_ne!(one.recording.fingerprint(), other.recording.fingerprint());
}

/// The fingerprint stated here was computed on x86-64 Linux; any platform must give it.
#[test]
fn the_recording_is_the_same_on_every_platform() {
    assert_eq!(plain(3).recording.fingerprint().to_string(), FINGERPRINT_OF_SEED_3);
}

const FINGERPRINT_OF_SEED_3: &str = "b05a639ae781fdf4f39372a29e1bd42200c42e0bcd2645e1edad3157aedb47b8";

#[test]
fn marks_and_measurements_repeat_the_truth_when_asked_for() {
    let demo = plain(9);
    assert!(demo.recording.measurements.is_empty() && demo.recording.waveforms[0].marks.is_empty());
    let demo = recording(&Spec { seed: 9, with_marks: true, with_measurements: true, ..Spec::default() });
    let marks = &demo.recording.waveforms[0].marks;
    let beats: Vec<usize> = marks
        .iter()
        .filter(|mark| mark.kind == MarkKind::Beat)
        .filter_map(|mark| usize::try_from(mark.sample).ok())
        .collect();
    assert_eq!(beats, demo.truth.beats);
    let t_ends = marks.iter().filter(|mark| mark.kind == MarkKind::Offset(Wave::T)).map(|mark| mark.sample);
    assert!(t_ends.eq(demo.truth.waves.iter().map(|waves| waves.t_offset)));
    let rate = demo.recording.measurements.iter().find(|one| one.kind == MeasurementKind::HeartRate);
    assert!(rate.is_some_and(|rate| (rate.value.to_f64() - demo.truth.rate).abs() <= 0.5));
}

#[test]
fn other_rates_and_steps_show_the_same_voltages() {
    let quiet = Spec { noise_microvolts_rms: 0.0, breathing_microvolts: 0.0, ..Spec::default() };
    let coarse = ecgkeep_recording::Step::new(ecgkeep_recording::Exact::whole(5000)).expect("not zero");
    let (fine, coarse) = (recording(&quiet), recording(&Spec { step: coarse, ..quiet.clone() }));
    for name in Lead::TWELVE {
        let (a, b) = (counts(&fine, name.clone()), counts(&coarse, name));
        assert!(a.iter().zip(b).all(|(one, five)| (one - 5 * five).abs() <= 3));
    }
    let faster = recording(&Spec { rate: 1000, ..quiet });
    assert_eq!(faster.recording.waveforms[0].length(), 10_000);
    let r_at_500: Vec<i32> = fine.truth.beats.iter().map(|beat| counts(&fine, Lead::V5)[*beat]).collect();
    let r_at_1000: Vec<i32> =
        faster.truth.beats.iter().map(|beat| counts(&faster, Lead::V5)[*beat]).collect();
    assert!(r_at_500.iter().zip(&r_at_1000).all(|(a, b)| (a - b).abs() <= 3), "{r_at_500:?} {r_at_1000:?}");
}
