//! The list of rules.

use ecgkeep_checks::{CAUTIONS, Policy, RULES, Verdict, rule};

#[test]
fn every_rule_explains_itself() {
    let policy = Policy::default();
    for (index, one) in RULES.iter().enumerate() {
        let parts = [one.title, one.word, one.rule, one.source, one.limits, one.what_to_do];
        assert!(parts.iter().all(|part| !part.trim().is_empty()), "{}", one.code);
        assert!(
            one.code.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-' || byte.is_ascii_digit())
        );
        assert!(RULES[..index].iter().all(|other| other.code != one.code), "{} twice", one.code);
        assert!(rule(one.code).is_some_and(|found| found.title == one.title));
        assert!(!(one.threshold)(&policy).contains("NaN"));
    }
    assert!(rule("no-such-rule").is_none());
}

#[test]
fn verdicts_are_ordered_by_gravity_and_spelt_in_capitals() {
    assert!(Verdict::Note < Verdict::NotAssessed && Verdict::NotAssessed < Verdict::Warn);
    assert!(Verdict::Warn < Verdict::Fail);
    assert_eq!(Verdict::NotAssessed.to_string(), "NOT ASSESSED");
}

#[test]
fn the_cautions_say_what_the_checks_are_not() {
    let all = CAUTIONS.join(" ");
    for words in ["Not a diagnosis", "does not mean a normal ECG", "left arm and left leg", "over-read"] {
        assert!(all.contains(words), "{words}");
    }
}

#[test]
fn an_answer_as_json_carries_measured_value_threshold_unit_and_source() {
    let strip = crate::synthetic::Strip { seconds: 7.5, ..Default::default() };
    let json = serde_json::to_value(crate::synthetic::check(&strip.recording())).expect("an answer");
    assert_eq!(json["policy"], "resting-adult");
    let finding = &json["findings"][0];
    assert_eq!(finding["code"], "duration");
    assert_eq!(finding["verdict"], "warn");
    assert_eq!(finding["measured"]["value"], "7.5");
    assert_eq!(finding["threshold"]["unit"], "s");
    assert!(finding["source"].as_str().is_some_and(|source| source.contains("common practice")));
}
