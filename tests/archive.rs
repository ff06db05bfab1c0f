//! The archive of many as a records officer needs it: nothing twice, nothing lost, nothing under the wrong name,
//! nothing destroyed that should not be. The numbers are those of the project's acceptance list.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use ecgkeep::archive::{self, Acting, Adding, Archive, Catalogue, Fate, Hit, Key, Query, Signer, Warning};
use ecgkeep::checks::Policy;
use ecgkeep::format::{Error, File, Kind, Memory, Options};
use ecgkeep::recording::{Filing, Identifier, PersonName, Recording};
use ecgkeep::{Correction, Input, PageForm, Reason};

const NOON: &str = "2026-03-02T12:00:00Z";

fn acting(at: &str) -> Acting {
    Acting::new("clerk-1", at.parse().expect("a time"), "test 1").expect("a code")
}

/// A folder and the archive in it.
struct House {
    folder: tempfile::TempDir,
    archive: Archive,
    catalogue: Catalogue,
}

impl House {
    fn new() -> House {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let dir = folder.path().join("archive");
        let archive =
            archive::create(Arc::new(archive::Disk), &dir, "a1", "larkmoor.example/ecg", &acting(NOON), None)
                .expect("an archive is made");
        let catalogue = archive::catalogue(&archive).expect("a catalogue");
        House { folder, archive, catalogue }
    }

    fn dir(&self) -> PathBuf {
        self.folder.path().join("archive")
    }

    fn add(&mut self, sources: &[Source]) -> Vec<archive::Added> {
        add(&mut self.archive, &mut self.catalogue, sources, NOON)
    }

    fn find(&self, identifier: &str) -> Vec<Hit> {
        let query = Query { identifier: Some(identifier.to_owned()), ..Query::default() };
        self.catalogue.find(&query).expect("it can be asked")
    }
}

/// Files, the first of them the main one, and what is supplied beside them.
#[derive(Clone)]
struct Source(Vec<File>, Option<Filing>);

fn add(
    archive: &mut Archive,
    catalogue: &mut Catalogue,
    sources: &[Source],
    at: &str,
) -> Vec<archive::Added> {
    let (acting, policy) = (acting(at), Policy::default());
    let adding = Adding { acting: &acting, signer: None, policy: &policy, from: None };
    let open = |Source(files, filing): &Source| -> Result<(Input, Option<Filing>), Error> {
        Ok((Input::of_memory(Memory::new(files[0].name.clone(), files.clone())), filing.clone()))
    };
    let mut all = Vec::new();
    archive::add(archive, catalogue, sources, &open, &adding, &mut |index, added| {
        assert_eq!(index, all.len(), "in the order of the inputs");
        all.push(added);
    })
    .expect("it can be committed");
    all
}

/// A synthetic recording of a person, different from every other number's.
fn recording(number: i32, name: &str, identifier: &str) -> Recording {
    let mut recording = ecgkeep_demo::small();
    recording.extras.clear();
    recording.subject.identifiers = vec![Identifier { value: identifier.into(), ..Identifier::default() }];
    recording.subject.name = PersonName::from_text(name);
    recording.subject.birth_date = "1971-06-19".parse().ok();
    recording.acquisition.start = "2026-03-02T08:00:00+01:00".parse().expect("a time");
    let signals = std::mem::take(&mut recording.waveforms)
        .into_iter()
        .map(|waveform| {
            let (rate, mut signals) = (waveform.rate(), waveform.into_signals());
            if let Some(sample) = signals.first_mut().and_then(|signal| signal.samples.first_mut()) {
                *sample = number;
            }
            ecgkeep::recording::Waveform::new(rate, signals).expect("it was one before")
        })
        .collect();
    recording.waveforms = signals;
    recording
}

fn source(recording: &Recording) -> Source {
    let format = ecgkeep::format_by_id("json").expect("there is JSON");
    let written = ecgkeep::write(format, std::slice::from_ref(recording), "r", &Options::default());
    Source(written.expect("JSON takes everything").files, None)
}

fn numbered(number: i32) -> Source {
    source(&recording(number, &format!("Person Number{number}"), &format!("LM-{number}")))
}

fn files_below(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("it can be listed") {
            let path = entry.expect("it can be listed").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let bytes = std::fs::read(&path).expect("it can be read");
                files.insert(path, bytes);
            }
        }
    }
    files
}

/// Acceptance 11, at the figure per commit.
#[test]
fn the_same_sources_three_times_in_any_order_are_filed_once() {
    let mut house = House::new();
    let sources: Vec<Source> = (0..120).map(numbered).collect();
    let first = house.add(&sources);
    assert!(first.iter().all(|added| added.fate == Fate::Filed), "{first:?}");
    let bundles = files_below(&house.dir().join("bundles"));
    assert_eq!(bundles.len(), sources.len());
    let size = house.archive.size();
    let mut backwards = sources.clone();
    backwards.reverse();
    let twice: Vec<Source> = sources.iter().chain(&backwards).cloned().collect();
    let again = add(&mut house.archive, &mut house.catalogue, &twice, "2026-03-03T12:00:00Z");
    assert!(again.iter().all(|added| added.fate == Fate::AlreadyThere && added.entry.is_some()));
    assert_eq!(files_below(&house.dir().join("bundles")), bundles, "byte-identical, later or not");
    assert_eq!(house.archive.size(), size, "and the journal says nothing twice");
}

