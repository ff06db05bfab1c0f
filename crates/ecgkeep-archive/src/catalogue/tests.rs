//! The catalogue against journals made by hand.

use ecgkeep_recording::Identifier;

use super::*;
use crate::line::About;
use crate::query::Query;
use crate::{Amends, ENTRY_SCHEMA, EntryChecks, EntryFile, Patient, Urgency};

fn entry(number: u32, name: &str, identifier: &str) -> Entry {
    let digest = sha256(&number.to_le_bytes());
    Entry {
        schema: ENTRY_SCHEMA.into(),
        key: digest[..32].to_owned(),
        revision: 1,
        amends: None,
        program: "test".into(),
        sealed_at: "2026-03-02T18:00:00Z".parse().unwrap(),
        format: "wfdb".into(),
        edition: None,
        main: "a.hea".into(),
        files: vec![EntryFile {
            name: "a.hea".into(),
            stored_as: "a.hea".into(),
            bytes: 1,
            sha256: digest.clone(),
        }],
        patient: Patient {
            identifiers: vec![Identifier { value: identifier.into(), ..Identifier::default() }],
            name: Some(name.into()),
            birth_date: Some("1971-06-19".into()),
            sex: Some("female".into()),
        },
        start: format!("2026-03-{:02}T08:42:10+01:00", 1 + number % 28).parse().unwrap(),
        operators: vec!["R. Quill (LM-N-031)".into()],
        order_number: Some(format!("O-{number}")),
        sequence_number: Some(number.to_string()),
        device: Some("FW-00718".into()),
        urgency: None,
        leads: vec!["I".into()],
        rate: Some("500".into()),
        seconds: Some("10".into()),
        fingerprint: sha256(format!("samples {number}").as_bytes()),
        damaged: false,
        test_recording: None,
        unidentified: false,
        checks: EntryChecks {
            policy: "resting-adult 1".into(),
            headline: "1 WARN (27 checks)".into(),
            fails: vec![],
            warns: vec!["duration".into()],
        },
        supplied_by: None,
    }
}

/// A journal that grows, and the steps it comes to.
#[derive(Default)]
struct Journal(Vec<Step>);

impl Journal {
    fn line(&mut self, event: Event, about: About, entry: Option<&Entry>) {
        let at = "2026-03-02T09:30:00Z".parse().unwrap();
        let line = Line { index: self.0.len() as u64, at, event, about };
        self.0.push(Step { line, entry: entry.cloned() });
    }

    fn filed(&mut self, entry: &Entry) {
        let about = About {
            key: entry.key.parse().ok(),
            revision: Some(entry.revision),
            sha256: Some(Digest::of(entry.key.as_bytes())),
            bytes: Some(9),
            by: "clerk".parse().ok(),
            ..About::default()
        };
        let event = if entry.revision == 1 { Event::Filed } else { Event::Corrected };
        self.line(event, about, Some(entry));
    }

    fn about(&mut self, event: Event, entry: &Entry) {
        let about = About { key: entry.key.parse().ok(), revision: Some(entry.revision), ..About::default() };
        self.line(event, about, None);
    }

    fn catalogue(&self) -> Catalogue {
        let mut catalogue = Catalogue::in_memory().unwrap();
        catalogue.take(&self.0).unwrap();
        catalogue
    }
}

fn found(catalogue: &Catalogue, query: Query) -> Vec<String> {
    let hits = catalogue.find(&query).unwrap();
    let text = hits.into_iter().map(|hit| match hit {
        Hit::Recording(row) => format!("{} r{}", row.name.unwrap_or_default(), row.revision),
        Hit::CorrectedAway { revision, why, .. } => format!("away r{revision} {why}"),
    });
    text.collect()
}

fn text(text: &str) -> Option<String> {
    Some(text.to_owned())
}

