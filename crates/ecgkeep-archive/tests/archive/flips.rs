//! Every bit of every kind of file: what was flipped or cut is found.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use ecgkeep_archive::storage::{Readers, Storage};
use ecgkeep_archive::{About, Act, Archive, Event, Level, VerifyArgs, verify};
use ecgkeep_bundle::{Member, pack};
use rayon::prelude::*;

use crate::crash::{ROOT, Steps, made};
use crate::figures::{Random, row, scale};
use crate::harness::*;
use crate::simulated::{Simulated, World};

fn is_found(world: &World, path: &str, bytes: &[u8], level: Level) -> bool {
    let storage = Simulated::on(world.clone());
    storage.remove(Path::new(path)).unwrap();
    storage.create(Path::new(path), bytes, Readers::All).unwrap();
    let args = VerifyArgs { level, part: None, against: None };
    match verify(&storage, Path::new(ROOT), &args, &|_| Vec::new(), &|_, _| ()) {
        Ok(report) => !report.is_sound() || !report.uncommitted.is_empty(),
        Err(_) => true,
    }
}

/// How many of the given changes of a file are not found.
fn missed(
    world: &World,
    path: &str,
    level: Level,
    changes: impl IntoParallelIterator<Item = Vec<u8>>,
) -> (u64, u64) {
    let missed = changes.into_par_iter().map(|bytes| (1, u64::from(!is_found(world, path, &bytes, level))));
    missed.reduce(|| (0, 0), |a, b| (a.0 + b.0, a.1 + b.1))
}

fn flips(bytes: &[u8], bits: usize) -> impl IndexedParallelIterator<Item = Vec<u8>> {
    // One bit a byte: another one each time.
    (0..bytes.len() * bits).into_par_iter().map(move |n| {
        let mut flipped = bytes.to_vec();
        let (byte, bit) = if bits == 8 { (n / 8, n % 8) } else { (n, n % 8) };
        flipped[byte] ^= 1 << bit;
        flipped
    })
}

fn cuts(bytes: &[u8]) -> impl IndexedParallelIterator<Item = Vec<u8>> {
    (0..bytes.len()).into_par_iter().map(|length| bytes[..length].to_vec())
}

/// One recording in a real bundle of about 16 kB.
fn with_a_bundle() -> (World, String, Vec<u8>) {
    let storage = Simulated::on(made());
    let mut archive = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).unwrap();
    let stem = ecgkeep_archive::layout::stem(key(0), 1);
    let info = [("External-Identifier", key(0).to_string()), ("Bagging-Date", "2026-03-02".to_owned())]
        .map(|(label, value)| (label.to_owned(), value));
    let noise = |seed, length| {
        let mut random = Random(seed);
        (0..length).map(|_| random.next().to_le_bytes()[0]).collect()
    };
    let member = |name: &str, bytes: Vec<u8>| Member { name: name.to_owned(), bytes };
    let members = vec![
        member("data/original/1.dat", noise(1, 9000)),
        member("data/report.svg", b"<svg><path d=\"M0 0L1 1\"/></svg>".repeat(200)),
        member("metadata/entry.json", noise(2, 3000)),
    ];
    let bytes = pack(&stem, &info, members).unwrap();
    let prepared = archive.prepare(&bytes).unwrap();
    archive
        .commit(vec![Act::Bundle { key: key(0), revision: 1, prepared, corrects: None }], &commit())
        .unwrap();
    let path = format!("{ROOT}/{}", ecgkeep_archive::layout::bundle(key(0), 1).display());
    (storage.world(), path, bytes)
}

#[test]
fn every_flipped_bit_of_a_bundle_is_found() {
    let (world, path, bytes) = with_a_bundle();
    assert!((8_000..=16_384).contains(&bytes.len()), "{} bytes", bytes.len());
    let (tried, missed) = missed(&world, &path, Level::Full, flips(&bytes, 8));
    assert_eq!(tried, bytes.len() as u64 * 8);
    row(&format!("every single bit of one bundle of {} bytes, archive verify", bytes.len()), tried, missed);
    assert_eq!(missed, 0);
}

#[test]
fn a_bundle_cut_at_every_byte_is_found() {
    let (world, path, bytes) = with_a_bundle();
    let (tried, missed) = missed(&world, &path, Level::Quick, cuts(&bytes));
    row("one bundle cut at every byte, archive verify --quick", tried, missed);
    assert_eq!(missed, 0);
}

/// A journal of some hundred lines of all kinds.
fn long_journal() -> World {
    let storage = Simulated::on(made());
    let mut archive = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).unwrap();
    for step in Steps::default().0 {
        step(&mut archive).unwrap();
    }
    let viewed = || {
        let about =
            About { key: Some(key(3)), revision: Some(1), why: Some(code("ward-round")), ..About::default() };
        Act::Line(Event::Viewed, about)
    };
    let batch = (archive.size()..scale(100, 1000)).map(|_| viewed()).collect();
    archive.commit(batch, &commit_at("2026-03-11T10:00:00Z")).unwrap();
    storage.world()
}

#[test]
fn a_flipped_bit_in_every_byte_of_the_journal_is_found() {
    let world = long_journal();
    let path = format!("{ROOT}/journal/000000000000.jsonl");
    let bytes = world.files()[&path].clone();
    let (tried, missed) = missed(&world, &path, Level::Quick, flips(&bytes, 1));
    row(&format!("a bit in every byte of a journal of {} bytes", bytes.len()), tried, missed);
    assert_eq!(missed, 0);
}

#[test]
fn a_journal_cut_at_every_byte_is_found() {
    let world = long_journal();
    let path = format!("{ROOT}/journal/000000000000.jsonl");
    let bytes = world.files()[&path].clone();
    let (tried, missed) = missed(&world, &path, Level::Quick, cuts(&bytes));
    row("a journal cut at every byte", tried, missed);
    assert_eq!(missed, 0);
}

/// All the small files: checkpoints, keys, schedule, request, certificates, tombstones, answers, archive.json.
#[test]
fn every_flipped_bit_of_the_small_files_is_found() {
    let storage = Simulated::on(made());
    let mut archive = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).unwrap();
    for step in Steps::default().0 {
        step(&mut archive).unwrap();
    }
    let world = storage.world();
    let is_small = |path: &str| {
        !path.ends_with(".zip")
            && !path.contains("/journal/")
            && !path.ends_with("ARCHIVE.txt")
            && !path.contains(concat!("/", "tmp/"))
    };
    let files: BTreeMap<_, _> = world.files().into_iter().filter(|(path, _)| is_small(path)).collect();
    assert!(files.len() > 10, "{:?}", files.keys());
    let (mut tried, mut lost) = (0, Vec::new());
    for (path, bytes) in &files {
        let (some, missed) = missed(&world, path, Level::Quick, flips(bytes, 8));
        tried += some;
        lost.extend((missed > 0).then_some((path, missed)));
    }
    row(
        "every single bit of checkpoints, keys, schedule, requests, certificates, tombstones, answers",
        tried,
        lost.len() as u64,
    );
    assert!(lost.is_empty(), "{lost:?}");
}
