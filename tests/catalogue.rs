//! The catalogue of an archive is an index: whatever happens to it, the journal and the bundles make it right again.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use ecgkeep::archive::{self, Acting, Archive, Catalogue, Hit, Key, Level, Query, Verdict, VerifyArgs};
use ecgkeep_archive::{About, Act, Code, Commit, Entry, Event};
use ecgkeep_bundle::{Bundle, Member, pack};
use ecgkeep_tests::repository::root;

use figures::{Random, row, scale};

#[path = "../crates/ecgkeep-archive/tests/archive/figures.rs"]
mod figures;

const NOON: &str = "2026-03-02T12:00:00Z";

fn new_archive(folder: &Path) -> Archive {
    let acting = Acting::new("clerk-1", NOON.parse().expect("a time"), "test 1").expect("a code");
    archive::create(Arc::new(archive::Disk), folder, "a1", "larkmoor.example/ecg", &acting, None)
        .expect("an archive is made")
}

fn code(text: &str) -> Code {
    text.parse().expect("a code")
}

fn commit(archive: &mut Archive, batch: Vec<Act>) {
    let commit = Commit { by: code("clerk-1"), at: NOON.parse().expect("a moment"), signer: None };
    archive.commit(batch, &commit).expect("it is committed");
}

fn file(archive: &Archive, key: Key, bytes: &[u8]) -> Act {
    let prepared = archive.prepare(bytes).expect("it is prepared");
    Act::Bundle { key, revision: 1, prepared, corrects: None }
}

/// The entry of the first version, as it is kept.
fn first_entry() -> String {
    std::fs::read_to_string(root().join("fixtures/kept/entry-1.json")).expect("an entry is kept")
}

/// The bundle of the first release, this its entry.
fn bundle_with(entry: &str) -> Vec<u8> {
    let path = root().join("fixtures/kept/0.1.0/bundle.zip");
    let bytes = std::fs::read(path).expect("a bundle is kept");
    let bundle = Bundle::open("e1d0071f614f96196cf6acd45e600708.r1.zip", bytes.into()).expect("it is sound");
    let inner = bundle.members().filter(|name| name.starts_with("data/") || name.starts_with("metadata/"));
    let members = inner.map(|name| {
        let bytes = if name == "metadata/entry.json" {
            entry.as_bytes().to_vec()
        } else {
            bundle.member(name).expect("it is there")
        };
        Member { name: name.to_owned(), bytes }
    });
    packed("e1d0071f614f96196cf6acd45e600708", members.collect())
}

fn packed(key: &str, members: Vec<Member>) -> Vec<u8> {
    let info = [("External-Identifier", key), ("Bagging-Date", "2026-03-02")]
        .map(|(label, value)| (label.to_owned(), value.to_owned()));
    pack(&format!("{key}.r1"), &info, members).expect("it can be packed")
}

/// Before the first release entries had neither sex nor order, nor corrections, nor a mark of the unidentified.
#[test]
fn an_entry_of_the_first_version_is_found_by_all_that_it_says() {
    let text = first_entry();
    assert!(text.contains("\"ecgkeep-entry/1\"") && !text.contains("unidentified"), "{text}");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let dir = folder.path().join("archive");
    let mut archive = new_archive(&dir);
    let key = "e1d0071f614f96196cf6acd45e600708".parse().expect("a key");
    let filed = file(&archive, key, &bundle_with(&text));
    commit(&mut archive, vec![filed]);
    let mut rows = Vec::new();
    for catalogue in [
        archive::catalogue(&archive).expect("it catches up"),
        archive::rebuild(&archive).expect("it is made anew"),
        archive::rebuild_without_journal(&dir).expect("from the bundles alone").0,
    ] {
        finds_the_first(&catalogue);
        rows.push(catalogue.rows_as_text().expect("it can be read"));
    }
    assert!(rows.iter().all(|one| *one == rows[0]), "three ways, the same rows");
    let args = VerifyArgs { level: Level::Deep, part: None, against: None };
    let report = archive.verify(&args, &archive::reread, &|_, _| ()).expect("it can be verified");
    assert!(report.is_sound() && report.read == 1, "{report:?}");
}