/// Acceptance 11: several committers at once.
#[test]
fn who_opened_the_archive_earlier_does_not_forget_what_others_filed_since() {
    let mut house = House::new();
    let early = archive::open(&house.dir()).expect("it opens");
    let mut catalogue = archive::catalogue(&early).expect("a catalogue");
    house.add(&[numbered(1), numbered(2)]);
    assert!(early.size() < house.archive.size());
    archive::catch_up(&early, &mut catalogue, &BTreeMap::new()).expect("caught up");
    assert_eq!(house.catalogue.position().expect("it is known").lines, house.archive.size());
    assert_eq!(house.catalogue.counts().expect("it counts"), (2, 2));
}

#[test]
fn many_who_add_at_once_file_every_source_once() {
    let house = House::new();
    let dir = house.dir();
    let sources: Vec<Source> = (0..40).map(numbered).collect();
    std::thread::scope(|scope| {
        for worker in 0..4 {
            let (dir, mut sources) = (&dir, sources.clone());
            scope.spawn(move || {
                sources.rotate_left(worker * 7);
                let mut archive = archive::open(dir).expect("it opens");
                let mut catalogue = archive::catalogue(&archive).expect("a catalogue");
                let added = add(&mut archive, &mut catalogue, &sources, NOON);
                assert!(added.iter().all(archive::Added::is_filed), "{added:?}");
            });
        }
    });
    let archive = archive::open(&dir).expect("it opens");
    let filed = archive
        .lines(0)
        .filter(|line| line.as_ref().is_ok_and(|line| line.event == ecgkeep::archive::Event::Filed));
    assert_eq!(filed.count(), sources.len());
    assert_eq!(files_below(&dir.join("bundles")).len(), sources.len());
    assert_eq!(archive::catalogue(&archive).expect("a catalogue").counts().expect("it counts"), (40, 40));
}

fn right_patient(identifier: &str) -> Filing {
    let mut filing = Filing { at: NOON.parse().expect("a time"), ..Filing::default() };
    filing.supplied_by.name = PersonName::from_text("A. Brackwater");
    filing.subject.identifiers = vec![Identifier { value: identifier.into(), ..Identifier::default() }];
    filing.subject.name = PersonName::from_text("Isolde Fennimoor");
    filing
}

fn correct(
    archive: &mut Archive,
    catalogue: &mut Catalogue,
    key: Key,
    filing: &Filing,
    reason: Reason,
) -> Result<archive::Amended, Error> {
    let correction = Correction { filing, reason, authorised_by: "lead-2", by: "clerk-1" };
    archive::amend(archive, catalogue, key, &correction, &Policy::default(), &acting(NOON), None)
}

/// Acceptance 17.
#[test]
fn a_wrong_patient_is_corrected_and_leaves_a_pointer_without_the_other() {
    let mut house = House::new();
    let mut was = recording(1, "Maren Tallowfield", "LM-WRONG");
    // The source carries the wrong patient in places that the model does not name, too.
    was.acquisition.remarks = vec!["bed 3".into()];
    let added = house.add(&[source(&was), numbered(2)]);
    let key = added[0].key.expect("it was filed");
    let path = house.dir().join(archive::bundle_path(key, 1));
    let before = std::fs::read(&path).expect("it is there");

    let got = archive::fetch(&house.archive, &house.catalogue, key, None).expect("it is whole");
    archive::export(&mut house.archive, &[&got], "ward-3", &acting(NOON), None).expect("exported");
    let why = "care".parse().expect("a code");
    got.viewed(&mut house.archive, &acting(NOON), &why, None).expect("viewed");
    let filing = right_patient("LM-RIGHT");
    let amended = correct(&mut house.archive, &mut house.catalogue, key, &filing, Reason::WrongPatient)
        .expect("corrected");
    assert_eq!((amended.before, amended.revision), (1, 2));
    let [viewed] = amended.viewed.as_slice() else { panic!("{:?}", amended.viewed) };
    assert_eq!((viewed.by.as_str(), viewed.at.as_str()), ("clerk-1", NOON));
    assert!(amended.kept.contains(&"remark"), "bed 3 is kept, and said to be: {:?}", amended.kept);
    assert_eq!(std::fs::read(&path).expect("it is there"), before, "revision 1 is byte-identical");

    let now = archive::fetch(&house.archive, &house.catalogue, key, None).expect("it is whole");
    assert_eq!(now.entry.fingerprint, got.entry.fingerprint, "the samples are the same");
    assert_eq!(
        now.entry.amends.as_ref().map(|amends| amends.sha256.as_str()),
        Some(&*got.sha256.to_string())
    );
    let verified = ecgkeep::verify("b.zip", now.bytes.clone()).expect("a bundle");
    assert_eq!((verified.faults, verified.notes), (vec![], vec![]), "re-read and stored differ as amended");
    assert_eq!(archive::reread(&now.bundle), Vec::<String>::new());

    assert!(
        matches!(&house.find("LM-RIGHT")[..], [Hit::Recording(row)] if row.revision == 2 && !row.acknowledged)
    );
    let wrong = house.find("LM-WRONG");
    assert!(
        matches!(&wrong[..], [Hit::CorrectedAway { revision: 1, why, .. }] if why == "wrong-patient"),
        "{wrong:?}"
    );
    assert!(!format!("{wrong:?}").contains("LM-RIGHT") && !format!("{wrong:?}").contains("Fennimoor"));

    // Nothing but the superseded original, the amendments and the file names say who it was.
    for name in now.bundle.members() {
        let text = String::from_utf8_lossy(&now.bundle.member(name).expect("a member")).into_owned();
        let may = name.starts_with("data/original/") || name == "metadata/amendments.json";
        assert!(
            may || !(text.contains("Tallowfield") || text.contains("LM-WRONG")),
            "{name} names the wrong patient"
        );
    }
    let page = now.bundle.member("data/report.svg").expect("a page");
    let page = String::from_utf8_lossy(&page).into_owned();
    assert!(page.contains("Corrected") && page.contains("from revision 1"), "the page says so");

    // The one it was handed to gets a notice that names nobody.
    let [handed_over] = amended.handed_over.as_slice() else { panic!("{:?}", amended.handed_over) };
    assert_eq!((handed_over.receiver.as_str(), handed_over.revision), ("ward-3", 1));
    let notice = archive::retraction(&amended, handed_over).expect("a notice");
    let notice = String::from_utf8(notice.bytes).expect("text");
    for name in ["Tallowfield", "Fennimoor", "LM-WRONG", "LM-RIGHT"] {
        assert!(!notice.contains(name), "{notice}");
    }
    assert!(notice.contains("under the wrong patient"), "{notice}");
    // A second correction has nobody left to tell, and is counted on.
    let operator = {
        let mut filing = Filing::default();
        filing.acquisition.operators = vec![ecgkeep::recording::Person::named("R. Quill")];
        filing
    };
    let third = correct(&mut house.archive, &mut house.catalogue, key, &operator, Reason::WrongOperator);
    let third = third.expect("corrected");
    assert_eq!((third.revision, third.handed_over.len()), (3, 0));
    assert_eq!((third.viewed.len(), third.kept.len()), (0, 0), "nobody viewed revision 2");
    let line = |revision| {
        let got = archive::fetch(&house.archive, &house.catalogue, key, Some(revision)).expect("it is whole");
        got.superseded_line()
    };
    assert_eq!(
        [1, 2, 3].map(line),
        [
            Some("revision 1 was corrected by revision 2 (wrong-patient): this is not the newest".to_owned()),
            Some(
                "revision 2 was corrected by revision 3 (wrong-operator): this is not the newest".to_owned()
            ),
            None
        ]
    );
    assert_eq!(house.find("LM-RIGHT").len(), 1);
    let same = correct(&mut house.archive, &mut house.catalogue, key, &operator, Reason::WrongOperator);
    assert_eq!(same.err().map(|error| error.kind()), Some(Kind::Refused), "nothing would change");
}

