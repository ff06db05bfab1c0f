//! What each act does to an archive on a real disk.

use std::path::Path;
use std::sync::Arc;

use crate::harness::*;
use ecgkeep_archive::storage::Disk;
use ecgkeep_archive::{
    About, Act, Archive, Checkpoint, Commit, Done, Event, Fate, LONGEST_LINE, Note, Receipt, State, layout,
};
use ecgkeep_format::Kind;

fn new(folder: &Path) -> Archive {
    create(Arc::new(Disk), folder)
}

fn fates(done: &[Done]) -> Vec<Fate> {
    done.iter().map(|done| done.fate).collect()
}

#[test]
fn what_is_filed_is_there_for_others_too() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    let mut other = Archive::open(Arc::new(Disk), folder.path()).unwrap();
    let batch = (0..5).map(|n| file(&archive, n)).collect();
    let done = archive.commit(batch, &commit()).unwrap();
    assert_eq!(done.iter().map(|done| done.line).collect::<Vec<_>>(), [1, 2, 3, 4, 5].map(Some));
    other.refresh().unwrap();
    assert_eq!(other.head(), archive.head());
    let lines: Vec<_> = other.lines(1).map(Result::unwrap).collect();
    assert!(lines.iter().all(|line| line.event == Event::Filed && line.text().len() < LONGEST_LINE));
    for n in 0..5 {
        assert_eq!(other.state(key(n)).unwrap(), State::Filed(1));
        let path = folder.path().join(layout::bundle(key(n), 1));
        assert_eq!(std::fs::read(path).unwrap(), bytes(n, 1));
    }
    assert_eq!(std::fs::read_dir(folder.path().join("tmp")).unwrap().count(), 0);
    let again =
        archive.commit(vec![file(&archive, 3), file(&archive, 9), file(&archive, 9)], &commit()).unwrap();
    assert_eq!(fates(&again), [Fate::AlreadyThere, Fate::New, Fate::AlreadyThere]);
    assert_eq!(archive.size(), 7);
}

#[test]
fn a_line_is_never_earlier_than_the_one_before() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    archive.commit(vec![file(&archive, 1)], &commit_at("2026-03-02T22:10:00Z")).unwrap();
    archive.commit(vec![file(&archive, 2)], &commit_at("2026-03-01T00:00:00Z")).unwrap();
    assert_eq!(archive.line(2).unwrap().at, moment("2026-03-02T22:10:00Z"));
}

#[test]
fn a_correction_follows_the_newest_revision() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    archive.commit(vec![file(&archive, 1), file(&archive, 2)], &commit()).unwrap();
    let mut slow = Archive::open(Arc::new(Disk), folder.path()).unwrap();
    let done = archive.commit(vec![correct(&archive, 1, 2, 1)], &commit()).unwrap();
    assert_eq!((done[0].line, done[0].fate), (Some(3), Fate::New));
    let late = slow.commit(vec![correct(&slow, 1, 2, 1)], &commit()).unwrap();
    assert_eq!(fates(&late), [Fate::Overtaken]);
    // Revision 3 of what line 1 filed, or of another recording: refused, and nothing of the batch is done.
    for of in [1, 2] {
        let batch = vec![file(&archive, 7), correct(&archive, 1, 3, of)];
        assert_eq!(archive.commit(batch, &commit()).unwrap_err().kind(), Kind::Refused);
    }
    assert_eq!(archive.state(key(7)).unwrap(), State::Unknown);
    archive.commit(vec![correct(&archive, 1, 3, 3)], &commit()).unwrap();
    assert_eq!(archive.revisions(key(1)).unwrap(), [1, 2, 3]);
    let line = archive.line(archive.size() - 1).unwrap();
    assert_eq!(
        (line.event, line.about.of, line.about.why),
        (Event::Corrected, Some(3), Some(code("wrong-patient")))
    );
}