#[test]
fn a_recording_is_found_by_every_term_and_not_by_another() {
    let mut journal = Journal::default();
    let (maren, edric) = (entry(1, "Maren Tallowfield", "LM-1"), entry(2, "Édric Solveng", "LM-2"));
    journal.filed(&maren);
    journal.filed(&edric);
    let catalogue = journal.catalogue();
    let query = Query::default;
    for (terms, other) in [
        (Query { identifier: text("lm-1"), ..query() }, Query { identifier: text("LM"), ..query() }),
        (Query { name: text("tallow maren"), ..query() }, Query { name: text("allow"), ..query() }),
        (Query { order: text("O-1"), ..query() }, Query { order: text("O-3"), ..query() }),
        (Query { digest: text(&maren.fingerprint), ..query() }, Query { digest: text("00"), ..query() }),
        (Query { digest: text(&maren.files[0].sha256), ..query() }, Query { digest: text("aa"), ..query() }),
        (Query { key: text(&maren.key[..8]), ..query() }, Query { key: text("0123456789"), ..query() }),
        (
            Query { to: "2026-03-02".parse().ok(), ..query() },
            Query { from: "2026-03-04".parse().ok(), ..query() },
        ),
    ] {
        assert_eq!(found(&catalogue, terms.clone()), ["Maren Tallowfield r1"], "{terms:?}");
        assert_eq!(found(&catalogue, other.clone()), Vec::<String>::new(), "{other:?}");
    }
    assert_eq!(found(&catalogue, Query { name: text("edric"), ..query() }), ["Édric Solveng r1"]);
    for both in [
        Query { born: "1971-06-19".parse().ok(), ..query() },
        Query { operator: text("quill"), ..query() },
        Query { finding: text("duration"), ..query() },
        Query { verdict: Some(Verdict::Warn), ..query() },
        Query { from: "2026-03".parse().ok(), to: "2026-03".parse().ok(), ..query() },
    ] {
        assert_eq!(found(&catalogue, both.clone()).len(), 2, "{both:?}");
        let one = Query { identifier: text("LM-2"), ..both };
        assert_eq!(found(&catalogue, one), ["Édric Solveng r1"]);
    }
    assert_eq!(catalogue.find(&query()).unwrap_err().kind(), Kind::Usage);
}

#[test]
fn what_was_corrected_away_is_said_without_who_it_is_of_now() {
    let mut journal = Journal::default();
    let wrong = entry(1, "Maren Tallowfield", "LM-1");
    let mut right = entry(1, "Edric Solveng", "LM-2");
    right.revision = 2;
    right.amends = Some(Amends {
        revision: 1,
        sha256: sha256(b""),
        why: "wrong-patient".into(),
        authorised_by: "lead".into(),
        by: "clerk".into(),
    });
    journal.filed(&wrong);
    journal.filed(&right);
    let catalogue = journal.catalogue();
    let of = |identifier: &str| Query { identifier: text(identifier), ..Query::default() };
    assert_eq!(found(&catalogue, of("LM-1")), ["away r1 wrong-patient"]);
    assert_eq!(found(&catalogue, of("LM-2")), ["Edric Solveng r2"]);
    // Both revisions are of that day: the newest is shown, and nothing else.
    let day = Query { from: "2026-03".parse().ok(), ..Query::default() };
    assert_eq!(found(&catalogue, day), ["Edric Solveng r2"]);
}

#[test]
fn the_unsent_stand_most_urgent_first_then_oldest_and_only_an_answer_clears_them() {
    let mut journal = Journal::default();
    let (late, early, mut urgent) = (entry(9, "Late", "1"), entry(3, "Early", "2"), entry(20, "Urgent", "3"));
    urgent.urgency = Some(Urgency { text: "stat".into(), rank: 10 });
    for one in [&late, &early, &urgent] {
        journal.filed(one);
    }
    let names = |journal: &Journal| {
        let rows = journal.catalogue().unsent().unwrap();
        rows.into_iter().filter_map(|row| row.name).collect::<Vec<_>>()
    };
    assert_eq!(names(&journal), ["Urgent", "Early", "Late"]);
    journal.about(Event::Deidentified, &early);
    assert!(journal.catalogue().unsent().unwrap().iter().all(|row| !row.exported), "nothing was handed over");
    journal.about(Event::Exported, &early);
    assert_eq!(names(&journal), ["Urgent", "Early", "Late"], "exported is not yet received");
    journal.about(Event::Acknowledged, &early);
    assert_eq!(names(&journal), ["Urgent", "Late"]);
    let corrected = Entry { revision: 2, ..early };
    journal.filed(&corrected);
    assert_eq!(names(&journal), ["Urgent", "Early", "Late"], "a correction is unsent again");
}

