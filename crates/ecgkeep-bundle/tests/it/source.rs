//! A folder of a bundle as a source.

use ecgkeep_bundle::{pack, safe_names};
use ecgkeep_format::{Kind, Source as _};

use crate::sample::{self, STEM, info, member};

#[test]
fn a_folder_of_a_bundle_answers_by_the_original_names() {
    let originals = ["Mühle 7.hea", "Mühle 7.dat", "notes.txt"].map(str::to_owned);
    let names = safe_names(&originals);
    let members =
        names.iter().map(|(original, safe)| member(&format!("data/original/{safe}"), original.as_str()));
    let other = member("data/wfdb/x.hea", "x");
    let bundle = sample::open(pack(STEM, &info(), members.chain([other]).collect()).unwrap()).unwrap();
    let source = bundle.source("data/original", &names, "Mühle 7.hea").unwrap();
    assert_eq!(source.main(), "Mühle 7.hea");
    assert_eq!(source.names().unwrap(), ["Mühle 7.dat", "Mühle 7.hea", "notes.txt"]);
    for original in &originals {
        assert_eq!(&*source.bytes(original, 100).unwrap(), original.as_bytes());
    }
    assert_eq!(source.bytes("notes.txt", 8).unwrap_err().kind(), Kind::Limit);
    assert_eq!(source.bytes("x.hea", 100).unwrap_err().kind(), Kind::Io);
    assert_eq!(source.bytes("../wfdb/x.hea", 100).unwrap_err().kind(), Kind::Malformed);
    let own = bundle.source("data/wfdb", &[], "x.hea").unwrap();
    assert_eq!(own.names().unwrap(), ["x.hea"]);
}

#[test]
fn a_source_ends_at_the_folders_within_its_folder() {
    let bundle = sample::open(sample::bytes()).unwrap();
    assert_eq!(bundle.source("data", &[], "report.svg").unwrap().names().unwrap(), ["report.svg"]);
}

#[test]
fn an_index_of_names_that_does_not_fit_is_refused() {
    let bundle = sample::open(sample::bytes()).unwrap();
    let pair = |original: &str, safe: &str| (original.to_owned(), safe.to_owned());
    for (names, main) in [
        (vec![pair("a", "none")], "1.hea"),
        (vec![pair("x", "1.hea"), pair("x", "1.dat")], "x"),
        (vec![pair("1.dat", "1.hea")], "1.dat"),
        (vec![pair("x", "1.hea"), pair("y", "1.hea")], "x"),
        (vec![], "2.hea"),
    ] {
        let error = bundle.source("data/original", &names, main).unwrap_err();
        assert_eq!(error.kind(), Kind::Malformed, "{error}");
    }
}
