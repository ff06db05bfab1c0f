//! Whether a recording is none of a patient, but a test of the machine or a demonstration.

use ecgkeep_recording::{Filing, Recording, Subject};

use crate::Policy;

/// Words that name a test where a patient should be named; each counts only while it stands among the policy's
/// placeholders (common practice, no source).
const TEST_WORDS: [&str; 2] = ["test", "demo"];

/// Why this is a test recording, as a sentence; `None` where nothing says so.
///
/// It is one where the person who files it says so, or where name, identifier or order number consist of placeholders
/// and numbers alone and name a test: `TEST PATIENT`, `Demo 3`. A patient whose family name is Test and who has a given
/// name is none.
#[must_use]
pub fn test_recording(recording: &Recording, filing: Option<&Filing>, policy: &Policy) -> Option<String> {
    if let Some(filing) = filing.filter(|filing| filing.test_recording) {
        let who = filing.supplied_by.line();
        let who = if who.is_empty() { "a person not named".to_owned() } else { who };
        return Some(format!("said so beside the file by {who}"));
    }
    let beside = filing.map(|filing| &filing.subject);
    let subjects = [("file", Some(&recording.subject)), ("filing", beside)];
    let of_subjects = subjects.into_iter().find_map(|(whose, subject)| named(whose, subject?, policy));
    of_subjects.or_else(|| {
        let order =
            recording.acquisition.order_number.as_deref().filter(|order| names_a_test(order, policy))?;
        Some(format!("the file gives the order number \"{}\"", order.trim()))
    })
}

fn named(whose: &str, subject: &Subject, policy: &Policy) -> Option<String> {
    let name = subject.name.line();
    if names_a_test(&name, policy) {
        return Some(format!("the {whose} names the patient \"{}\"", name.trim()));
    }
    let identifier = subject.identifiers.iter().find(|identifier| names_a_test(&identifier.value, policy))?;
    Some(format!("the {whose} gives the identifier \"{}\"", identifier.value.trim()))
}

fn names_a_test(text: &str, policy: &Policy) -> bool {
    let words = words(text);
    let placeholders: Vec<String> = policy.placeholders.iter().flat_map(|word| self::words(word)).collect();
    let is_placeholder = |word: &String| placeholders.contains(word);
    let is_number = |word: &String| word.chars().all(char::is_numeric);
    words.iter().all(|word| is_placeholder(word) || is_number(word))
        && words.iter().any(|word| TEST_WORDS.contains(&word.as_str()))
}

fn words(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    words.map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use ecgkeep_recording::{Identifier, Person, PersonName};

    use super::*;

    fn of(name: &str, identifier: &str) -> Option<String> {
        let mut recording = Recording::default();
        recording.subject.name = PersonName::from_text(name);
        recording.subject.identifiers =
            vec![Identifier { value: identifier.into(), ..Identifier::default() }];
        test_recording(&recording, None, &Policy::default())
    }

    #[test]
    fn a_name_or_number_that_names_a_test_makes_one() {
        assert_eq!(of("TEST PATIENT", "1").as_deref(), Some("the file names the patient \"TEST PATIENT\""));
        for name in ["test", "Patient, Test", "Test Test 2", "demo"] {
            assert!(of(name, "LK-20417").is_some(), "{name}");
        }
        assert_eq!(of("", "TEST-001").as_deref(), Some("the file gives the identifier \"TEST-001\""));
    }

    #[test]
    fn a_person_is_no_test() {
        for name in ["Anna Test", "Test, Wilhelmina", "Wren Aldous", "unknown", "patient", ""] {
            assert_eq!(of(name, "LK-20417"), None, "{name}");
        }
        assert_eq!(of("Wren Aldous", "20417"), None);
    }

    #[test]
    fn who_files_it_can_say_so_and_a_policy_can_drop_the_words() {
        let filing = Filing {
            supplied_by: Person { name: PersonName::from_text("R. Quill"), ..Person::default() },
            test_recording: true,
            ..Filing::default()
        };
        let reason = test_recording(&Recording::default(), Some(&filing), &Policy::default());
        assert_eq!(reason.as_deref(), Some("said so beside the file by R. Quill"));
        let mut recording = Recording::default();
        recording.subject.name = PersonName::from_text("Test");
        let policy = Policy { placeholders: vec!["unknown".into()], ..Policy::default() };
        assert_eq!(test_recording(&recording, None, &policy), None);
    }
}