#[test]
fn a_notice_says_what_was_wrong() {
    let mut house = House::new();
    let key = house.add(&[source(&recording(1, "Maren Tallowfield", "LM-1"))])[0].key.expect("filed");
    let got = archive::fetch(&house.archive, &house.catalogue, key, None).expect("it is whole");
    archive::export(&mut house.archive, &[&got], "ward-3", &acting(NOON), None).expect("exported");
    let mut filing = Filing::default();
    filing.acquisition.operators = vec![ecgkeep::recording::Person::named("R. Quill")];
    let amended = correct(&mut house.archive, &mut house.catalogue, key, &filing, Reason::WrongOperator)
        .expect("corrected");
    let notice = archive::retraction(&amended, &amended.handed_over[0]).expect("a notice");
    let notice = String::from_utf8(notice.bytes).expect("text");
    assert!(notice.contains("who recorded it") && !notice.contains("wrong patient"), "{notice}");
    assert!(notice.contains("\"why\": \"wrong-operator\""), "{notice}");
}

#[test]
fn a_patient_who_is_not_identified_is_marked_on_page_and_bundle_and_listed_until_corrected() {
    let mut house = House::new();
    // What is typed for want of a name is no identity.
    let mut nobody = recording(1, "Unknown", "UNKNOWN");
    nobody.subject.birth_date = None;
    let added = house.add(&[source(&nobody), numbered(2)]);
    let key = added[0].key.expect("it was filed");
    let listed = |house: &House| -> Vec<String> {
        house.catalogue.unidentified().expect("it can be asked").into_iter().map(|row| row.key).collect()
    };
    assert_eq!(listed(&house), [key.to_string()]);
    let marked = |house: &House| {
        let got = archive::fetch(&house.archive, &house.catalogue, key, None).expect("it is whole");
        let has = |name: &str| {
            let member = got.bundle.member(name).expect("a member");
            String::from_utf8_lossy(&member).contains("UNIDENTIFIED")
        };
        (got.entry.unidentified, ["data/report.svg", "bag-info.txt", "metadata/README.txt"].map(has))
    };
    assert_eq!(marked(&house), (true, [true; 3]));

    let mut filing = right_patient("LM-RIGHT");
    filing.subject.birth_date = Some("1971-06-19".parse().expect("a date"));
    correct(&mut house.archive, &mut house.catalogue, key, &filing, Reason::WrongPatient).expect("corrected");
    assert_eq!(marked(&house), (false, [false; 3]));
    assert_eq!(listed(&house), Vec::<String>::new());
}

