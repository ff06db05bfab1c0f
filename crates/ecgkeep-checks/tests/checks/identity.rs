//! Whose recording it is, by whom and when it was made.

use crate::synthetic::{Strip, check, check_filed, filing, of, verdicts};
use ecgkeep_checks::{Policy, Verdict, run};
use ecgkeep_recording::{Identifier, Person, PersonName, Subject};

#[test]
fn three_identifiers_are_present_but_never_compared_with_the_patient() {
    let assessment = check(&Strip::default().recording());
    assert!(of(&assessment, "identity-two-identifiers").is_empty());
    assert_eq!(
        assessment.identity_line(),
        "three identifiers present: identifier, name, birth date; not compared with the patient"
    );
    assert!(!assessment.unidentified);
}

#[test]
fn one_identifier_is_a_fail_and_sex_and_age_do_not_count() {
    let mut recording = Strip::default().recording();
    recording.subject.name = PersonName::default();
    recording.subject.birth_date = None;
    recording.subject.sex = Some(ecgkeep_recording::Sex::Female);
    recording.subject.age = Some(ecgkeep_recording::Quantity::new(64, "a"));
    let assessment = check(&recording);
    let [finding] = of(&assessment, "identity-two-identifiers")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Fail);
    assert_eq!(finding.text, "1 of the 2 identifiers asked for are present (identifier)");
    assert!(assessment.unidentified);
}

#[test]
fn placeholder_words_are_no_identifier_and_no_operator() {
    for word in ["UNKNOWN", " unknown ", "0", "000", "TEST", "\u{2014}", "-", "N/A", ""] {
        let mut recording = Strip::default().recording();
        recording.subject.identifiers[0].value = word.into();
        recording.subject.name = PersonName::from_text(word);
        recording.acquisition.operators = vec![Person::named(word)];
        let assessment = check(&recording);
        assert_eq!(verdicts(&assessment, "identity-two-identifiers"), [Verdict::Fail], "{word:?}");
        assert_eq!(verdicts(&assessment, "identity-operator"), [Verdict::Fail], "{word:?}");
    }
}

#[test]
fn an_operator_known_by_staff_number_alone_is_named() {
    let mut recording = Strip::default().recording();
    let id = Identifier { value: "S-17".into(), ..Identifier::default() };
    recording.acquisition.operators = vec![Person { id: Some(id), ..Person::default() }];
    assert!(of(&check(&recording), "identity-operator").is_empty());
    recording.acquisition.operators.clear();
    assert_eq!(verdicts(&check(&recording), "identity-operator"), [Verdict::Fail]);
}

#[test]
fn a_filing_supplies_what_the_file_cannot_carry_and_its_use_is_said() {
    let mut recording = Strip::default().recording();
    recording.subject = Subject::default();
    recording.acquisition.operators.clear();
    let mut filing = filing();
    filing.subject = crate::synthetic::patient();
    filing.subject.birth_date = None;
    filing.acquisition.operators = vec![Person::named("T. Okafor")];
    let assessment = check_filed(&recording, &filing);
    assert_eq!(verdicts(&assessment, "identity-two-identifiers"), []);
    assert_eq!(verdicts(&assessment, "identity-operator"), []);
    assert_eq!(
        assessment.identity_line(),
        "two identifiers present: identifier, name (all supplied beside the file by M. Brandt); not compared with the \
         patient"
    );
}

#[test]
fn an_emergency_policy_records_an_unidentified_patient_and_marks_it() {
    let mut recording = Strip::default().recording();
    recording.subject = Subject::default();
    let policy = Policy { unidentified_allowed: true, ..Policy::default() };
    let assessment = run(&recording, None, &policy, &"2026-03-02T12:00Z".parse().unwrap());
    let [finding] = of(&assessment, "identity-two-identifiers")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Warn);
    assert!(finding.text.starts_with("UNIDENTIFIED patient"), "{}", finding.text);
    assert!(assessment.unidentified);
}

#[test]
fn the_time_of_recording_must_be_plausible() {
    for (start, verdict) in [
        ("", vec![Verdict::Fail]),
        ("T09:14", vec![Verdict::Fail]),
        ("2026-03-02", vec![Verdict::Warn]),
        ("2026-03-03T11:59", vec![]),
        ("2026-03-03T12:01", vec![Verdict::Fail]),
        ("2026-03-03T13:00:00+02:00", vec![]),
        ("1961-04-29T10:00", vec![Verdict::Fail]),
        ("1961-04-30T10:00", vec![]),
        ("1970-01-01T00:00", vec![Verdict::Warn]),
    ] {
        let mut recording = Strip::default().recording();
        recording.acquisition.start =
            if start.is_empty() { Default::default() } else { start.parse().expect("a time") };
        assert_eq!(verdicts(&check(&recording), "identity-time"), verdict, "{start:?}");
    }
}

