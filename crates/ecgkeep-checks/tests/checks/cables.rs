//! Exchanged cables, on computed strips.

use ecgkeep_checks::{Assessment, Verdict};
use ecgkeep_recording::{Code, Coded, Quantity};

use crate::synthetic::{Strip, check, of, verdicts};

/// The strip with I and II replaced by sums of the true ones (factors of I and II), the chest leads shifted.
fn exchanged(strip: &Strip, one: [f64; 2], two: [f64; 2], shift: [f64; 2]) -> Assessment {
    check(&strip.recording_of(&leads_exchanged(strip, one, two, shift)))
}

fn leads_exchanged(strip: &Strip, one: [f64; 2], two: [f64; 2], shift: [f64; 2]) -> Vec<Vec<f64>> {
    let true_leads = strip.microvolts();
    let mix = |[a, b]: [f64; 2]| -> Vec<f64> {
        true_leads[0].iter().zip(&true_leads[1]).map(|(x, y)| a * x + b * y).collect()
    };
    let (i, ii, shift) = (mix(one), mix(two), mix(shift));
    let pair = |a: f64, b: f64| -> Vec<f64> { i.iter().zip(&ii).map(|(x, y)| a * x + b * y).collect() };
    let limb =
        [pair(1.0, 0.0), pair(0.0, 1.0), pair(-1.0, 1.0), pair(-0.5, -0.5), pair(1.0, -0.5), pair(-0.5, 1.0)];
    let chest = true_leads[6..].iter().map(|lead| lead.iter().zip(&shift).map(|(x, y)| x + y).collect());
    limb.into_iter().chain(chest).collect()
}

#[test]
fn exchanged_arm_cables_are_named_with_other_explanations() {
    let assessment = exchanged(&Strip::default(), [-1.0, 0.0], [-1.0, 1.0], [0.0, 0.0]);
    let [finding] = of(&assessment, "cable-limb")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Warn);
    for words in ["the right arm and left arm cables", "dextrocardia", "infarction", "earlier ECG"] {
        assert!(finding.text.contains(words), "{words}: {}", finding.text);
    }
    assert!(finding.text.ends_with("not validated for children") || !finding.text.contains("age"));
}

#[test]
fn a_heart_to_the_right_is_told_from_exchanged_arms_by_lead_v6() {
    // Dextrocardia: the limb leads are those of exchanged arms, and the waves shrink from V1 to V6, which looks at the far
    // side of the heart and shows what I shows (common practice, no source).
    let strip = Strip::default();
    let mut leads = leads_exchanged(&strip, [-1.0, 0.0], [-1.0, 1.0], [0.0, 0.0]);
    let (one, tall) = (leads[0].clone(), leads[9].clone());
    for (lead, of_tall) in (6..12).zip([0.8, 0.5, 0.3, 0.15, 0.05, 0.0]) {
        leads[lead] = one.iter().zip(&tall).map(|(i, v)| of_tall * v + (1.0 - of_tall) * 0.5 * i).collect();
    }
    let assessment = check(&strip.recording_of(&leads));
    assert_eq!(verdicts(&assessment, "cable-limb"), [], "V6 goes with I, as no exchange of cables makes it");
    let [finding] = of(&assessment, "polarity-i")[..] else { panic!("lead I is inverted") };
    assert!(finding.text.contains("dextrocardia"), "{}", finding.text);
}

#[test]
fn every_exchange_of_arm_and_leg_cables_but_one_is_found() {
    // Rows of the transformation table (exact algebra; Krasteva, Jekova and Schmid, Sensors 2019;19:2920).
    let found = [
        ([1.0, -1.0], [0.0, -1.0], "the right arm and left leg cables"),
        ([-1.0, 1.0], [-1.0, 0.0], "all three"),
        ([0.0, -1.0], [1.0, -1.0], "all three"),
    ];
    for (one, two, words) in found {
        let assessment = exchanged(&Strip::default(), one, two, [0.0, 0.0]);
        let [finding] = of(&assessment, "cable-limb")[..] else { panic!("one finding for {words}") };
        assert!(finding.text.contains(words), "{}", finding.text);
    }
    let left_arm_left_leg = exchanged(&Strip::default(), [0.0, 1.0], [1.0, 0.0], [0.0, 0.0]);
    assert_eq!(verdicts(&left_arm_left_leg, "cable-limb"), []);
}

#[test]
fn a_right_leg_cable_on_an_arm_flattens_one_limb_lead() {
    let third = 1.0 / 3.0;
    for (one, two, shift, words) in [
        ([1.0, -1.0], [0.0, 0.0], [0.0, -third], "the right arm and right leg cables"),
        ([0.0, 1.0], [0.0, 1.0], [third, -third], "the left arm and right leg cables"),
        ([0.0, 0.0], [1.0, -1.0], [0.0, -third], "both arm cables"),
    ] {
        let assessment = exchanged(&Strip { axis_deg: 65.0, ..Strip::default() }, one, two, shift);
        let [finding] = of(&assessment, "cable-neutral")[..] else { panic!("one finding for {words}") };
        assert_eq!(finding.verdict, Verdict::Warn);
        assert!(finding.text.contains(words), "{}", finding.text);
    }
}

