//! The synthetic faults of ecgkeep-demo: each is found at the size stated, none on the faultless.

use ecgkeep_checks::{Finding, Verdict};
use ecgkeep_demo::{Demo, Electrode, Fault, Spec, recording};
use ecgkeep_recording::Lead;

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
        assert_eq!(found(seed, fault, "lead-gap", &[])[0].verdict, Verdict::Warn);
    }
}

#[test]
fn clipping_is_found() {
    for seed in SEEDS {
        let fault = Fault::Clipped { lead: Lead::V4, microvolts: 700.0 };
        let findings = found(seed, fault, "signal-clipped", &[]);
        assert_eq!(findings.first().and_then(Finding::lead), Some(&Lead::V4), "seed {seed}");
    }
}

#[test]
fn hum_is_found_at_its_size() {
    for seed in SEEDS {
        for hz in [50.0, 60.0] {
            let findings = found(seed, Fault::Hum { hz, microvolts: 100.0 }, "mains-hum", &[]);
            let measured = findings[0].measured.as_ref().expect("a size").value.to_f64();
            assert!((90.0..=110.0).contains(&measured), "seed {seed}, {hz} Hz: {measured}");
            assert_eq!(findings[0].verdict, Verdict::Warn);
        }
    }
}

#[test]
fn wander_muscle_noise_and_a_jump_are_found() {
    for seed in SEEDS {
        let wander = Fault::Wander { hz: 0.25, microvolts: 800.0 };
        let findings = found(seed, wander, "baseline-wander", &[]);
        let measured = findings[0].measured.as_ref().expect("a size").value.to_f64();
        assert!((1300.0..=1800.0).contains(&measured), "seed {seed}: {measured}");
        let findings =
            found(seed, Fault::MuscleNoise { microvolts_rms: 100.0 }, "muscle-noise", &["cable-limb"]);
        assert!(findings.iter().any(|finding| finding.verdict == Verdict::Warn), "seed {seed}");
        let jump = Fault::ElectrodeJump { electrode: Electrode::C3, at_s: 4.2, microvolts: 2500.0 };
        let findings = found(seed, jump, "baseline-step", &["baseline-wander"]);
        assert!(findings[0].text.contains("lead V3"), "seed {seed}: {}", findings[0].text);
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