#[test]
fn a_birth_date_known_to_the_year_does_not_contradict_a_recording_of_that_year() {
    let mut recording = Strip::default().recording();
    recording.subject.birth_date = Some("2026".parse().unwrap());
    assert_eq!(verdicts(&check(&recording), "identity-time"), []);
    recording.subject.birth_date = Some("2026-04".parse().unwrap());
    assert_eq!(verdicts(&check(&recording), "identity-time"), [Verdict::Fail]);
    recording.subject.birth_date = Some("1861".parse().unwrap());
    assert_eq!(verdicts(&check(&recording), "identity-time"), [Verdict::Warn]);
}

#[test]
fn without_a_clock_the_future_is_not_assessed() {
    let recording = Strip::default().recording();
    let assessment = run(&recording, None, &Policy::default(), &Default::default());
    assert_eq!(verdicts(&assessment, "identity-time"), [Verdict::NotAssessed]);
    assert_eq!(assessment.not_assessed(), 1);
}

#[test]
fn a_conflict_between_file_and_filing_is_a_fail_that_shows_both() {
    let recording = Strip::default().recording();
    let mut filing = filing();
    filing.subject.name = PersonName::from_text("Ida Nilsen");
    let assessment = check_filed(&recording, &filing);
    let [finding] = of(&assessment, "filing-conflict")[..] else { panic!("one finding") };
    assert_eq!(finding.verdict, Verdict::Fail);
    assert_eq!(
        finding.text,
        "patient name: the file says \"Ada Nilsen\", supplied beside the file by M. Brandt is \"Ida Nilsen\""
    );
}

#[test]
fn every_kind_of_field_that_both_sides_state_is_held_against_the_other() {
    type Change = fn(&mut ecgkeep_recording::Filing);
    let changes: [(&str, Change); 9] = [
        ("patient identifier", |f| {
            f.subject.identifiers = vec![Identifier { value: "LM-004712".into(), ..Identifier::default() }];
        }),
        ("birth date", |f| f.subject.birth_date = Some("1961-04-29".parse().unwrap())),
        ("sex", |f| f.subject.sex = Some(ecgkeep_recording::Sex::Male)),
        ("operator", |f| f.acquisition.operators = vec![Person::named("K. Lindqvist")]),
        ("acquisition time", |f| f.acquisition.start = "2026-03-02T09:15".parse().unwrap()),
        ("order number", |f| f.acquisition.order_number = Some("A-2".into())),
        ("low-pass filter", |f| f.acquisition.filters.low_pass_hz = Some(40.into())),
        ("recording device, serial", |f| f.acquisition.recorder.serial = Some("2".into())),
        ("height", |f| f.subject.height = Some(ecgkeep_recording::Quantity::new(171, "cm"))),
    ];
    let mut recording = Strip::default().recording();
    recording.subject.sex = Some(ecgkeep_recording::Sex::Female);
    recording.subject.height = Some(ecgkeep_recording::Quantity::new(170, "cm"));
    recording.acquisition.order_number = Some("A-1".into());
    recording.acquisition.filters.low_pass_hz = Some(150.into());
    recording.acquisition.recorder.serial = Some("1".into());
    for (field, change) in changes {
        let mut filing = filing();
        change(&mut filing);
        let assessment = check_filed(&recording, &filing);
        let [finding] = of(&assessment, "filing-conflict")[..] else { panic!("one finding for {field}") };
        assert!(finding.text.starts_with(&format!("{field}: ")), "{}", finding.text);
        assert_eq!(finding.verdict, Verdict::Fail);
    }
}

#[test]
fn what_agrees_in_other_words_is_no_conflict() {
    let mut recording = Strip::default().recording();
    recording.subject.identifiers[0].assigner = Some("Larkmoor".into());
    let mut filing = filing();
    filing.subject.name = PersonName::from_text("NILSEN, ADA");
    filing.subject.birth_date = Some("1961".parse().unwrap());
    filing.subject.identifiers = vec![
        Identifier { value: "LM-004711".into(), ..Identifier::default() },
        Identifier { value: "88-1".into(), assigner: Some("Insurance".into()), ..Identifier::default() },
    ];
    filing.acquisition.start = "2026-03-02T09:14".parse().unwrap();
    filing.acquisition.operators = vec![Person::named("t. okafor"), Person::named("K. Lindqvist")];
    filing.acquisition.remarks = vec!["patient cold".into()];
    recording.acquisition.remarks = vec!["second attempt".into()];
    assert_eq!(verdicts(&check_filed(&recording, &filing), "filing-conflict"), []);
}

#[test]
fn two_stated_offsets_are_compared_as_moments() {
    let mut recording = Strip::default().recording();
    recording.acquisition.start = "2026-03-02T09:14:05+01:00".parse().unwrap();
    let mut filing = filing();
    filing.acquisition.start = "2026-03-02T08:14:05Z".parse().unwrap();
    assert_eq!(verdicts(&check_filed(&recording, &filing), "filing-conflict"), []);
    filing.acquisition.start = "2026-03-02T09:14:05Z".parse().unwrap();
    assert_eq!(verdicts(&check_filed(&recording, &filing), "filing-conflict"), [Verdict::Fail]);
}
