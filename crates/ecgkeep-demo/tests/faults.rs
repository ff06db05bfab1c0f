//! Each fault is in the recording at the size and the place that the truth states, and nowhere else.

use std::f64::consts::TAU;

use ecgkeep_demo::{Demo, Electrode, Fault, FaultTruth, Spec, recording};
use ecgkeep_recording::{Lead, Span};

/// The recording with one fault, and its faultless twin.
fn twins(fault: Fault) -> (Demo, Demo) {
    let spec = Spec { seed: 21, ..Spec::default() };
    (recording(&Spec { faults: vec![fault], ..spec.clone() }), recording(&spec))
}

fn microvolts(demo: &Demo, lead: &Lead) -> Vec<f64> {
    demo.recording.waveforms[0].lead(lead).expect("one of the twelve").microvolts()
}

/// What the fault added to a lead.
fn added(twins: &(Demo, Demo), lead: &Lead) -> Vec<f64> {
    microvolts(&twins.0, lead).iter().zip(microvolts(&twins.1, lead)).map(|(a, b)| a - b).collect()
}

fn fault(demo: &Demo) -> &FaultTruth {
    &demo.truth.faults[0]
}

fn rms(values: &[f64]) -> f64 {
    let n = f64::from(u32::try_from(values.len()).expect("a short recording"));
    (values.iter().map(|value| value * value).sum::<f64>() / n).sqrt()
}

/// Peak size of one frequency by projection on cosine and sine over whole periods (discrete Fourier transform).
fn peak_at(hz: f64, values: &[f64]) -> f64 {
    let (mut cosine, mut sine, mut n) = (0.0, 0.0, 0.0);
    for value in values {
        let angle = TAU * hz * n / 500.0;
        cosine += value * angle.cos();
        sine += value * angle.sin();
        n += 1.0;
    }
    2.0 * cosine.hypot(sine) / n
}

#[test]
fn a_fault_moves_no_beat() {
    let (with, without) = twins(Fault::MuscleNoise { microvolts_rms: 40.0 });
    assert_eq!(with.truth.beats, without.truth.beats);
    assert!(without.truth.faults.is_empty());
}

#[test]
fn hum_and_wander_have_the_stated_frequency_and_size_in_every_lead() {
    for (hz, microvolts) in [(50.0, 120.0), (60.0, 30.0), (49.8, 80.0), (0.3, 700.0)] {
        let fault_asked =
            if hz < 1.0 { Fault::Wander { hz, microvolts } } else { Fault::Hum { hz, microvolts } };
        let twins = twins(fault_asked);
        let truth = fault(&twins.0);
        assert_eq!(truth.samples, Some(Span { start: 0, end: 5000 }));
        let most = truth.leads.iter().map(|(_, size)| *size).fold(0.0, f64::max);
        assert!((most - microvolts).abs() < 1e-9);
        for (lead, size) in &truth.leads {
            let found = peak_at(hz, &added(&twins, lead));
            assert!((found - size).abs() < 0.5, "{hz} Hz in {lead}: {found}, truth {size}");
        }
    }
}

#[test]
fn muscle_noise_has_the_stated_size_and_lies_in_its_band() {
    let twins = twins(Fault::MuscleNoise { microvolts_rms: 80.0 });
    for (lead, size) in &fault(&twins.0).leads {
        let noise = added(&twins, lead);
        assert!((rms(&noise) - size).abs() < 0.5, "{lead}");
        // the mean of 50 samples (0.1 s) holds what is below about 5 Hz
        let slow: Vec<f64> = noise.chunks(50).map(|part| part.iter().sum::<f64>() / 50.0).collect();
        assert!(rms(&slow) < 0.1 * size, "{lead}: {}", rms(&slow));
    }
    let arms = &fault(&twins.0).leads;
    assert!(arms.iter().any(|(lead, size)| *lead == Lead::I && (size - 80.0).abs() < 1e-9), "{arms:?}");
}

#[test]
fn noise_at_the_cables_keeps_the_lead_relations() {
    let demo = twins(Fault::Hum { hz: 50.0, microvolts: 200.0 }).0;
    let [i, ii, iii] = [Lead::I, Lead::II, Lead::III].map(|lead| microvolts(&demo, &lead));
    assert!((0..i.len()).all(|n| (iii[n] - (ii[n] - i[n])).abs() <= 1.0 + 1e-9));
}

#[test]
fn a_flat_lead_is_flat_there_and_nothing_else_changes() {
    let (with, without) = twins(Fault::FlatLead { lead: Lead::V3, from_s: 2.0, to_s: 3.5 });
    assert_eq!(fault(&with).samples, Some(Span { start: 1000, end: 1750 }));
    for lead in Lead::TWELVE {
        let (a, b) = (microvolts(&with, &lead), microvolts(&without, &lead));
        if lead == Lead::V3 {
            assert!(a[1000..1750].iter().all(|value| *value == 0.0));
            assert_eq!((&a[..1000], &a[1750..]), (&b[..1000], &b[1750..]));
        } else {
            assert_eq!(a, b);
        }
    }
}

