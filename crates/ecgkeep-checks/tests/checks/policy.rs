//! The policy: what a file may state, what it may not, and in what it differs from the shipped one.

use std::collections::BTreeSet;

use ecgkeep_checks::Policy;

use crate::synthetic::Strip;

/// A policy file that names itself, with one more line.
fn policy(line: &str) -> Policy {
    toml::from_str(&format!("name = \"larkmoor\"\nversion = \"3\"\n{line}\n")).expect("a policy")
}

fn faults(policy: &Policy) -> Vec<String> {
    policy.faults().iter().map(ToString::to_string).collect()
}

#[test]
fn a_policy_file_states_only_what_differs() {
    let policy = policy("off = [\"duration\"]\nflat_seconds_at_most = 2.0");
    let default = Policy::default();
    assert_eq!((policy.name.as_str(), policy.flat_seconds_at_most), ("larkmoor", 2.0));
    assert_eq!((&policy.leads, policy.identifiers_at_least), (&default.leads, default.identifiers_at_least));
    assert_eq!(policy.changes(), ["off with duration", "flat_seconds_at_most 2 (shipped 1)"]);
    assert_eq!(faults(&policy), Vec::<String>::new());
    let error = toml::from_str::<Policy>("flat_second_at_most = 2.0").expect_err("no such threshold");
    assert!(error.to_string().contains("flat_second_at_most"), "{error}");
}

#[test]
fn every_entry_is_described_once() {
    let json = serde_json::to_value(Policy::default()).expect("a policy");
    let stated: BTreeSet<&str> = json.as_object().expect("entries").keys().map(String::as_str).collect();
    let described: BTreeSet<&str> = Policy::TERMS.iter().map(|term| term.name).collect();
    assert_eq!(described, stated);
    assert_eq!(Policy::TERMS.len(), described.len());
    for term in Policy::TERMS {
        assert!(term.about.trim().ends_with('.'), "{}: {}", term.name, term.about);
        assert!(!term.about.contains("\n"), "{}", term.name);
    }
}

#[test]
fn the_shipped_policy_has_no_fault_and_no_change() {
    assert_eq!(faults(&Policy::default()), Vec::<String>::new());
    assert_eq!(Policy::default().changes(), Vec::<String>::new());
    let renamed = policy("");
    assert_eq!((renamed.changes(), faults(&renamed)), (vec![], vec![]));
}

#[test]
fn every_number_is_refused_where_it_is_negative_or_not_finite() {
    let json = serde_json::to_value(Policy::default()).expect("a policy");
    let mut refused = 0;
    for (name, value) in json.as_object().expect("entries") {
        if !value.is_f64() {
            continue;
        }
        for bad in ["-1.0", "nan", "inf", "-inf"] {
            let faults = policy(&format!("{name} = {bad}")).faults();
            let own = faults.iter().find(|fault| fault.terms == [name.as_str()]);
            let own = own.unwrap_or_else(|| panic!("{name} = {bad} is taken"));
            assert!(own.text.contains("must be a number from"), "{}", own.text);
            assert!(own.remedy.starts_with("the shipped policy has "), "{}", own.remedy);
            refused += 1;
        }
    }
    assert!(refused > 150, "{refused}");
}

#[test]
fn values_in_the_wrong_order_are_refused_and_named() {
    for (line, terms) in [
        ("hum_uv_note = 60", ["hum_uv_note", "hum_uv_warn"]),
        ("wander_uv_warn = 400", ["wander_uv_note", "wander_uv_warn"]),
        ("strip_seconds_at_least = 11", ["strip_seconds_at_least", "strip_seconds_at_most"]),
        ("high_pass_hz_warn = 0.01", ["high_pass_hz_at_most", "high_pass_hz_warn"]),
        ("low_pass_hz_at_least = 40", ["low_pass_hz_warn", "low_pass_hz_at_least"]),
        ("heart_rate_per_min_at_most = 30", ["heart_rate_per_min_at_least", "heart_rate_per_min_at_most"]),
    ] {
        let faults = policy(line).faults();
        let [fault] = faults.as_slice() else { panic!("{line}: {faults:?}") };
        assert_eq!(fault.terms, terms, "{line}");
        assert!(fault.text.contains("the first must not be above the second"), "{}", fault.text);
    }
}

#[test]
fn a_changed_policy_needs_a_name_of_its_own() {
    let unnamed: Policy = toml::from_str("hum_uv_warn = 80").expect("a policy");
    let [fault] = &unnamed.faults()[..] else { panic!("one fault") };
    assert_eq!(fault.terms, ["name"]);
    assert!(fault.text.ends_with("differs from it: hum_uv_warn 80 (shipped 50)"), "{}", fault.text);
    let nameless: Policy = toml::from_str("name = \" \"").expect("a policy");
    assert_eq!(nameless.faults()[0].terms, ["name", "version"]);
}

#[test]
fn a_code_that_is_no_rule_cannot_be_switched_off() {
    let [fault] = &policy("off = [\"duration\", \"durations\"]").faults()[..] else { panic!("one fault") };
    assert_eq!(
        (fault.terms.as_slice(), fault.text.as_str()),
        (&["off"][..], "off holds durations, which is no rule")
    );
}

#[test]
fn an_answer_says_in_what_the_policy_differs() {
    let recording = Strip::default().recording();
    let now = "2026-03-02T12:00Z".parse().expect("a time");
    let of = |policy: &Policy| ecgkeep_checks::run(&recording, None, policy, &now);
    assert_eq!(of(&Policy::default()).policy_changes, Vec::<String>::new());
    let changed = of(&policy("leads = [\"II\"]\nplaceholders = [\"nobody\"]"));
    assert_eq!((changed.policy.as_str(), changed.policy_version.as_str()), ("larkmoor", "3"));
    assert!(changed.policy_changes[0].starts_with("placeholders with nobody, without unknown, "));
    assert_eq!(changed.policy_changes[1], "leads without I, III, aVR, aVL, aVF, V1, V2, V3, V4, V5, V6");
}
