//! The main job on one recording of 12 leads x 5000 samples, step by step: read, write, check, report, seal, verify.
//! `tests/reference/speed` runs independent peers on the same record.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use ecgkeep::checks::Policy;
use ecgkeep::format::{Limits, Memory, Options};
use ecgkeep::report::{PageFacts, Paper, sheet, svg};
use ecgkeep::{Opened, Original, Sealing, format_by_id, seal, verify, write};
use ecgkeep_demo::{Spec, recording};

fn walk(criterion: &mut Criterion) {
    let recording = recording(&Spec::default()).recording;
    let wfdb = format_by_id("wfdb").expect("WFDB is built in");
    let written =
        write(wfdb, std::slice::from_ref(&recording), "demo", &Options::default()).expect("it fits WFDB");
    let bytes: usize = written.files.iter().map(|file| file.bytes.len()).sum();
    let source = Memory::new("demo.hea", written.files.clone());
    let read = || wfdb.read(&source, &Limits::default()).expect("own output reads");
    let now = "2026-03-02T18:00+01:00".parse().expect("a civil time");
    let policy = Policy::default();
    let opened = Opened {
        format: wfdb,
        main: "demo.hea".to_owned(),
        read: read(),
        files: written
            .files
            .iter()
            .map(|file| Original { name: file.name.clone(), bytes: file.bytes.as_slice().into() })
            .collect(),
        amends: None,
    };
    let sealing = Sealing { filing: None, policy: &policy, at: now, program: "ecgkeep" };
    let sealed = seal(&opened, &sealing).expect("it seals");
    let bundle: Arc<[u8]> = sealed.bytes.into();

    let mut group = criterion.benchmark_group("12x5000");
    group.throughput(Throughput::Bytes(bytes as u64));
    group.bench_function("read", |bencher| bencher.iter(read));
    group.bench_function("encode", |bencher| {
        bencher.iter(|| wfdb.encode(std::slice::from_ref(&recording), "demo", &Options::default()));
    });
    group.bench_function("write: encode, read back, compare", |bencher| {
        bencher.iter(|| write(wfdb, std::slice::from_ref(&recording), "demo", &Options::default()));
    });
    group.bench_function("check", |bencher| {
        bencher.iter(|| ecgkeep::checks::run(black_box(&recording), None, &policy, &now));
    });
    let assessment = ecgkeep::checks::run(&recording, None, &policy, &now);
    group.bench_function("report", |bencher| {
        bencher.iter(|| svg(&sheet(&recording, &assessment, &PageFacts::default(), &Paper::default()), 0));
    });
    group.bench_function("fingerprint", |bencher| bencher.iter(|| black_box(&recording).fingerprint()));
    group.bench_function("seal", |bencher| bencher.iter(|| seal(&opened, &sealing)));
    group.bench_function("verify", |bencher| bencher.iter(|| verify("demo.zip", bundle.clone())));
    group.finish();
}

criterion_group!(benches, walk);
criterion_main!(benches);
