//! Real processes on a real disk: ended by SIGKILL at any moment, and many at once.

use std::collections::BTreeSet;
use std::io::{self, BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use ecgkeep_archive::storage::{Disk, Hold, Lock, Readers, Storage};
use ecgkeep_archive::{
    Act, Archive, Commit, Corrects, Event, Fate, Level, Line, State, VerifyArgs, layout, verify,
};

use crate::crash::add;
use crate::figures::{Random, row, scale};
use crate::harness::*;

/// How many recordings an archive of these tests begins with.
const BEGUN: u32 = 24;

/// What a process does, told by name in its environment.
const JOB: &str = "ECGKEEP_TEST_JOB";
const FOLDER: &str = "ECGKEEP_TEST_FOLDER";
const SEED: &str = "ECGKEEP_TEST_SEED";

/// The other process: this test binary again, with nothing to do unless it is told so.
#[test]
fn another_process() {
    let Ok(job) = std::env::var(JOB) else { return };
    let folder = std::env::var(FOLDER).unwrap();
    let seed = std::env::var(SEED).unwrap().parse().unwrap();
    let storage: Arc<dyn Storage> = if job == "careless" { Arc::new(Careless) } else { Arc::new(Disk) };
    let mut archive = Archive::open(storage, Path::new(&folder)).unwrap();
    match job.as_str() {
        "add" => add_many(&mut archive, seed),
        "amend" => amend_many(&mut archive),
        "destroy" => destroy_many(&mut archive),
        "checkpoint" => keep_many(&mut archive),
        "endless" | "careless" => add_endless(&mut archive),
        "race" => amend_race(&mut archive),
        "same" => add_same(&mut archive, seed),
        other => panic!("no job {other}"),
    }
}

/// Says what is acknowledged, so that the one who kills knows it.
fn acknowledge(archive: &Archive, from: u64) {
    let mut out = std::io::stdout().lock();
    for line in archive.lines(from) {
        writeln!(out, "acknowledged {}", line.unwrap().text()).unwrap();
    }
    out.flush().unwrap();
}

fn commit_all(archive: &mut Archive, batch: Vec<Act>, commit: &Commit<'_>) {
    let done = archive.commit(batch, commit).unwrap();
    if let Some(first) = done.iter().filter_map(|done| done.line).min() {
        acknowledge(archive, first);
    }
}

fn add_many(archive: &mut Archive, seed: u64) {
    let mut order: Vec<u32> = (BEGUN..BEGUN + 60).collect();
    shuffle(&mut order, seed);
    for batch in order.chunks(3) {
        let batch = batch.iter().map(|n| add(archive, *n).unwrap()).collect();
        commit_all(archive, batch, &commit());
    }
}

fn amend_many(archive: &mut Archive) {
    for round in 2..6 {
        for n in 0..8 {
            archive.refresh().unwrap();
            if archive.state(key(n)).unwrap() == State::Filed(round - 1) {
                let of = archive.filing_line(key(n), Some(round - 1)).unwrap().unwrap().index;
                let act = correct(archive, n, round, of);
                commit_all(archive, vec![act], &commit());
            }
        }
    }
}

fn destroy_many(archive: &mut Archive) {
    for n in (8..BEGUN).step_by(2) {
        archive.settle(None).unwrap();
        if archive.state(key(n)).unwrap() != State::Destroyed {
            commit_all(archive, vec![destroy(&[n, n + 1])], &commit());
        }
    }
}

fn keep_many(archive: &mut Archive) {
    let [a, ..] = signers();
    for day in 3..28 {
        let prepared = add(archive, 100 + day).unwrap();
        let signing = Commit { signer: Some(&a), ..commit_at(&format!("2026-04-{day:02}T07:00:00Z")) };
        commit_all(archive, vec![prepared], &signing);
    }
}

/// Not quite: a disk is only so large.
fn add_endless(archive: &mut Archive) {
    for n in (2000..2600).step_by(2) {
        let batch = vec![add(archive, n).unwrap(), add(archive, n + 1).unwrap()];
        commit_all(archive, batch, &commit());
    }
}

/// A disk that flushes nothing.
struct Careless;

impl Storage for Careless {
    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        Disk.read(path)
    }
    fn read_from(&self, path: &Path, offset: u64) -> io::Result<Vec<u8>> {
        Disk.read_from(path, offset)
    }
    fn read_part(&self, path: &Path, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        Disk.read_part(path, offset, length)
    }
    fn names(&self, folder: &Path) -> io::Result<Vec<String>> {
        Disk.names(folder)
    }
    fn size(&self, path: &Path) -> io::Result<Option<u64>> {
        Disk.size(path)
    }
    fn make_folder(&self, path: &Path) -> io::Result<bool> {
        Disk.make_folder(path)
    }
    fn create(&self, path: &Path, bytes: &[u8], readers: Readers) -> io::Result<()> {
        Disk.create(path, bytes, readers)
    }
    fn sync(&self, _: &Path) -> io::Result<()> {
        Ok(())
    }
    fn place(&self, from: &Path, to: &Path) -> io::Result<()> {
        Disk.place(from, to)
    }
    fn replace(&self, from: &Path, to: &Path) -> io::Result<()> {
        Disk.replace(from, to)
    }
    fn sync_folder(&self, _: &Path) -> io::Result<()> {
        Ok(())
    }
    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        Disk.append(path, bytes)
    }
    fn truncate(&self, path: &Path, length: u64) -> io::Result<()> {
        Disk.truncate(path, length)
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        Disk.remove(path)
    }
    fn lock(&self, path: &Path, hold: Hold) -> io::Result<Box<dyn Lock>> {
        Disk.lock(path, hold)
    }
}

