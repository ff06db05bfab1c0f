//! `schemas/bagit-profile.json` says what verify asks for.

use ecgkeep_bundle::{FaultKind, PROFILE_IDENTIFIER, pack};
use serde_json::{Value, json};

use crate::by_hand::{stored, zip};
use crate::sample::{self, STEM};

fn profile() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../schemas/bagit-profile.json");
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

#[test]
fn the_profile_names_itself_as_every_bundle_does() {
    let profile = profile();
    assert_eq!(profile["BagIt-Profile-Info"]["BagIt-Profile-Identifier"], PROFILE_IDENTIFIER);
    let info = sample::open(sample::bytes()).unwrap().info().unwrap();
    assert!(info.contains(&("BagIt-Profile-Identifier".to_owned(), PROFILE_IDENTIFIER.to_owned())));
    // BagIt Profiles 1.4.0: these must be there, and these have the values of our bundles.
    for key in ["Source-Organization", "External-Description", "Version", "BagIt-Profile-Version"] {
        assert!(profile["BagIt-Profile-Info"][key].is_string(), "{key}");
    }
    for key in ["Manifests-Required", "Manifests-Allowed", "Tag-Manifests-Required", "Tag-Manifests-Allowed"]
    {
        assert_eq!(profile[key], json!(["sha512"]), "{key}");
    }
    assert_eq!(profile["Allow-Fetch.txt"], json!(false));
    assert_eq!(profile["Data-Empty"], json!(false));
    assert_eq!(profile["Serialization"], "required");
    assert_eq!(profile["Accept-Serialization"], json!(["application/zip"]));
    assert_eq!(profile["Accept-BagIt-Version"], json!(["1.0"]));
}

#[test]
fn every_label_that_the_profile_requires_is_asked_for_and_no_other() {
    for (label, rule) in profile()["Bag-Info"].as_object().unwrap() {
        let bundle = sample::open(sample::bytes()).unwrap();
        let kept = bundle.info().unwrap().into_iter().filter(|(own, _)| own != label);
        let text: String = kept.map(|(label, value)| format!("{label}: {value}\n")).collect();
        let path = |name: &str| format!("{STEM}/{name}");
        let entries: Vec<_> = bundle
            .members()
            .map(|name| match name {
                "bag-info.txt" => stored(&path(name), text.as_bytes()),
                _ => stored(&path(name), &bundle.member(name).unwrap()),
            })
            .collect();
        let faults = sample::open(zip(&entries)).unwrap().verify();
        let is_asked_for = faults
            .iter()
            .any(|fault| fault.kind == FaultKind::Malformed && fault.what.contains(label.as_str()));
        assert_eq!(rule["required"] == json!(true), is_asked_for, "{label}: {faults:?}");
    }
}

#[test]
fn a_label_that_the_profile_does_not_repeat_cannot_be_repeated() {
    for (label, rule) in profile()["Bag-Info"].as_object().unwrap() {
        let mut info = sample::info();
        info.push((label.clone(), "2026-11-25".to_owned()));
        let is_refused = pack(STEM, &info, sample::members()).is_err();
        assert_eq!(is_refused, rule["repeatable"] == json!(false), "{label}");
    }
}