#[test]
fn the_superseded_original_is_handed_out_on_request_only_and_never_filed_again() {
    let mut house = House::new();
    let key = house.add(&[source(&recording(1, "Maren Tallowfield", "LM-WRONG"))])[0].key.expect("filed");
    let filing = right_patient("LM-RIGHT");
    correct(&mut house.archive, &mut house.catalogue, key, &filing, Reason::WrongPatient).expect("corrected");
    let now = archive::fetch(&house.archive, &house.catalogue, key, None).expect("it is whole");
    let first = archive::fetch(&house.archive, &house.catalogue, key, Some(1)).expect("it is whole");
    for got in [&now, &first] {
        assert_eq!(got.refuse_superseded(false).err().map(|error| error.kind()), Some(Kind::Refused));
        assert!(got.refuse_superseded(true).is_ok());
    }
    // Whoever is given the page of what was corrected away can see it; the one that was sealed does not say so.
    let at = NOON.parse().expect("a time");
    let page = |got: &archive::Got, original| got.page("page", PageForm::Html, original, &at, "ecgkeep test");
    let text =
        |got| String::from_utf8(page(got, true).expect("a page").remove(0).bytes).expect("HTML is text");
    assert_eq!(page(&first, false).err().map(|error| error.kind()), Some(Kind::Refused));
    assert!(
        text(&first).contains("SUPERSEDED")
            && text(&first).contains("revision 1 was corrected by revision 2 (wrong-patient)")
    );
    assert!(!text(&now).contains("SUPERSEDED") && text(&now).contains("CORRECTED"));
    let copies = archive::copies(&now, None, false).expect("copy and page");
    for file in &copies.files {
        let text = String::from_utf8_lossy(&file.bytes);
        assert!(!text.contains("Tallowfield") && !text.contains("LM-WRONG"), "{}", file.name);
    }
    assert!(copies.files.iter().any(|file| file.name.ends_with(".hea")));
    // Its bundle is no source of another archive: revision 1 would stand there under the wrong patient.
    let mut elsewhere = House::new();
    let path = elsewhere.folder.path().join("r2.zip");
    std::fs::write(&path, &now.bytes).expect("written");
    let (acting, policy) = (acting(NOON), Policy::default());
    let adding = Adding { acting: &acting, signer: None, policy: &policy, from: None };
    let open = |path: &PathBuf| Ok((Input::at(path)?, None));
    let House { archive, catalogue, .. } = &mut elsewhere;
    archive::add(archive, catalogue, &[path], &open, &adding, &mut |_, added| {
        assert_eq!(added.fate, Fate::Failed);
        assert_eq!(added.error.map(|error| error.kind()), Some(Kind::Refused));
    })
    .expect("the archive is well");
}

#[test]
fn a_bundle_that_is_lost_is_missed_by_whatever_looks_for_it() {
    let mut house = House::new();
    let one = source(&recording(1, "Maren Tallowfield", "LM-WRONG"));
    let two = source(&recording(2, "Edric Solveng", "LM-2"));
    let added = house.add(&[one.clone(), two.clone()]);
    let (one_key, two_key) = (added[0].key.expect("filed"), added[1].key.expect("filed"));
    let filing = right_patient("LM-RIGHT");
    correct(&mut house.archive, &mut house.catalogue, one_key, &filing, Reason::WrongPatient)
        .expect("corrected");
    let path = |house: &House, key: Key, revision: u32| {
        let name = key.to_string();
        let shelf = house.archive.folder().join("bundles").join(&name[..2]).join(&name[2..4]);
        shelf.join(format!("{name}.r{revision}.zip"))
    };
    let (lost, damaged) = (path(&house, one_key, 2), path(&house, two_key, 1));
    let was: Vec<Vec<u8>> =
        [&lost, &damaged].into_iter().map(|path| std::fs::read(path).expect("it is there")).collect();
    std::fs::remove_file(&lost).expect("removed");
    let mut bytes = was[1].clone();
    bytes[4000] ^= 1;
    // Whoever opens it for writing first has to be allowed to.
    std::fs::remove_file(&damaged).and_then(|()| std::fs::write(&damaged, &bytes)).expect("damaged");
    let lines = house.archive.size();

    // Not the revision under the wrong patient in place of the one that is lost.
    for key in [one_key, two_key] {
        let error = archive::fetch(&house.archive, &house.catalogue, key, None).err().expect("not as filed");
        assert!(error.kind() == Kind::Altered && error.to_string().contains("archive repair"), "{error}");
    }
    // No second line about it, and no word that it is there.
    for added in house.add(&[one, two.clone()]) {
        assert_eq!(added.fate, Fate::Failed);
        let error = added.error.expect("it is said");
        assert!(error.kind() == Kind::Altered && error.to_string().contains("keep the source"), "{error}");
    }
    assert_eq!(house.archive.size(), lines);
    std::fs::remove_file(&damaged).expect("removed");
    assert!(house.add(&[two]).iter().all(|added| added.fate == Fate::Failed));
    assert_eq!(
        archive::full_key(&house.archive, &two_key.to_string()[..8]).expect("the journal knows it"),
        two_key
    );

    // A catalogue that is made anew does not pass them over.
    house.catalogue = archive::rebuild(&house.archive).expect("made anew");
    let mut unread = vec![(one_key.to_string(), 2), (two_key.to_string(), 1)];
    unread.sort();
    assert_eq!(house.catalogue.unread().expect("listed"), unread);
    assert!(
        matches!(&house.find("LM-WRONG")[..], [Hit::CorrectedAway { .. }]),
        "{:?}",
        house.find("LM-WRONG")
    );
    for (path, bytes) in [lost, damaged].iter().zip(&was) {
        std::fs::write(path, bytes).expect("put back");
    }
    archive::catch_up(&house.archive, &mut house.catalogue, &BTreeMap::new()).expect("caught up");
    assert_eq!(house.catalogue.unread().expect("listed"), []);
    assert!(matches!(&house.find("LM-2")[..], [Hit::Recording(_)]));
    assert!(matches!(&house.find("LM-RIGHT")[..], [Hit::Recording(row)] if row.revision == 2));
}