fn amend_race(archive: &mut Archive) {
    let mut done = 0;
    while done < 12 {
        archive.refresh().unwrap();
        let State::Filed(newest) = archive.state(key(0)).unwrap() else { panic!("not filed") };
        // Placed by another process and not committed yet: look again.
        let Some(line) = archive.filing_line(key(0), Some(newest)).unwrap() else { continue };
        let prepared = archive.prepare(&bytes(0, newest + 1)).unwrap();
        let corrects = Corrects { authority: code("dr-on-call"), why: code("merged"), of: line.index };
        let act = Act::Bundle { key: key(0), revision: newest + 1, prepared, corrects: Some(corrects) };
        done += u32::from(archive.commit(vec![act], &commit()).unwrap()[0].fate == Fate::New);
    }
}

fn add_same(archive: &mut Archive, seed: u64) {
    let own = 1000 + u32::try_from(seed).unwrap() * 100;
    let mut order: Vec<u32> = (BEGUN..BEGUN + 60).chain(own..own + 12).collect();
    shuffle(&mut order, seed);
    for batch in order.chunks(4) {
        let batch = batch.iter().map(|n| add(archive, *n).unwrap()).collect();
        archive.commit(batch, &commit()).unwrap();
    }
}

fn shuffle(order: &mut [u32], seed: u64) {
    let mut random = Random(seed);
    (1..order.len()).for_each(|i| order.swap(i, random.below(i + 1)));
}

pub fn begun(folder: &Path) {
    let mut archive = create(Arc::new(Disk), folder);
    govern(&mut archive);
    archive.commit((0..BEGUN).map(|n| file(&archive, n)).collect(), &commit()).unwrap();
}

pub fn start(job: &str, folder: &Path, seed: u64) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "processes::another_process", "--nocapture", "--test-threads=1"])
        .envs([(JOB, job), (FOLDER, folder.to_str().unwrap()), (SEED, &seed.to_string())])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// What it acknowledged, whole lines only; waits for its end.
fn heard(child: &mut Child) -> Vec<String> {
    let mut found = Vec::new();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    while out.read_line(&mut line).unwrap() > 0 {
        if let Some(text) = line.strip_suffix('\n').and_then(|text| text.split_once("acknowledged ")) {
            found.push(text.1.to_owned());
        }
        line.clear();
    }
    child.wait().unwrap();
    found
}

/// Every acknowledged line is there, and verify finds nothing at all.
pub fn check(folder: &Path, acknowledged: &[String]) -> Result<(), String> {
    let text = |error: ecgkeep_format::Error| error.to_string();
    let mut archive = Archive::open(Arc::new(Disk), folder).map_err(text)?;
    archive.settle(None).map_err(text)?;
    for told in acknowledged {
        let index = Line::parse(told.as_bytes()).map_err(text)?.index;
        if archive.line(index).map_err(text)?.text() != *told {
            return Err(format!("line {index} was acknowledged and is another"));
        }
    }
    let args = VerifyArgs { level: Level::Full, part: None, against: None };
    let report = verify(&Disk, folder, &args, &|_| Vec::new(), &|_, _| ()).map_err(text)?;
    if report.is_sound() && report.uncommitted.is_empty() {
        return Ok(());
    }
    Err(format!("{:?}", [report.damaged, report.missing, report.altered, report.uncommitted].concat()))
}

