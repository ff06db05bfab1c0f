//! The conformance suite LibraryOfCongress/bagit-conformance-suite at 9ab4870: bags as folders, BagIt 0.93 to 1.0.

use std::path::Path;

use ecgkeep_bundle::{FaultKind, bag};

use crate::bag_files::FolderBag;

const SUITE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/hostile/bagit-conformance");

#[test]
fn the_suite_is_judged_as_it_says() {
    let suite = Path::new(SUITE);
    let Ok(expected) = std::fs::read_to_string(suite.join("EXPECTED.tsv")) else {
        println!("skipped: BagIt conformance suite: ../shared/hostile is not here");
        return;
    };
    let mut judged = 0;
    for line in expected.lines().skip(1) {
        let [version, category, case, python] = line.split('\t').collect::<Vec<_>>()[..] else {
            panic!("not four columns: {line}");
        };
        let faults = bag::check(&FolderBag(suite.join(version).join(category).join(case)));
        let is_valid = faults.iter().all(|fault| fault.kind == FaultKind::Hazard);
        let text: Vec<String> = faults.iter().map(ToString::to_string).collect();
        match category {
            "valid" => assert!(is_valid, "{version} {case}: {text:#?}"),
            "invalid" | "linux-only" | "windows-only" => assert!(!is_valid, "{version} {case} is accepted"),
            "warning" => {
                assert!(!faults.is_empty(), "{version} {case} is not flagged");
                // Where the Python reference accepts, only a hazard is reported.
                assert!(is_valid || python == "1", "{version} {case}: {text:#?}");
            }
            other => panic!("unknown category {other}"),
        }
        judged += 1;
    }
    assert_eq!(judged, 60);
}