/// Acceptance 12, at the figure per commit.
#[test]
fn many_who_correct_at_once_lose_no_correction() {
    let mut house = House::new();
    let key = house.add(&[numbered(1)])[0].key.expect("filed");
    let dir = house.dir();
    let corrected: usize = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..4)
            .map(|worker| {
                let dir = &dir;
                scope.spawn(move || {
                    let mut archive = archive::open(dir).expect("it opens");
                    let mut catalogue = archive::catalogue(&archive).expect("a catalogue");
                    let mut done = 0;
                    for number in 0..3 {
                        let filing = right_patient(&format!("LM-{worker}-{number}"));
                        loop {
                            match correct(&mut archive, &mut catalogue, key, &filing, Reason::WrongPatient) {
                                Ok(_) => break done += 1,
                                Err(error) if error.kind() == Kind::Refused => {
                                    archive.refresh().expect("it is read on");
                                }
                                Err(error) => panic!("{error}"),
                            }
                        }
                    }
                    done
                })
            })
            .collect();
        workers.into_iter().map(|worker| worker.join().expect("no panic")).sum()
    });
    assert_eq!(corrected, 12);
    house.archive.refresh().expect("it is read on");
    let revisions: Vec<u32> = (1..=13).collect();
    assert_eq!(house.archive.revisions(key).expect("listed"), revisions, "contiguous, none lost");
}

/// Acceptance 15.
#[test]
fn the_catalogue_is_made_again_row_for_row_from_journal_and_from_bundles_alone() {
    let mut house = House::new();
    let sources: Vec<Source> = (0..30).map(numbered).collect();
    let added = house.add(&sources);
    let key = added[3].key.expect("filed");
    let filing = right_patient("LM-RIGHT");
    correct(&mut house.archive, &mut house.catalogue, key, &filing, Reason::WrongPatient).expect("corrected");
    let rows = house.catalogue.rows_as_text().expect("rows");
    assert!(rows.len() > 31);
    let path = house.dir().join("catalogue.sqlite");
    std::fs::remove_file(&path).expect("it may be deleted at any time");
    let again = archive::catalogue(&house.archive).expect("it is made again");
    assert_eq!(again.rows_as_text().expect("rows"), rows);
    drop(again);
    std::fs::remove_file(&path).expect("deleted");
    std::fs::remove_dir_all(house.dir().join("journal")).expect("the journal is lost");
    let (alone, taken, unreadable) = archive::rebuild_without_journal(&house.dir()).expect("from bundles");
    assert_eq!((taken, unreadable), (31, 0));
    assert_eq!(alone.rows_as_text().expect("rows"), rows);
}

/// The catalogue is an index: one that lies changes neither what is handed out nor what is refused.
#[test]
fn a_catalogue_that_lies_decides_nothing() {
    let mut house = House::new();
    let added = house.add(&[numbered(1), numbered(2)]);
    let (one, two) = (added[0].key.expect("filed"), added[1].key.expect("filed"));
    archive::hold(&mut house.archive, &[one], "case-1", &acting(NOON), None).expect("held");
    // A catalogue of another archive in which nothing is held and the lines are others.
    let mut other = House::new();
    other.add(&[numbered(7), numbered(8), numbered(9)]);
    let got = archive::fetch(&house.archive, &other.catalogue, two, None).expect("found all the same");
    assert_eq!(got.key, two);
    let held = house.archive.held(&[one, two].into()).expect("asked of the journal");
    assert_eq!(held.keys().copied().collect::<Vec<_>>(), [one]);
    // Opened for an archive that it is not of, it is made anew.
    std::fs::copy(other.dir().join("catalogue.sqlite"), house.dir().join("catalogue.sqlite"))
        .expect("copied");
    let again = archive::catalogue(&house.archive).expect("made anew");
    assert_eq!(again.counts().expect("counts"), (2, 2));
}

#[test]
fn what_cannot_be_read_is_kept_and_read_later() {
    let mut house = House::new();
    let mut broken = numbered(1);
    broken.0[0].bytes.truncate(40);
    let several = {
        let format = ecgkeep::format_by_id("json").expect("there is JSON");
        let two = [recording(1, "A", "1"), recording(2, "B", "2")];
        Source(
            ecgkeep::write(format, &two, "two", &Options::default()).expect("JSON takes several").files,
            None,
        )
    };
    let stranger = Source(vec![File { name: "x.dat".into(), bytes: b"nothing known".to_vec() }], None);
    let filing = right_patient("LM-Q");
    let with_filing = Source(broken.0.clone(), Some(filing));
    let added = house.add(&[with_filing.clone(), several, stranger, numbered(5)]);
    let fates: Vec<Fate> = added.iter().map(|added| added.fate).collect();
    assert_eq!(fates, [Fate::Quarantined, Fate::Quarantined, Fate::Quarantined, Fate::Filed]);
    assert_eq!(house.catalogue.quarantined().expect("listed").len(), 3);
    let again = house.add(&[with_filing]);
    assert_eq!(again[0].fate, Fate::StillQuarantined);
    let files = archive::quarantined_files(&house.archive, added[0].key.expect("a key")).expect("whole");
    assert_eq!(files.expect("kept")[0].bytes, broken.0[0].bytes, "byte for byte");
    let args = archive::VerifyArgs { level: archive::Level::Deep, part: None, against: None };
    let report = house.archive.verify(&args, &archive::reread, &|_, _| ()).expect("verified");
    assert!(report.is_sound(), "{report:?}");
    assert_eq!(report.files, 4, "quarantine is covered");

    // What a later version can read is filed and leaves the list; here nothing is, and nothing is lost.
    let (acting, policy) = (acting(NOON), Policy::default());
    let adding = Adding { acting: &acting, signer: None, policy: &policy, from: None };
    let House { archive, catalogue, .. } = &mut house;
    let mut told = Vec::new();
    archive::retry_quarantined(archive, catalogue, &adding, &mut |_, added| told.push(added.fate))
        .expect("tried");
    assert_eq!(told, [Fate::StillQuarantined; 3]);
    // One that reads with a format named is filed, with what was supplied beside it then.
    let mut named = House::new();
    let mut odd = numbered(9);
    odd.0[0].name = "odd.bin".into();
    odd.0[0].bytes.splice(0..0, *b"   \n\n");
    let first = named.add(&[Source(odd.0.clone(), None)]);
    if first[0].fate == Fate::Quarantined {
        let adding = Adding { from: Some("json"), ..adding };
        let House { archive, catalogue, .. } = &mut named;
        let mut told = Vec::new();
        archive::retry_quarantined(archive, catalogue, &adding, &mut |_, added| told.push(added.fate))
            .expect("tried");
        assert_eq!(told, [Fate::Filed]);
        assert_eq!(named.catalogue.quarantined().expect("listed").len(), 0);
    }
}