#[test]
fn the_same_samples_and_the_same_identifier_are_held_against_each_other() {
    let mut journal = Journal::default();
    let first = entry(1, "Maren Tallowfield", "LM-1");
    let mut other_samples = entry(2, "Maren Tallowfeld", "LM-1");
    let mut same_samples = entry(3, "Edric Solveng", "LM-2");
    same_samples.fingerprint.clone_from(&first.fingerprint);
    let mut same_both = entry(4, "MAREN TALLOWFIELD", "LM-1");
    same_both.fingerprint.clone_from(&first.fingerprint);
    other_samples.patient.sex = None;
    for one in [&first, &other_samples, &same_samples, &same_both] {
        journal.filed(one);
    }
    let catalogue = journal.catalogue();
    let of = |one: &Entry| catalogue.other_identity(&one.key).unwrap();
    assert_eq!(of(&other_samples).same_identifier.len(), 2, "another name under one identifier");
    assert_eq!(of(&other_samples).same_samples, Vec::<String>::new());
    assert_eq!(of(&same_samples).same_samples.len(), 2);
    assert_eq!(of(&same_samples).same_identifier, Vec::<String>::new());
    assert_eq!(of(&same_both).same_recording, std::slice::from_ref(&first.key));
    assert_eq!(of(&same_both).same_samples, std::slice::from_ref(&same_samples.key));
    assert_eq!(of(&same_both).same_identifier, std::slice::from_ref(&other_samples.key));
}

#[test]
fn bundles_alone_give_the_same_rows_as_the_journal() {
    let mut journal = Journal::default();
    let mut without_journal = Catalogue::in_memory().unwrap();
    for number in [7, 3, 5] {
        let one = entry(number, "Name", "LM");
        journal.filed(&one);
        let digest = Digest::of(one.key.as_bytes());
        without_journal.take_bundles(&[(one, digest, 9)]).unwrap();
    }
    let rows = journal.catalogue().rows_as_text().unwrap();
    assert!(rows.len() > 3);
    assert_eq!(without_journal.rows_as_text().unwrap(), rows);
}

#[test]
fn lines_are_taken_once_in_order_and_destruction_removes_every_row() {
    let mut journal = Journal::default();
    let one = entry(1, "Name", "LM");
    journal.filed(&one);
    journal.about(Event::Held, &one);
    let mut catalogue = journal.catalogue();
    catalogue.take(&journal.0).unwrap();
    assert_eq!(catalogue.position().unwrap().lines, 2);
    assert_eq!(catalogue.held().unwrap().len(), 1);
    journal.about(Event::Destroying, &one);
    let gap = Step { line: Line { index: 7, ..journal.0[2].line.clone() }, entry: None };
    assert_eq!(catalogue.take(&[gap]).unwrap_err().kind(), Kind::Internal);
    catalogue.take(&journal.0).unwrap();
    assert_eq!(catalogue.rows_as_text().unwrap(), Vec::<String>::new());
    assert_eq!((catalogue.held().unwrap().len(), catalogue.destroyed().unwrap().len()), (0, 1));
}

#[cfg(unix)]
#[test]
fn the_file_is_its_owners_and_what_is_no_catalogue_is_made_anew() {
    use std::os::unix::fs::PermissionsExt as _;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("catalogue.sqlite");
    Catalogue::open(&path).unwrap();
    assert_eq!(path.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    std::fs::write(&path, "this is no database, and long enough to be taken for one if nobody looks")
        .unwrap();
    assert_eq!(Catalogue::open(&path).unwrap().position().unwrap().lines, 0);
}

/// The codes are SQLite's (https://sqlite.org/rescode.html): 14 SQLITE_CANTOPEN, 8 SQLITE_READONLY, 3 SQLITE_PERM, 11
/// SQLITE_CORRUPT.
#[test]
fn who_may_not_read_or_write_the_catalogue_is_not_told_to_delete_it() {
    let said = |code| {
        let error = rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(code), None);
        failed(error).to_string()
    };
    for code in [14, 8, 3] {
        let text = said(code);
        assert!(text.contains("a user who may") && !text.contains("delete"), "{text}");
    }
    assert!(said(11).contains("delete catalogue.sqlite"), "{}", said(11));
}