#[test]
fn a_line_is_about_the_right_kind_of_earlier_line() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    archive.commit(vec![file(&archive, 1), file(&archive, 2)], &commit()).unwrap();
    let held = |n| About { key: Some(key(n)), authority: Some(code("court")), ..About::default() };
    let done = archive.commit(vec![Act::Line(Event::Held, held(1))], &commit()).unwrap();
    let of = done[0].line;
    for wrong in
        [About { of, ..held(2) }, About { of: Some(1), ..held(1) }, About { of: Some(99), ..held(1) }]
    {
        assert!(archive.commit(vec![Act::Line(Event::Released, wrong)], &commit()).is_err());
    }
    archive.commit(vec![Act::Line(Event::Released, About { of, ..held(1) })], &commit()).unwrap();
    assert!(archive.held(&[key(1)].into()).unwrap().is_empty());
    let made_up = Act::Line(Event::Filed, About { revision: Some(1), ..held(1) });
    assert_eq!(archive.commit(vec![made_up], &commit()).unwrap_err().kind(), Kind::Internal);
}

#[test]
fn an_answer_is_its_owners() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    archive.commit(vec![file(&archive, 1)], &commit()).unwrap();
    let act = Act::Answer { key: key(1), revision: 1, bytes: b"received, with thanks".to_vec(), of: None };
    archive.commit(vec![act], &commit()).unwrap();
    let line = archive.line(2).unwrap();
    let path = folder.path().join(layout::answer(key(1), 1, line.about.sha256.unwrap()));
    assert_eq!(std::fs::read(&path).unwrap(), b"received, with thanks");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        assert_eq!(path.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    }
}

#[test]
fn only_an_admitted_key_signs() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    let [a, ..] = signers();
    let signing = Commit { signer: Some(&a), ..commit() };
    let error = archive.commit(vec![file(&archive, 1)], &signing).unwrap_err();
    assert_eq!(error.kind(), Kind::Refused);
    archive.commit(vec![Act::Key(a.public()), file(&archive, 1)], &signing).unwrap();
    let note = Note::parse(&std::fs::read_to_string(folder.path().join("checkpoints/latest.note")).unwrap())
        .unwrap();
    assert_eq!(note.signers(&archive.keys().unwrap()).unwrap().len(), 1);
    assert_eq!(Checkpoint::of(&note).unwrap(), archive.head());
    let other = ecgkeep_archive::Signer::from_seed(code("records-officer"), &[7; 32]);
    assert!(archive.commit(vec![Act::Key(other.public())], &commit()).is_err(), "one name, two keys");
}

#[test]
fn every_line_has_a_receipt() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    for batch in 0..4 {
        let acts = (0..5).map(|n| file(&archive, batch * 5 + n)).collect();
        archive.commit(acts, &commit()).unwrap();
    }
    for line in archive.lines(0) {
        let line = line.unwrap();
        let receipt = archive.receipt(line.index).unwrap().written();
        let receipt = Receipt::parse(&receipt).unwrap();
        assert_eq!(receipt.proves(line.text().as_bytes()).unwrap(), archive.head());
    }
    assert!(archive.receipt(archive.size()).is_err());
}

