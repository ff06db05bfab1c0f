//! Spikes: contacts that jump, and pulses like those of a pacemaker.

use ecgkeep_checks::{Assessment, Grade, Verdict};

use crate::synthetic::{Strip, check, of, verdicts};

/// The sample nearest to a second.
#[expect(clippy::cast_possible_truncation, reason = "a strip is short")]
fn sample(strip: &Strip, second: f64) -> usize {
    (second * f64::from(strip.rate_hz)).round() as usize
}

/// A strip with a pulse of these microvolts at each of these seconds, one or two samples wide, in all leads but V1.
fn with_pulses(strip: &Strip, at: &[f64], uv: f64, wide: usize) -> Assessment {
    let mut leads = strip.microvolts();
    for second in at {
        let first = sample(strip, *second);
        for lead in [1, 7, 8, 9] {
            leads[lead][first..first + wide].iter_mut().for_each(|value| *value += uv);
        }
    }
    check(&strip.recording_of(&leads))
}

#[test]
fn isolated_spikes_are_a_note_and_many_a_warning() {
    let strip = Strip::default();
    // Beats are at 0.35 s and every 0.833 s after; these stand between them.
    for (at, verdict) in
        [(&[0.75, 3.2][..], Verdict::Note), (&[0.75, 3.21, 4.95, 6.6, 7.3][..], Verdict::Warn)]
    {
        for wide in [1, 2] {
            let assessment = with_pulses(&strip, at, -900.0, wide);
            let [finding] = of(&assessment, "spikes")[..] else { panic!("one finding for {at:?}") };
            assert_eq!(finding.verdict, verdict);
            assert!(finding.text.starts_with(&format!("{} spikes in leads II, V2, V3 and V4", at.len())));
            let measured = finding.measured.as_ref().expect("a size").value.to_f64();
            assert!((800.0..=1000.0).contains(&measured), "{measured}");
            let found: Vec<f64> =
                finding.places[0].spans.iter().map(|span| span.start as f64 / 500.0).collect();
            assert_eq!(found.len(), at.len());
            assert!(found.iter().zip(at).all(|(found, made)| (found - made).abs() < 0.005), "{found:?}");
        }
    }
}

#[test]
fn pulses_that_recur_with_the_beats_are_left_alone() {
    let strip = Strip::default();
    for before in [0.05, 0.18] {
        let at: Vec<f64> = strip.beats().iter().map(|beat| beat - before).collect();
        let assessment = with_pulses(&strip, &at, 1500.0, 1);
        assert_eq!(verdicts(&assessment, "spikes"), []);
        let [finding] = of(&assessment, "pacing-like")[..] else { panic!("one finding") };
        assert_eq!(finding.verdict, Verdict::Note);
        // The leads that have them are no worse for it.
        assert!(
            assessment.leads[6..].iter().all(|quality| quality.grade == Grade::Good),
            "{:?}",
            assessment.leads
        );
        assert!(finding.text.contains("narrow pulses recur with the 1"), "{}", finding.text);
        assert!(finding.text.contains("pulses of a pacemaker look so"), "{}", finding.text);
        let ms =
            finding.text.split("mostly ").nth(1).and_then(|rest| rest.split(' ').next()).expect("a time");
        let ms: f64 = ms.parse().expect("a number");
        // A pulse close to the QRS moves its reference point a little.
        assert!((ms - 1000.0 * before).abs() <= 20.0, "{}", finding.text);
        // The pulses are not taken for beats.
        let figures = assessment.rhythm.as_ref().expect("beats");
        assert_eq!(figures.heart_rate.to_string(), "72 /min");
    }
}

#[test]
fn narrow_complexes_and_noise_are_no_spikes() {
    for beats_per_minute in [50.0, 150.0] {
        let tall = Strip { beats_per_minute, ..Strip::default() };
        let leads: Vec<Vec<f64>> =
            tall.microvolts().iter().map(|lead| lead.iter().map(|value| 2.0 * value).collect()).collect();
        assert_eq!(verdicts(&check(&tall.recording_of(&leads)), "spikes"), []);
    }
    let strip = Strip::default();
    let mut leads = strip.microvolts();
    let mut state = 88_172_645_463_325_252_u64;
    for value in leads.iter_mut().flatten() {
        let mut uniform = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        *value += 100.0 * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0);
    }
    assert_eq!(verdicts(&check(&strip.recording_of(&leads)), "spikes"), []);
}

#[test]
fn a_spike_cannot_be_told_on_slow_samples() {
    let assessment = check(&Strip { rate_hz: 200, ..Strip::default() }.recording());
    assert_eq!(verdicts(&assessment, "spikes"), [Verdict::NotAssessed]);
    assert_eq!(verdicts(&assessment, "pacing-like"), [Verdict::NotAssessed]);
}