#[test]
fn a_source_in_quarantine_that_is_lost_is_not_kept_a_second_time() {
    let mut house = House::new();
    let mut broken = numbered(1);
    broken.0[0].bytes.truncate(40);
    let key = house.add(&[broken.clone()])[0].key.expect("a key");
    let name = key.to_string();
    let shelf = house.archive.folder().join("quarantine").join(&name[..2]).join(&name[2..4]);
    let path = shelf.join(format!("{name}.q1.zip"));
    let (whole, lines) = (std::fs::read(&path).expect("it is kept"), house.archive.size());
    let mut altered = whole.clone();
    let at = altered.len() / 2;
    altered[at] ^= 1;
    for (what, bytes) in [("missing", None), ("damaged", Some(altered))] {
        std::fs::remove_file(&path).expect("removed");
        if let Some(bytes) = bytes {
            std::fs::write(&path, bytes).expect("written");
        }
        let added = house.add(&[broken.clone()]).remove(0);
        let error = added.error.expect("it is said");
        assert_eq!((added.fate, error.kind()), (Fate::Failed, Kind::Altered), "{error}");
        assert!(error.to_string().contains(what) && error.to_string().contains("keep the source"), "{error}");
        assert_eq!(house.archive.size(), lines, "no second line about it");
        std::fs::write(&path, &whole).expect("put back");
    }
    assert_eq!(house.add(&[broken])[0].fate, Fate::StillQuarantined);
}

#[test]
fn warnings_say_what_a_person_should_look_at() {
    let mut house = House::new();
    let first = recording(1, "Maren Tallowfield", "LM-1");
    let other_patient = recording(1, "Edric Solveng", "LM-2");
    let other_name = recording(2, "Marten Tallowfold", "LM-1");
    let added = house.add(&[source(&first), source(&other_patient), source(&other_name)]);
    // All three of one batch are held against each other.
    let has = |added: &archive::Added, of: fn(&Warning) -> bool| added.warnings.iter().any(of);
    assert!(has(&added[1], |warning| matches!(warning, Warning::SameSamplesOtherPatient(_))));
    assert!(has(&added[2], |warning| matches!(warning, Warning::SameIdentifierOtherPerson(_))));
    assert!(!has(&added[2], |warning| matches!(warning, Warning::SameSamplesOtherPatient(_))));
    let Source(files, _) = source(&first);
    let again = house.add(&[Source(files, Some(right_patient("LM-3")))]);
    assert_eq!(again[0].warnings, [Warning::FilingNotStored]);
}

/// Two people with admitted keys.
fn two_signers(house: &mut House) -> [Signer; 2] {
    ["records-1", "records-2"].map(|name| {
        let seed = if name == "records-1" { [1; 32] } else { [2; 32] };
        let (signer, _) = archive::new_key(name, &seed).expect("a key");
        let public = signer.public().written();
        archive::admit(&mut house.archive, &public, &acting(NOON), None).expect("admitted");
        signer
    })
}

fn adopt(house: &mut House, days: u32) {
    let text = format!(
        "schema = \"ecgkeep-schedule/1\"\nname = \"invented\"\neffective_from = \"2026-01-01\"\n\
         reviewed_by = \"board\"\n[[rule]]\nid = \"days-{days}\"\nfrom = \"recorded\"\ndays = {days}\n\
         citation = \"invented\"\n"
    );
    archive::adopt(&mut house.archive, "s", &text, "board", &acting(NOON), None).expect("adopted");
}

fn ask(house: &House, keys: &[Key], rule: &str, at: &str) -> Result<archive::Note, Error> {
    archive::request(&house.archive, &house.catalogue, keys, rule, acting(at).moment())
}

fn perform(house: &mut House, request: &str, at: &str) -> Result<Vec<Key>, Error> {
    archive::perform(&mut house.archive, &house.catalogue, request, &acting(at), None)
}

