//! How fast recordings are filed, and how fast a full verify is beside the raw digests of the same bytes.
//!
//! `cargo bench -p ecgkeep-archive`. The disk counts: `TMPDIR` says which one. A full verify compares SHA-256, as
//! `sha256sum` would; SHA-512 stands beside it because the files inside a bundle have that.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use ecgkeep_archive::storage::Disk;
use ecgkeep_archive::{Act, Archive, Commit, Digest, Key, Level, Making, VerifyArgs};
use rayon::prelude::*;
use sha2::{Digest as _, Sha256, Sha512};

/// The size of a bundle of a ten-second ECG of 12 leads, about.
const BUNDLE_BYTES: usize = 60_000;

fn making() -> Making {
    Making {
        id: "bench".parse().expect("a code"),
        origin: "larkmoor.example/bench".into(),
        at: "2026-03-02T09:30:00Z".parse().expect("a moment"),
        by: "bench".parse().expect("a code"),
        program: "bench".into(),
    }
}

fn commit() -> Commit<'static> {
    Commit {
        by: "bench".parse().expect("a code"),
        at: "2026-03-02T10:00:00Z".parse().expect("a moment"),
        signer: None,
    }
}

fn bytes(n: u64) -> Vec<u8> {
    let block = Sha512::digest(n.to_le_bytes());
    block.iter().copied().cycle().take(BUNDLE_BYTES).collect()
}

fn key(n: u64) -> Key {
    Digest::of(&n.to_le_bytes()).to_string()[..32].parse().expect("32 digits")
}

/// Prepared together, filed in one batch.
fn file(archive: &mut Archive, first: u64, recordings: &[Vec<u8>]) {
    let prepared = archive.prepare_all(recordings).into_iter().zip(first..);
    let batch: Vec<Act> = prepared
        .map(|(prepared, n)| Act::Bundle {
            key: key(n),
            revision: 1,
            prepared: prepared.expect("room"),
            corrects: None,
        })
        .collect();
    archive.commit(batch, &commit()).expect("room");
}

fn archive(c: &mut Criterion) {
    let folder = tempfile::tempdir().expect("a folder");
    let mut archive =
        Archive::create(Arc::new(Disk), &folder.path().join("a"), &making()).expect("an archive");
    let mut next = 0;
    let mut group = c.benchmark_group("file recordings of 60 kB");
    group.sample_size(10);
    for size in [1, 16, 256] {
        group.throughput(Throughput::Elements(size));
        group.bench_function(format!("in batches of {size}"), |b| {
            b.iter_batched(
                || {
                    next += size;
                    (next, (next..next + size).map(bytes).collect::<Vec<_>>())
                },
                |(first, recordings)| file(&mut archive, first, &recordings),
                BatchSize::PerIteration,
            );
        });
    }
    group.finish();

    let mut archive =
        Archive::create(Arc::new(Disk), &folder.path().join("b"), &making()).expect("an archive");
    let recordings: Vec<Vec<u8>> = (0..1000).map(bytes).collect();
    recordings.chunks(250).zip(0..).for_each(|(batch, n)| file(&mut archive, n * 250, batch));
    let mut group = c.benchmark_group("verify 1000 recordings of 60 kB");
    group.sample_size(10).throughput(Throughput::Bytes(1000 * BUNDLE_BYTES as u64));
    for level in [Level::Quick, Level::Full] {
        let args = VerifyArgs { level, part: None, against: None };
        group.bench_function(format!("{level:?}"), |b| {
            b.iter(|| {
                let report = archive.verify(&args, &|_| Vec::new(), &|_, _| ()).expect("it can be read");
                assert!(report.is_sound());
            });
        });
    }
    let raw =
        |digest: fn(&[u8]) -> u8| recordings.par_iter().map(|bytes| u64::from(digest(bytes))).sum::<u64>();
    group.bench_function("raw SHA-256 of the same bytes in memory, all cores", |b| {
        b.iter(|| black_box(raw(|bytes| Sha256::digest(bytes)[0])));
    });
    group.bench_function("raw SHA-512 of the same bytes in memory, all cores", |b| {
        b.iter(|| black_box(raw(|bytes| Sha512::digest(bytes)[0])));
    });
    group.finish();

    let mut group = c.benchmark_group("open an archive");
    group.bench_function("of 1000 recordings", |b| {
        b.iter(|| Archive::open(Arc::new(Disk), &folder.path().join("b")).expect("an archive"));
    });
    group.bench_function("a receipt", |b| b.iter(|| archive.receipt(black_box(500)).expect("a line")));
    group.finish();
}

criterion_group!(benches, archive);
criterion_main!(benches);
