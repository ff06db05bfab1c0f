//! The synthetic faults of ecgkeep-demo: each is found at the size stated, none on the faultless.

use ecgkeep_checks::{Finding, Verdict};
use ecgkeep_demo::{Demo, Electrode, Fault, Spec, recording};
use ecgkeep_recording::{Lead, Span};

use crate::synthetic::check;

const SEEDS: std::ops::Range<u64> = 1..13;

fn made(seed: u64, faults: Vec<Fault>) -> Demo {
    recording(&Spec { seed, faults, ..Spec::default() })
}

/// What is more than a note, without what could not be assessed.
fn graver(demo: &Demo) -> Vec<Finding> {
    let findings = check(&demo.recording).findings.into_iter();
    findings.filter(|finding| finding.verdict >= Verdict::Warn).collect()
}

/// The findings of one rule for one fault; no other rule but those named may warn.
fn found(seed: u64, fault: Fault, code: &str, companions: &[&str]) -> Vec<Finding> {
    let demo = made(seed, vec![fault.clone()]);
    for finding in graver(&demo) {
        let is_expected = finding.code == code || companions.contains(&finding.code);
        assert!(is_expected, "seed {seed}, {fault:?}: {}", finding.text);
    }
    check(&demo.recording).findings.into_iter().filter(|finding| finding.code == code).collect()
}

#[test]
fn the_faultless_have_no_finding() {
    for seed in SEEDS {
        let assessment = check(&made(seed, Vec::new()).recording);
        assert_eq!(assessment.findings, [], "seed {seed}");
    }
}

#[test]
fn a_flat_lead_and_missing_samples_are_found() {
    for seed in SEEDS {
        let fault = Fault::FlatLead { lead: Lead::V4, from_s: 2.0, to_s: 5.0 };
        let findings = found(seed, fault, "lead-flat", &[]);
        assert_eq!(findings.len(), 1, "seed {seed}");
        let seconds = findings[0].measured.as_ref().expect("a size").value.to_f64();
        assert!((2.9..=3.2).contains(&seconds), "seed {seed}: {seconds}");
        let fault = Fault::Missing { lead: Lead::V2, from_s: 1.0, to_s: 1.4 };
        let gap = &found(seed, fault, "lead-gap", &[])[0];
        // 0.4 s of 10 s
        assert_eq!(
            (gap.verdict, gap.measured.as_ref().map(ToString::to_string)),
            (Verdict::Warn, Some("4 %".into()))
        );
        assert_eq!(gap.places[0].spans, [Span { start: 500, end: 700 }]);
    }
}

#[test]
fn clipping_is_found() {
    for seed in SEEDS {
        let fault = Fault::Clipped { lead: Lead::V4, microvolts: 700.0 };
        let findings = found(seed, fault, "signal-clipped", &[]);
        assert!(findings[0].text.contains("clipped at 700 uV"), "seed {seed}: {}", findings[0].text);
        assert_eq!(findings.first().and_then(Finding::lead), Some(&Lead::V4), "seed {seed}");
    }
}

/// The first fault's largest size by the truth, in microvolts, and its lead.
fn largest(demo: &Demo) -> (Lead, f64) {
    let leads = demo.truth.faults[0].leads.iter();
    leads.max_by(|a, b| a.1.total_cmp(&b.1)).cloned().expect("the fault touches a lead")
}

/// What was measured, and whether the text names the lead that has most of it by the truth.
fn measured(finding: &Finding, demo: &Demo) -> f64 {
    let (lead, _) = largest(demo);
    let is_named = finding.lead() == Some(&lead) || finding.text.contains(&format!("most in {lead}"));
    assert!(is_named, "{lead}: {}", finding.text);
    finding.measured.as_ref().expect("a size").value.to_f64()
}

#[test]
fn hum_is_found_at_its_size() {
    for seed in SEEDS {
        for hz in [50.0, 60.0, 49.8, 60.2] {
            for microvolts in [60.0, 150.0, 500.0] {
                let fault = Fault::Hum { hz, microvolts };
                let demo = made(seed, vec![fault.clone()]);
                let findings = found(seed, fault, "mains-hum", &[]);
                let (_, size) = largest(&demo);
                // As the bar on real recordings: 10 % or 4 uV, the larger.
                let measured = measured(&findings[0], &demo);
                assert!(
                    (measured - size).abs() <= (0.1 * size).max(4.0),
                    "seed {seed}, {hz} Hz: {measured}, {size}"
                );
                assert_eq!(findings[0].verdict, Verdict::Warn);
            }
        }
    }
}