#[test]
fn destruction_wants_two_keys_an_adopted_schedule_and_no_hold() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    archive.commit((0..4).map(|n| file(&archive, n)).collect(), &commit()).unwrap();
    archive.commit(vec![correct(&archive, 1, 2, 2), quarantine(&archive, 1)], &commit()).unwrap();
    assert!(archive.commit(vec![destroy(&[1])], &commit()).is_err(), "no key is admitted");
    govern(&mut archive);
    let [a, b, stranger] = signers();
    let ask = request(&[1, 2]);
    let refused = [
        ask.note().written(),
        ask.note().signed(&a).written(),
        ask.note().signed(&a).signed(&a).written(),
        ask.note().signed(&a).signed(&stranger).written(),
        ask.note().signed(&a).signed(&b).written().replace("rule adults", "rule adult"),
        ecgkeep_archive::Request { origin: "elsewhere".into(), ..ask.clone() }
            .note()
            .signed(&a)
            .signed(&b)
            .written(),
        ecgkeep_archive::Request { schedule: ecgkeep_archive::Digest::of(b"other"), ..ask.clone() }
            .note()
            .signed(&a)
            .signed(&b)
            .written(),
        signed(&request(&[1, 99])),
    ];
    for request in refused {
        assert!(
            archive.commit(vec![Act::Destroy { request: request.clone() }], &commit()).is_err(),
            "{request}"
        );
    }
    let hold = About { key: Some(key(2)), authority: Some(code("court")), ..About::default() };
    let held = archive.commit(vec![Act::Line(Event::Held, hold.clone())], &commit()).unwrap()[0].line;
    let error = archive.commit(vec![Act::Destroy { request: signed(&ask) }], &commit()).unwrap_err();
    assert!(error.to_string().contains("is held by line"), "{error}");
    archive.commit(vec![Act::Line(Event::Released, About { of: held, ..hold })], &commit()).unwrap();

    let done =
        archive.commit(vec![file(&archive, 8), Act::Destroy { request: signed(&ask) }], &commit()).unwrap();
    let last = archive.line(done[1].line.unwrap()).unwrap();
    assert_eq!((last.event, last.about.key), (Event::Destroyed, Some(key(2))));
    for n in [1, 2] {
        assert_eq!(archive.state(key(n)).unwrap(), State::Destroyed);
        assert!(archive.revisions(key(n)).unwrap().is_empty());
        assert!(archive.quarantined(key(n)).unwrap().is_none());
        let certificate = std::fs::read_to_string(folder.path().join(layout::certificate(key(n)))).unwrap();
        let certificate: serde_json::Value = serde_json::from_str(&certificate).unwrap();
        let receipt = Receipt::parse(certificate["receipt"].as_str().unwrap()).unwrap();
        receipt.proves(certificate["line"].as_str().unwrap().as_bytes()).unwrap();
        assert_eq!(certificate["files"].as_array().unwrap().len(), if n == 1 { 3 } else { 1 });
    }
    assert_eq!(archive.state(key(3)).unwrap(), State::Filed(1));
    let again =
        archive.commit(vec![file(&archive, 1), Act::Destroy { request: signed(&ask) }], &commit()).unwrap();
    assert_eq!(fates(&again), [Fate::Destroyed, Fate::AlreadyThere]);
    assert_eq!(std::fs::read_dir(folder.path().join("requests/open")).unwrap().count(), 0);
}

#[test]
fn checkpoints_are_kept_by_the_day() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = new(folder.path());
    let times =
        ["2026-03-02T22:10:00Z", "2026-03-03T09:29:59Z", "2026-03-03T09:30:00Z", "2026-03-04T09:00:00Z"];
    for (n, at) in (0..).zip(times) {
        archive.commit(vec![file(&archive, n)], &commit_at(at)).unwrap();
    }
    let mut archive = Archive::open(Arc::new(Disk), folder.path()).unwrap();
    archive.commit(vec![file(&archive, 9)], &commit_at("2026-03-04T09:30:00Z")).unwrap();
    let mut names: Vec<_> = std::fs::read_dir(folder.path().join("checkpoints"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["1.note", "4.note", "6.note", "latest.note"]);
}

#[test]
fn an_archive_is_made_only_where_nothing_is() {
    let folder = tempfile::tempdir().unwrap();
    let make = |path: &Path| Archive::create(Arc::new(Disk), path, &making());
    make(&folder.path().join("new")).unwrap();
    assert_eq!(make(&folder.path().join("new")).err().unwrap().kind(), Kind::Io);
    let other = folder.path().join("other");
    std::fs::create_dir(&other).unwrap();
    std::fs::write(other.join("holiday.jpg"), "x").unwrap();
    assert_eq!(make(&other).err().unwrap().kind(), Kind::Io);
    let origin = |origin: &str| ecgkeep_archive::Making { origin: origin.into(), ..making() };
    for wrong in ["", "two words", "a+b"] {
        let made = Archive::create(Arc::new(Disk), &folder.path().join("wrong"), &origin(wrong));
        assert_eq!(made.err().unwrap().kind(), Kind::Usage);
    }
    assert_eq!(Archive::open(Arc::new(Disk), folder.path()).err().unwrap().kind(), Kind::Io);
}
