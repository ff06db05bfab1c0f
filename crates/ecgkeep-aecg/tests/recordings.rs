//! Real recordings, where they are: WFDB to aECG and back, sample for sample.

use std::path::{Path, PathBuf};

use ecgkeep_aecg::AECG;
use ecgkeep_format::{Folder, Format, Limits, Memory, Options, write};
use ecgkeep_recording::Field;
use ecgkeep_wfdb::WFDB;

const RECORDINGS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/recordings/ptbxl");

fn headers_in(folder: &Path, found: &mut Vec<PathBuf>) {
    let Ok(listed) = std::fs::read_dir(folder) else { return };
    for path in listed.flatten().map(|entry| entry.path()) {
        if path.is_dir() {
            headers_in(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "hea") {
            found.push(path);
        }
    }
}

#[test]
fn wfdb_to_aecg_and_back_keeps_every_sample() {
    if !Path::new(RECORDINGS).exists() {
        println!("skipped: WFDB to aECG over real recordings: ../shared/recordings is not here");
        return;
    }
    let mut headers = Vec::new();
    headers_in(Path::new(RECORDINGS), &mut headers);
    headers.sort();
    assert!(headers.len() >= 10, "{} records", headers.len());
    for path in &headers {
        let source = Folder::of(path).expect("a file name");
        let (recording, _) =
            WFDB.read(&source, &Limits::default()).and_then(|read| read.one()).expect("is read");
        let aecg =
            write(&AECG, std::slice::from_ref(&recording), "r", &Options::default()).expect("is written");
        let samples: Vec<String> = aecg
            .losses
            .iter()
            .filter(|loss| {
                matches!(
                    loss.field,
                    Field::Voltage | Field::Rate | Field::Lead | Field::Missing | Field::Length
                )
            })
            .map(ToString::to_string)
            .collect();
        assert!(samples.is_empty(), "{}: {samples:?}", path.display());
        let (back, notes) = AECG
            .read(&Memory::new("r.xml", aecg.files), &Limits::default())
            .and_then(|read| read.one())
            .expect("is read back");
        assert!(notes.is_empty(), "{notes:?}");
        assert_eq!(back.fingerprint(), recording.fingerprint(), "{}", path.display());
        let wfdb = write(&WFDB, &[back], "r", &Options::default()).expect("is written as WFDB");
        let main = wfdb.files.last().expect("a header").name.clone();
        let (again, _) = WFDB
            .read(&Memory::new(main, wfdb.files), &Limits::default())
            .and_then(|read| read.one())
            .expect("is read again");
        assert_eq!(again.fingerprint(), recording.fingerprint(), "{}", path.display());
    }
    println!("{} records", headers.len());
}
