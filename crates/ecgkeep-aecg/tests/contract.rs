//! The contract of a format, over every recording of the corpus: each difference is stated, nothing is made up, every
//! limit that is claimed is seen.

use ecgkeep_aecg::AECG;
use ecgkeep_format::{Carries, Options};
use ecgkeep_recording::{Change, Field};

#[expect(dead_code, reason = "this crate is one format and needs a part of what the workspace's tests share")]
#[path = "../../../tests/harness/contract.rs"]
mod contract;
#[path = "../../../tests/harness/corpus.rs"]
mod corpus;

#[test]
fn every_difference_is_stated_and_every_claim_is_seen() {
    let mut trials = Vec::new();
    let mut faults = Vec::new();
    for named in corpus::all() {
        let trial = contract::trial(&AECG, &named.recording, &Options::default());
        faults.extend(trial.refused.iter().map(|why| format!("{}: refused: {why}", named.name)));
        faults.extend(trial.faults.iter().map(|fault| format!("{}: {fault}", named.name)));
        trials.push(trial);
    }
    faults.extend(contract::claims_without_a_loss(&AECG, &trials));
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_samples_of_plain_recordings_come_back() {
    for named in corpus::plain() {
        let trial = contract::trial(&AECG, &named.recording, &Options::default());
        let back = trial.back.expect("is written");
        assert_eq!(back.fingerprint(), named.recording.fingerprint(), "{}", named.name);
    }
}

/// What was read is written in one way only.
#[test]
fn a_document_that_was_read_is_written_byte_for_byte_again() {
    let write =
        |recording| ecgkeep_format::write(&AECG, &[recording], "r", &Options::default()).expect("is written");
    for named in corpus::all() {
        let mut written = write(named.recording);
        let lost_nothing = written.losses.is_empty();
        for round in 0..2 {
            let read = contract::read_files(&AECG, written.files.clone()).and_then(|read| read.one());
            let (back, notes) = read.expect("is read");
            assert!(notes.is_empty(), "{}: {notes:?}", named.name);
            let again = write(back);
            assert_eq!(again.losses, [], "{}", named.name);
            // an empty text is not told from none, so only the first document may differ
            let same = again.files == written.files;
            assert!(same || (round == 0 && !lost_nothing), "{}: the next document differs", named.name);
            written = again;
        }
    }
}

#[test]
fn no_field_of_a_recording_without_patient_is_made_up() {
    let mut recording = ecgkeep_demo::small();
    recording.subject = Default::default();
    recording.acquisition = Default::default();
    let written = ecgkeep_format::write(&AECG, &[recording], "r", &Options::default()).expect("is written");
    assert!(written.losses.iter().all(|loss| !matches!(loss.change, Change::Added { .. })));
    let text = String::from_utf8(written.files[0].bytes.clone()).expect("is UTF-8");
    assert_eq!(text.matches("<id nullFlavor=\"NI\"/>").count(), 3, "recording, subject and trial: {text}");
    assert!(matches!(ecgkeep_format::Format::carries(&AECG, Field::Length), Carries::Exact));
}