#[test]
fn destruction_needs_a_schedule_a_due_date_two_people_and_no_hold() {
    const LATER: &str = "2026-04-01T12:00:00Z";
    let mut house = House::new();
    let added = house.add(&[numbered(1), numbered(2)]);
    let one = added[0].key.expect("filed");
    let refused = |result: Result<archive::Note, Error>| {
        let error = result.expect_err("it is refused");
        assert_eq!(error.kind(), Kind::Refused, "{error}");
        error.to_string()
    };
    assert!(refused(ask(&house, &[one], "days-20", LATER)).contains("no retention schedule"));
    adopt(&mut house, 20);
    assert!(refused(ask(&house, &[one], "days-20", NOON)).contains("not due"));
    assert!(refused(ask(&house, &[one], "days-9", LATER)).contains("under rule days-20"));
    let note = ask(&house, &[one], "days-20", LATER).expect("it is due");
    let [first, second] = two_signers(&mut house);
    for too_few in [note.written(), note.clone().signed(&first).written()] {
        let error = perform(&mut house, &too_few, LATER).expect_err("too few signatures");
        assert_eq!(error.kind(), Kind::Refused, "{error}");
    }
    let twice = note.clone().signed(&first).signed(&first).written();
    assert_eq!(perform(&mut house, &twice, LATER).expect_err("one person twice").kind(), Kind::Refused);
    let signed = note.signed(&first).signed(&second).written();
    archive::hold(&mut house.archive, &[one], "case-1", &acting(NOON), None).expect("held");
    assert!(perform(&mut house, &signed, LATER).expect_err("held").to_string().contains("held"));
    let other = archive::release(&mut house.archive, &[one], "case-2", &acting(NOON), None);
    assert_eq!(other.expect_err("nobody's hold").kind(), Kind::Refused);
    archive::release(&mut house.archive, &[one], "case-1", &acting(NOON), None).expect("released");
    assert_eq!(perform(&mut house, &signed, NOON).expect_err("not due yet").kind(), Kind::Refused);
    assert_eq!(perform(&mut house, &signed, LATER).expect("destroyed"), [one]);
    assert_eq!(perform(&mut house, &signed, LATER).expect("performed before"), []);

    assert_eq!(house.archive.state(one).expect("known"), archive::State::Destroyed);
    archive::catch_up(&house.archive, &mut house.catalogue, &BTreeMap::new()).expect("caught up");
    assert_eq!(house.find("LM-1"), [], "nothing of it is found");
    assert_eq!(house.find("LM-2").len(), 1);
    let args = archive::VerifyArgs { level: archive::Level::Full, part: None, against: None };
    let report = house.archive.verify(&args, &archive::reread, &|_, _| ()).expect("verified");
    assert!(report.is_sound() && report.destroyed == [one], "destroyed, never missing: {report:?}");
    let again = house.add(&[numbered(1)]);
    assert_eq!(
        (again[0].fate, again[0].key),
        (Fate::Destroyed, Some(one)),
        "a destroyed source is not filed again"
    );
    let register = std::fs::read_to_string(house.dir().join("register.jsonl")).expect("a register");
    assert!(register.contains("LM-1") && !register.contains("LM-2") && register.lines().count() == 1);
    let certificate = house.dir().join("certificates").join(format!("{one}.destroyed.json"));
    let certificate = std::fs::read_to_string(certificate).expect("a certificate");
    assert!(!certificate.contains("LM-1") && certificate.contains("days-20"));
}

/// Acceptance 16, at the figure per commit: whatever the order of holds, releases, schedules and requests, nothing
/// held or not due is destroyed, and what is destroyed has two signers, a rule, and a certificate whose proof holds.
#[test]
fn no_sequence_of_acts_destroys_what_is_held_or_not_due() {
    let mut random = 0x2026_0302_u64;
    let mut next = move |below: u64| {
        // xorshift64 (Marsaglia, "Xorshift RNGs", 2003)
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        usize::try_from(random % below).expect("small")
    };
    let (mut destroyed, mut refused) = (0, 0);
    for _ in 0..6 {
        let mut house = House::new();
        let sources: Vec<Source> = (0..5).map(numbered).collect();
        let keys: Vec<Key> = house.add(&sources).iter().filter_map(|added| added.key).collect();
        let signers = two_signers(&mut house);
        let mut held: BTreeMap<Key, BTreeSet<usize>> = BTreeMap::new();
        let mut gone: BTreeSet<Key> = BTreeSet::new();
        let mut days = None;
        for _ in 0..40 {
            let key = keys[next(5)];
            let authority = next(2);
            let day = 1 + next(28);
            let at = format!("2026-04-{day:02}T12:00:00Z");
            match next(5) {
                0 => {
                    let name = format!("case-{authority}");
                    let result = archive::hold(&mut house.archive, &[key], &name, &acting(NOON), None);
                    assert_eq!(result.is_ok(), !gone.contains(&key));
                    if result.is_ok() {
                        held.entry(key).or_default().insert(authority);
                    }
                }
                1 => {
                    let name = format!("case-{authority}");
                    let result = archive::release(&mut house.archive, &[key], &name, &acting(NOON), None);
                    let was = held.get_mut(&key).is_some_and(|held| held.remove(&authority));
                    assert_eq!(result.is_ok(), was);
                }
                2 => {
                    let new = u32::try_from(30 + next(28)).expect("small");
                    // One that was adopted before is not adopted again.
                    if days != Some(new) {
                        adopt(&mut house, new);
                    }
                    let (schedule, _) = archive::in_force(&house.archive, acting(NOON).moment())
                        .expect("read")
                        .expect("one is adopted");
                    days = schedule.rules[0].id.strip_prefix("days-").and_then(|days| days.parse().ok());
                }
                _ => {
                    let rule = format!("days-{}", days.unwrap_or(30));
                    let is_held = held.get(&key).is_some_and(|held| !held.is_empty());
                    // 2 March and so many days: due the day after.
                    let is_due = days.is_some_and(|days| 2 + days < 31 + u32::try_from(day).expect("small"));
                    let may = is_due && !is_held && !gone.contains(&key);
                    let Ok(note) = ask(&house, &[key], &rule, &at) else {
                        assert!(!may, "{key} on {at} under {rule}");
                        refused += 1;
                        continue;
                    };
                    let request = note.signed(&signers[0]).signed(&signers[1]).written();
                    let done = perform(&mut house, &request, &at);
                    assert_eq!(done.is_ok(), may, "{key} on {at} under {rule}: {done:?}");
                    if done.is_ok() {
                        gone.insert(key);
                    }
                }
            }
        }
        for key in &keys {
            let is_there = house.archive.state(*key).expect("known") != archive::State::Destroyed;
            assert_eq!(is_there, !gone.contains(key));
            if !is_there {
                certificate_proves(&house, *key);
            }
        }
        let args = archive::VerifyArgs { level: archive::Level::Full, part: None, against: None };
        let report = house.archive.verify(&args, &archive::reread, &|_, _| ()).expect("verified");
        assert!(report.is_sound(), "{report:?}");
        assert_eq!(report.destroyed.iter().copied().collect::<BTreeSet<_>>(), gone);
        destroyed += gone.len();
    }
    assert!(destroyed > 2 && refused > 2, "{destroyed} destroyed, {refused} refused");
}