#[test]
fn a_beat_like_those_of_test_signals_has_lead_iii_flat_and_says_which_axis_does_that() {
    // Axis of exactly 30 degrees: III is zero, as in the published test signals and as with the left arm and right
    // leg cables exchanged.
    let assessment = check(&Strip { axis_deg: 30.0, ..Strip::default() }.recording());
    let [finding] = of(&assessment, "cable-neutral")[..] else { panic!("one finding") };
    assert!(finding.text.contains("or an axis near 30 degrees"), "{}", finding.text);
    assert_eq!(verdicts(&assessment, "cable-limb"), []);
}

#[test]
fn a_test_signal_of_one_wave_in_all_leads_raises_no_warning_of_cables() {
    // The geometry of the CAL signals of IEC 60601-2-51 (as told by test laboratories; the waves here are our own): I,
    // II, V1 to V6 identical, III zero, aVR inverted, aVL and aVF half. The left arm and right leg cables exchanged
    // leave the same limb leads.
    let strip = Strip::default();
    let wave = strip.microvolts()[1].clone();
    let times = |factor: f64| wave.iter().map(|value| factor * value).collect::<Vec<f64>>();
    let limb = [1.0, 1.0, 0.0, -1.0, 0.5, 0.5].map(times);
    let leads: Vec<Vec<f64>> = limb.into_iter().chain((0..6).map(|_| wave.clone())).collect();
    // Every lead with a little noise of its own, as an amplifier adds it, or without.
    for noise_uv in [0.0, 4.0] {
        let noisy = |(lead, values): (usize, &Vec<f64>)| {
            let add = |at: usize| noise_uv * (((at * 7919 + lead * 104_729) % 1000) as f64 / 500.0 - 1.0);
            values.iter().enumerate().map(|(at, value)| value + add(at)).collect::<Vec<f64>>()
        };
        let leads: Vec<Vec<f64>> = leads.iter().enumerate().map(noisy).collect();
        let assessment = check(&strip.recording_of(&leads));
        for code in ["cable-neutral", "cable-limb", "cable-chest"] {
            assert_eq!(verdicts(&assessment, code), [Verdict::NotAssessed], "{code}");
            let text = &of(&assessment, code)[0].text;
            assert!(text.ends_with("all leads show one wave: a test signal, and no body"), "{text}");
        }
        assert_eq!(verdicts(&assessment, "polarity-avr"), []);
    }
}

#[test]
fn exchanged_chest_cables_are_named() {
    for (a, b) in [(0, 1), (1, 2), (2, 3)] {
        let strip = Strip::default();
        let mut leads = strip.microvolts();
        leads.swap(6 + a, 6 + b);
        let assessment = check(&strip.recording_of(&leads));
        let [finding] = of(&assessment, "cable-chest")[..] else { panic!("one finding for {a} {b}") };
        let words = format!("the cables of V{} and V{} may be exchanged", a + 1, b + 1);
        assert!(finding.text.starts_with(&words), "{}", finding.text);
        assert_eq!(finding.verdict, Verdict::Warn);
    }
    assert_eq!(verdicts(&check(&Strip::default().recording()), "cable-chest"), []);
}

#[test]
fn children_other_placements_and_beats_without_p_waves_are_not_assessed() {
    let strip = Strip::default();
    let arms = leads_exchanged(&strip, [-1.0, 0.0], [-1.0, 1.0], [0.0, 0.0]);
    let mut child = strip.recording_of(&arms);
    child.subject.birth_date = Some("2018-05-01".parse().expect("a date"));
    let mut infant = strip.recording_of(&arms);
    infant.subject.age = Some(Quantity::new(9, "mo"));
    let mut right_sided = strip.recording_of(&arms);
    right_sided.acquisition.placement = Some(Coded::from_text("right-sided"));
    // Born in 2010 and recorded in March 2026: perhaps not yet sixteen.
    let mut perhaps = strip.recording_of(&arms);
    perhaps.subject.birth_date = Some("2010".parse().expect("a date"));
    let mut a_number = strip.recording_of(&arms);
    let code = Code { system: "a list of the clinic".into(), value: "3".into(), meaning: None };
    a_number.acquisition.placement = Some(Coded { text: None, codes: vec![code] });
    for recording in [child, infant, right_sided, perhaps, a_number] {
        let assessment = check(&recording);
        for code in ["cable-limb", "cable-neutral", "cable-chest"] {
            assert_eq!(verdicts(&assessment, code), [Verdict::NotAssessed], "{code}");
        }
    }
    let mut standard = strip.recording_of(&arms);
    standard.acquisition.placement = Some(Coded::from_text("Standard"));
    assert_eq!(verdicts(&check(&standard), "cable-limb"), [Verdict::Warn]);
}

#[test]
fn an_unknown_age_is_a_caveat() {
    let strip = Strip::default();
    let mut recording = strip.recording_of(&leads_exchanged(&strip, [-1.0, 0.0], [-1.0, 1.0], [0.0, 0.0]));
    recording.subject.birth_date = None;
    let assessment = check(&recording);
    assert!(
        of(&assessment, "cable-limb")[0].text.ends_with("the age is not known: not validated for children")
    );
}