fn finds_the_first(catalogue: &Catalogue) {
    let text = |text: &str| Some(text.to_owned());
    let by = Query::default;
    for query in [
        Query { identifier: text("LM-231860"), ..by() },
        Query { name: text("thessaly okonru"), ..by() },
        Query { born: "1986-01-27".parse().ok(), ..by() },
        Query { from: "2026-03-02".parse().ok(), to: "2026-03-02".parse().ok(), ..by() },
        Query { operator: text("brackwater"), ..by() },
        Query { finding: text("mains-hum"), ..by() },
        Query { verdict: Some(Verdict::Warn), ..by() },
        Query { digest: text("8417d8188a83638fd741496350f009835f266c94f441e8851ab0c2478252ca1f"), ..by() },
        Query { digest: text("06815684c494ba6625c7074b4260e704d38d2cb84d38375eea2cf1b0dbeeee86"), ..by() },
    ] {
        let found = catalogue.find(&query).expect("it can be asked");
        let [Hit::Recording(row)] = &found[..] else { panic!("{query:?} found {found:?}") };
        assert_eq!((row.name.as_deref(), row.revision), (Some("Thessaly Okonru"), 1));
        // What it does not say is not known, and nobody is called unidentified for it.
        let silent = (&row.sex, &row.order_number, &row.device, row.unidentified, row.test_recording);
        assert_eq!(silent, (&None, &None, &None, false, false));
    }
}

/// Recordings and holds of an archive whose catalogue is made again while somebody ends the process.
const RECORDINGS: u32 = 40;
/// More than the catalogue takes at a time, twice.
const HOLDS: u32 = 4500;

/// What a process does, told by name in its environment.
const JOB: &str = "ECGKEEP_TEST_JOB";
const FOLDER: &str = "ECGKEEP_TEST_FOLDER";

/// The other process: this test binary again, with nothing to do unless it is told so.
#[test]
fn another_process() {
    let Ok(job) = std::env::var(JOB) else { return };
    let folder = std::env::var(FOLDER).expect("where");
    let archive = archive::open(Path::new(&folder)).expect("an archive");
    println!("begun");
    match job.as_str() {
        "rebuild" => drop(archive::rebuild(&archive).expect("it is made anew")),
        "catch up" => drop(archive::catalogue(&archive).expect("it catches up")),
        other => panic!("no job {other}"),
    }
    println!("ended");
}

fn start(job: &str, folder: &Path) -> Child {
    Command::new(std::env::current_exe().expect("this binary"))
        .args(["--exact", "another_process", "--nocapture", "--test-threads=1"])
        .envs([(JOB, job), (FOLDER, folder.to_str().expect("a plain path"))])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts")
}

/// Reads on until it says this; whether it did before it ended.
fn says(out: &mut impl BufRead, word: &str) -> bool {
    out.lines().map_while(Result::ok).any(|line| line.ends_with(word))
}

/// A small bundle of an invented person.
fn invented(number: u32) -> (Key, Vec<u8>) {
    let mut entry: Entry = serde_json::from_str(&first_entry()).expect("an entry");
    entry.key = ecgkeep_archive::sha256(&number.to_le_bytes())[..32].to_owned();
    entry.patient.name = Some(format!("Person Number{number}"));
    entry.patient.identifiers[0].value = format!("LM-{number}");
    entry.fingerprint = ecgkeep_archive::sha256(entry.key.as_bytes());
    let json = serde_json::to_vec(&entry).expect("it can be written");
    let members = [("data/original/1.dat", vec![0; 24]), ("metadata/entry.json", json)]
        .map(|(name, bytes)| Member { name: name.to_owned(), bytes });
    let bytes = packed(&entry.key, members.into());
    (entry.key.parse().expect("a key"), bytes)
}