#[test]
fn missing_samples_are_named_and_a_clipped_lead_stops_at_its_limit() {
    let (with, _) = twins(Fault::Missing { lead: Lead::V6, from_s: 9.0, to_s: 99.0 });
    let v6 = with.recording.waveforms[0].lead(&Lead::V6).expect("one of the twelve");
    assert_eq!(v6.missing, [Span { start: 4500, end: 5000 }]);
    let (with, without) = twins(Fault::Clipped { lead: Lead::V4, microvolts: 800.0 });
    let (clipped, whole) = (microvolts(&with, &Lead::V4), microvolts(&without, &Lead::V4));
    assert!(clipped.iter().zip(&whole).all(|(a, b)| *a == b.clamp(-800.0, 800.0)));
    assert!(clipped.iter().filter(|value| **value == 800.0).count() > 20);
}

#[test]
fn an_electrode_jump_is_a_step_that_returns_within_seconds() {
    let jump = Fault::ElectrodeJump { electrode: Electrode::C2, at_s: 4.0, microvolts: -900.0 };
    let twins = twins(jump);
    let course = added(&twins, &Lead::V2);
    assert!(course[..2000].iter().all(|value| *value == 0.0) && (course[2000] + 900.0).abs() <= 1.0);
    // one time constant of 0.05 Hz, 3.18 s, later: 1 / e is left
    assert!((course[2000 + 1592] + 900.0 / std::f64::consts::E).abs() < 3.0);
    assert_eq!(fault(&twins.0).leads, [(Lead::V2, 900.0)]);
}

#[test]
fn exchanged_arm_cables_invert_lead_i_and_leave_the_chest_alone() {
    // Batchvarov, Malik and Camm 2007 (Europace, eum198): I inverted, II and III exchanged, aVR and aVL exchanged
    let noiseless = Spec { noise_microvolts_rms: 0.0, breathing_microvolts: 0.0, ..Spec::default() };
    let without = recording(&noiseless);
    for fault in [Fault::ExchangedArms, Fault::ExchangedCables(Electrode::LeftArm, Electrode::RightArm)] {
        let with = recording(&Spec { faults: vec![fault], ..noiseless.clone() });
        let of = |demo: &Demo, lead: Lead| microvolts(demo, &lead);
        let inverted: Vec<f64> = of(&without, Lead::I).iter().map(|value| -value).collect();
        assert_eq!(of(&with, Lead::I), inverted);
        assert_eq!(of(&with, Lead::II), of(&without, Lead::III));
        assert_eq!(of(&with, Lead::AVR), of(&without, Lead::AVL));
        assert_eq!(of(&with, Lead::AVF), of(&without, Lead::AVF));
        assert_eq!(of(&with, Lead::V5), of(&without, Lead::V5));
        assert_eq!(with.truth.axis_deg, without.truth.axis_deg, "the heart did not turn");
    }
}

#[test]
fn a_cable_exchanged_with_the_neutral_one_leaves_a_flat_limb_lead() {
    // Rudiger et al. 2003 (Am J Emerg Med 21:574): very low QRS in one of I, II, III
    let exchange = Fault::ExchangedCables(Electrode::RightArm, Electrode::RightLeg);
    let (with, without) = twins(exchange);
    assert!(rms(&microvolts(&with, &Lead::II)) < 5.0);
    assert!(rms(&microvolts(&without, &Lead::II)) > 80.0);
}

#[test]
fn faults_of_identity_leave_one_identifier_or_no_operator() {
    let (with, without) = twins(Fault::NoIdentifier);
    let subject = &with.recording.subject;
    assert!(subject.identifiers.is_empty() && subject.birth_date.is_none());
    assert_eq!(subject.name, without.recording.subject.name);
    assert_eq!(with.recording.waveforms, without.recording.waveforms);
    let (with, without) = twins(Fault::NoOperator);
    assert!(with.recording.acquisition.operators.is_empty());
    assert!(!without.recording.acquisition.operators.is_empty());
}

#[test]
fn a_short_recording_is_the_start_of_the_long_one() {
    let (short, long) = twins(Fault::Short { seconds: 4.0 });
    assert_eq!(short.recording.waveforms[0].length(), 2000);
    for lead in Lead::TWELVE {
        assert_eq!(microvolts(&short, &lead), microvolts(&long, &lead)[..2000]);
    }
    assert!(long.truth.beats.starts_with(&short.truth.beats));
}