#[test]
fn wander_is_found_at_its_size() {
    for seed in SEEDS {
        for microvolts in [600.0, 900.0, 1500.0] {
            let fault = Fault::Wander { hz: 0.25, microvolts };
            let demo = made(seed, vec![fault.clone()]);
            let findings = found(seed, fault, "baseline-wander", &[]);
            // The truth is the peak, the finding from lowest to highest; 15 uV of breathing come on top, and the
            // ends of the strip are not looked at.
            let (expected, measured) = (2.0 * largest(&demo).1, measured(&findings[0], &demo));
            assert!((measured - expected).abs() <= 0.15 * expected, "seed {seed}: {measured}, {expected}");
        }
    }
}

#[test]
fn muscle_noise_is_found_at_the_share_above_its_high_pass() {
    for seed in SEEDS {
        for microvolts_rms in [100.0, 200.0] {
            let fault = Fault::MuscleNoise { microvolts_rms };
            let demo = made(seed, vec![fault.clone()]);
            let findings = found(seed, fault, "muscle-noise", &["cable-limb"]);
            assert_eq!(findings[0].verdict, Verdict::Warn, "seed {seed}");
            // Made from about 20 to 120 Hz, measured above about 40 Hz.
            let share = measured(&findings[0], &demo) / largest(&demo).1;
            assert!((0.65..=1.05).contains(&share), "seed {seed}: {share}");
        }
    }
}

#[test]
fn a_jump_is_found_at_its_size_and_time() {
    for seed in SEEDS {
        for microvolts in [1600.0, -2500.0] {
            let fault = Fault::ElectrodeJump { electrode: Electrode::C3, at_s: 4.2, microvolts };
            let demo = made(seed, vec![fault.clone()]);
            let findings = found(seed, fault, "baseline-step", &["baseline-wander"]);
            let (size, measured) = (largest(&demo).1, measured(&findings[0], &demo));
            // What of the waves is left in the medians of both sides comes on top.
            assert!((measured - size).abs() <= 0.2 * size, "seed {seed}: {measured}, {size}");
            let span = findings[0].places[0].spans[0];
            let at = demo.truth.faults[0].samples.expect("where it is").start;
            assert!(span.start.abs_diff(at) <= 10, "seed {seed}: {span:?}, {at}");
        }
    }
}

#[test]
fn exchanged_cables_are_found_and_named() {
    let warned = |seed, fault: Fault| {
        let findings = graver(&made(seed, vec![fault])).into_iter();
        findings.filter(|finding| finding.code.starts_with("cable-")).collect::<Vec<_>>()
    };
    for seed in SEEDS {
        let arms = warned(seed, Fault::ExchangedArms);
        assert!(
            arms.iter().any(|finding| finding.text.contains("right arm and left arm")),
            "seed {seed}: {arms:?}"
        );
        let leg = warned(seed, Fault::ExchangedCables(Electrode::RightArm, Electrode::LeftLeg));
        assert!(
            leg.iter().any(|finding| finding.text.contains("right arm and left leg")),
            "seed {seed}: {leg:?}"
        );
        let neutral = warned(seed, Fault::ExchangedCables(Electrode::RightArm, Electrode::RightLeg));
        assert!(neutral.iter().any(|finding| finding.code == "cable-neutral"), "seed {seed}: {neutral:?}");
    }
}

#[test]
fn identity_and_length_are_found() {
    for (fault, code) in [
        (Fault::NoIdentifier, "identity-two-identifiers"),
        (Fault::NoOperator, "identity-operator"),
        (Fault::Short { seconds: 6.0 }, "duration"),
    ] {
        assert_eq!(found(3, fault, code, &[]).len(), 1, "{code}");
    }
}

#[test]
fn beats_and_rate_are_those_of_the_truth() {
    for seed in SEEDS {
        for heart_rate in [40.0, 65.0, 110.0, 150.0] {
            let demo = recording(&Spec { seed, heart_rate, ..Spec::default() });
            let figures = ecgkeep_checks::rhythm(&demo.recording).expect("beats");
            // 150 ms: ANSI/AAMI EC57 (from memory); beats at the very ends may be cut.
            let window = 75;
            let inner = |at: &&usize| **at > window && **at + window < 5000;
            for beat in demo.truth.beats.iter().filter(inner) {
                let near = figures.beats.iter().any(|found| found.abs_diff(*beat) <= window);
                assert!(near, "seed {seed}, {heart_rate} /min: beat at {beat} missed");
            }
            assert!(figures.beats.len() <= demo.truth.beats.len(), "seed {seed}, {heart_rate} /min");
            let rate = figures.heart_rate.value.to_f64();
            assert!((rate - demo.truth.rate).abs() <= 3.0, "seed {seed}: {rate} for {}", demo.truth.rate);
        }
    }
}