fn certificate_proves(house: &House, key: Key) {
    let path = house.dir().join("certificates").join(format!("{key}.destroyed.json"));
    let text = std::fs::read_to_string(path).expect("a certificate");
    let certificate: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let member = |name: &str| certificate[name].as_str().unwrap_or_default().to_owned();
    assert!(member("rule").starts_with("days-"));
    let receipt = archive::Receipt::parse(&member("receipt")).expect("a receipt");
    receipt.proves(member("line").as_bytes()).expect("the proof holds");
    let note = archive::Note::parse(&member("request")).expect("a request");
    let keys = house.archive.keys().expect("keys");
    assert_eq!(note.signers(&keys).expect("valid").len(), 2);
}

fn answer(
    house: &mut House,
    key: Key,
    bytes: &[u8],
    revision: Option<u32>,
) -> Result<archive::Acknowledged, Error> {
    let House { archive, catalogue, .. } = house;
    archive::acknowledge(archive, catalogue, key, revision, bytes, &acting(NOON), None)
}

#[test]
fn only_an_answer_for_this_very_revision_clears_it() {
    let mut house = House::new();
    let added = house.add(&[numbered(1), numbered(2)]);
    let (one, two) = (added[0].key.expect("filed"), added[1].key.expect("filed"));
    let unsent = |house: &mut House| {
        archive::catch_up(&house.archive, &mut house.catalogue, &BTreeMap::new()).expect("caught up");
        house.catalogue.unsent().expect("listed").len()
    };
    assert_eq!(unsent(&mut house), 2);
    let (mut receipts, mut lines) = (Vec::new(), Vec::new());
    for key in [one, two] {
        let got = archive::fetch(&house.archive, &house.catalogue, key, None).expect("whole");
        let exported =
            archive::export(&mut house.archive, &[&got], "ward-3", &acting(NOON), None).expect("exported");
        let files = archive::receipt_files(&house.archive, exported[0].line, &got.stem()).expect("a receipt");
        let receipt = archive::Receipt::parse(&String::from_utf8_lossy(&files[1].bytes)).expect("a receipt");
        receipt.proves(&files[0].bytes).expect("it proves the line beside it");
        receipts.push(files[1].bytes.clone());
        lines.push(exported[0].line);
    }
    assert_eq!(unsent(&mut house), 2, "exported is not received");
    for (key, line) in [one, two].into_iter().zip(lines) {
        assert_eq!(house.catalogue.exported_line(key, 1).expect("asked"), Some(line));
    }
    // Where the catalogue knows nothing, the journal is looked through.
    house.catalogue.clear().expect("emptied");
    let refused = |result: Result<archive::Acknowledged, Error>| {
        assert_eq!(result.err().map(|error| error.kind()), Some(Kind::Refused));
    };
    refused(answer(&mut house, one, &receipts[1], None));
    refused(answer(&mut house, one, b" \n", None));
    refused(answer(&mut house, one, br#"{"schema":"ecgkeep-retraction/1"}"#, None));
    assert!(answer(&mut house, one, &receipts[0], None).expect("our own receipt came back").was_exported);
    assert!(answer(&mut house, two, b"MSA|AA|4711", None).expect("whatever the receiver answers").is_new);
    assert!(!answer(&mut house, two, b"MSA|AA|4711", None).expect("the same again").is_new);
    assert_eq!(unsent(&mut house), 0);
    let filing = right_patient("LM-RIGHT");
    correct(&mut house.archive, &mut house.catalogue, one, &filing, Reason::WrongPatient).expect("corrected");
    assert_eq!(unsent(&mut house), 1, "the correction is unsent");
    // Nobody was sent the correction: an answer that names no revision is not taken for one to it.
    refused(answer(&mut house, one, b"late answer", None));
    assert_eq!(unsent(&mut house), 1);
    let old = answer(&mut house, one, b"late answer", Some(1));
    assert_eq!(old.expect("for revision 1").newest, 2);
    assert_eq!(unsent(&mut house), 1, "an answer for revision 1 does not clear revision 2");
    refused(answer(&mut house, one, &receipts[0], Some(2)));
}