fn killed(job: &str, title: &str) {
    let kills = scale(200, 5000);
    let (mut faults, mut cut_short, mut random) = (Vec::new(), 0, Random(job.len() as u64));
    let mut folder = tempfile::tempdir().unwrap();
    begun(folder.path());
    for n in 0..kills {
        if n % 8 == 7 {
            folder = tempfile::tempdir().unwrap();
            begun(folder.path());
        }
        let mut child = start(job, folder.path(), n);
        std::thread::sleep(Duration::from_micros(random.next() % 40_000));
        // By its handle: this process and no other.
        child.kill().unwrap();
        let acknowledged = heard(&mut child);
        cut_short += u64::from(folder.path().join("tmp/pending.jsonl").exists());
        faults.extend(check(folder.path(), &acknowledged).err().map(|what| format!("kill {n}: {what}")));
    }
    // Run to its end at last: the same set as if nobody had been killed.
    let mut child = start(job, folder.path(), 1);
    let acknowledged = heard(&mut child);
    check(folder.path(), &acknowledged).unwrap();
    converged(job, folder.path());
    println!("{job}: {cut_short} of {kills} were ended in the middle of a commit");
    row(title, kills, faults.len() as u64);
    assert!(faults.is_empty(), "{} faults, first: {}", faults.len(), faults[0]);
}

fn converged(job: &str, folder: &Path) {
    let mut expected: BTreeSet<(u32, u32)> = (0..BEGUN).map(|n| (n, 1)).collect();
    match job {
        "add" => expected.extend((BEGUN..BEGUN + 60).map(|n| (n, 1))),
        "amend" => expected.extend((0..8).flat_map(|n| (2..6).map(move |revision| (n, revision)))),
        "destroy" => expected.retain(|(n, _)| *n < 8),
        _ => expected.extend((103..128).map(|n| (n, 1))),
    }
    assert_eq!(count_bundles(folder), expected.len());
    for (n, revision) in expected {
        let found = std::fs::read(folder.join(layout::bundle(key(n), revision))).unwrap();
        assert_eq!(found, bytes(n, revision), "{n} {revision}");
    }
}

fn count_bundles(folder: &Path) -> usize {
    fn walk(at: &Path) -> usize {
        let entries = std::fs::read_dir(at).unwrap().map(|entry| entry.unwrap().path());
        entries
            .map(
                |path| {
                    if path.is_dir() { walk(&path) } else { usize::from(path.extension().unwrap() == "zip") }
                },
            )
            .sum()
    }
    walk(&folder.join("bundles"))
}

#[test]
fn sigkill_while_adding_loses_nothing() {
    killed("add", "SIGKILL while adding");
}

#[test]
fn sigkill_while_correcting_loses_nothing() {
    killed("amend", "SIGKILL while correcting");
}

#[test]
fn sigkill_while_destroying_loses_nothing() {
    killed("destroy", "SIGKILL while destroying");
}

#[test]
fn sigkill_while_keeping_signed_checkpoints_loses_nothing() {
    killed("checkpoint", "SIGKILL while keeping signed checkpoints");
}

/// So many processes do the same work at once; all end well, and so does the archive.
fn all_at_once(work: &str, folder: &Path, processes: u64) {
    let mut children: Vec<Child> = (0..processes).map(|seed| start(work, folder, seed)).collect();
    let ended: Vec<bool> = children
        .iter_mut()
        .map(|child| {
            heard(child);
            child.wait().unwrap().success()
        })
        .collect();
    assert!(ended.iter().all(|ended| *ended), "{ended:?}");
    check(folder, &[]).unwrap();
}

#[test]
fn many_processes_file_each_source_once() {
    let processes = scale(8, 64);
    let folder = tempfile::tempdir().unwrap();
    begun(folder.path());
    all_at_once("same", folder.path(), processes);
    let archive = Archive::open(Arc::new(Disk), folder.path()).unwrap();
    let filed = archive.lines(0).filter(|line| line.as_ref().unwrap().event == Event::Filed).count();
    let sources = u64::from(BEGUN) + 60 + processes * 12;
    row(&format!("{processes} processes adding the same and different sources: sources"), sources, 0);
    assert_eq!((filed as u64, count_bundles(folder.path()) as u64), (sources, sources));
    for n in BEGUN..BEGUN + 60 {
        assert_eq!(std::fs::read(folder.path().join(layout::bundle(key(n), 1))).unwrap(), bytes(n, 1));
    }
}

#[test]
fn many_processes_correct_one_recording_without_losing_a_revision() {
    let processes = scale(8, 32);
    let folder = tempfile::tempdir().unwrap();
    begun(folder.path());
    all_at_once("race", folder.path(), processes);
    let archive = Archive::open(Arc::new(Disk), folder.path()).unwrap();
    let newest = u32::try_from(1 + processes * 12).unwrap();
    assert_eq!(archive.revisions(key(0)).unwrap(), (1..=newest).collect::<Vec<_>>());
    row(&format!("{processes} processes correcting one recording: revisions"), u64::from(newest), 0);
}
