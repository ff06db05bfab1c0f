//! The direction of the QRS complex in leads I and aVR.

use crate::synthetic::{Strip, check, of, recording_of_signals, verdicts};
use ecgkeep_checks::Verdict;
use ecgkeep_recording::Lead;

#[test]
fn a_normal_axis_raises_nothing() {
    for axis_deg in [-30.0, 0.0, 30.0, 60.0, 85.0] {
        let assessment = check(&Strip { axis_deg, ..Strip::default() }.recording());
        assert_eq!(verdicts(&assessment, "polarity-i"), [], "{axis_deg}");
        assert_eq!(verdicts(&assessment, "polarity-avr"), [], "{axis_deg}");
    }
}

#[test]
fn lead_i_upside_down_is_a_note_that_names_other_explanations() {
    let assessment = check(&Strip { axis_deg: 180.0 - 50.0, ..Strip::default() }.recording());
    let [finding] = of(&assessment, "polarity-i")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Note);
    for word in ["infarction", "dextrocardia", "axis deviation", "lung disease", "earlier ECG"] {
        assert!(finding.text.contains(word), "{word}: {}", finding.text);
    }
}

#[test]
fn avr_upright_is_a_note_also_where_avr_is_not_stored() {
    let strip = Strip { axis_deg: -140.0, ..Strip::default() };
    assert_eq!(verdicts(&check(&strip.recording()), "polarity-avr"), [Verdict::Note]);
    let signals = strip.recording().waveforms[0].signals().to_vec();
    let eight = signals.into_iter().filter(|signal| Lead::EIGHT.contains(&signal.lead)).collect();
    assert_eq!(verdicts(&check(&recording_of_signals(500, eight)), "polarity-avr"), [Verdict::Note]);
}

#[test]
fn no_beats_no_judgement() {
    let strip = Strip { seconds: 0.5, ..Strip::default() };
    let assessment = check(&strip.recording());
    let [finding] = of(&assessment, "polarity-i")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::NotAssessed);
    assert!(finding.text.ends_with("no two beats were found"), "{}", finding.text);
}