/// Half of the recordings, the catalogue over them, then the other half among many holds.
fn filled(folder: &Path) -> (Archive, Vec<u8>) {
    let mut archive = new_archive(folder);
    let (keys, bundles): (Vec<Key>, Vec<Vec<u8>>) = (0..RECORDINGS).map(invented).unzip();
    let (first, second) = (0..keys.len()).partition::<Vec<_>, _>(|n| n % 2 == 0);
    let acts = |archive: &Archive, some: &[usize]| -> Vec<Act> {
        some.iter().map(|n| file(archive, keys[*n], &bundles[*n])).collect()
    };
    let batch = acts(&archive, &first);
    commit(&mut archive, batch);
    drop(archive::catalogue(&archive).expect("it catches up"));
    let behind = std::fs::read(folder.join("catalogue.sqlite")).expect("it is there");
    let holds = (0..HOLDS).map(|n| {
        let (key, authority) = (Some(keys[first[n as usize % first.len()]]), Some(code("court")));
        Act::Line(Event::Held, About { key, authority, ..About::default() })
    });
    commit(&mut archive, holds.collect());
    let batch = acts(&archive, &second);
    commit(&mut archive, batch);
    (archive, behind)
}

/// What a catalogue answers, all of it.
fn answers(catalogue: &Catalogue) -> Vec<String> {
    let mut all = catalogue.rows_as_text().expect("it can be read");
    all.extend(catalogue.unsent().expect("it can be asked").iter().map(|row| format!("{row:?}")));
    all.extend(catalogue.held().expect("it can be asked").iter().map(|held| format!("{held:?}")));
    all.push(format!("{:?}", catalogue.position().expect("it can be asked")));
    all
}

/// Ends a process with SIGKILL while it makes the catalogue; one open later everything is found.
fn killed(job: &str, title: &str) {
    let kills = scale(50, 1000);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let dir = folder.path().join("archive");
    let (archive, behind) = filled(&dir);
    let right = answers(&archive::rebuild(&archive).expect("it is made anew"));
    assert!(right.len() > (RECORDINGS + HOLDS) as usize);
    let path = dir.join("catalogue.sqlite");
    let prepare = || {
        if job == "catch up" {
            std::fs::remove_file(&path).expect("it is there");
            std::fs::write(&path, &behind).expect("it can be put back");
        }
    };
    prepare();
    let mut child = start(job, &dir);
    let mut out = BufReader::new(child.stdout.take().expect("it was asked for"));
    assert!(says(&mut out, "begun"));
    let since = Instant::now();
    assert!(says(&mut out, "ended"));
    let whole = since.elapsed();
    child.wait().expect("it ends");

    let (mut faults, mut cut_short, mut random) = (Vec::new(), 0, Random(job.len() as u64));
    for n in 0..kills {
        prepare();
        let mut child = start(job, &dir);
        let mut out = BufReader::new(child.stdout.take().expect("it was asked for"));
        assert!(says(&mut out, "begun"));
        let part = random.below(1100);
        std::thread::sleep(whole * u32::try_from(part).expect("small") / 1000 + Duration::from_micros(1));
        // By its handle: this process and no other.
        child.kill().expect("it can be ended");
        cut_short += u64::from(!says(&mut out, "ended"));
        child.wait().expect("it ends");
        match archive::catalogue(&archive) {
            Ok(catalogue) if answers(&catalogue) == right => {}
            Ok(_) => faults.push(format!("kill {n} at {part} thousandths: it answers otherwise")),
            Err(error) => faults.push(format!("kill {n} at {part} thousandths: {error}")),
        }
    }
    println!("{job}: {cut_short} of {kills} were ended before their end");
    row(title, kills, faults.len() as u64);
    assert!(faults.is_empty(), "{} faults, first: {}", faults.len(), faults[0]);
    assert!(cut_short > 0, "nobody was ended in the middle");
}

#[test]
fn sigkill_while_the_catalogue_is_made_anew_loses_nothing() {
    killed("rebuild", "SIGKILL while the catalogue is made anew");
}

#[test]
fn sigkill_while_the_catalogue_catches_up_loses_nothing() {
    killed("catch up", "SIGKILL while the catalogue catches up");
}
