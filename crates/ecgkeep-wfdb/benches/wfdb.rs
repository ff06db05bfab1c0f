//! Reading and writing 12 leads x 5000 samples, and reading a record of the size of record 100 of the MIT-BIH
//! Arrhythmia Database (2 signals x 650,000 samples in storage format 212). In memory: no disk takes part.
//! `tests/reference/wfdb_speed.py` times PyPI wfdb on the same records.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use ecgkeep_format::{File, Format, Limits, Memory, Options, write};
use ecgkeep_recording::{Exact, Lead, Rate, Recording, Signal, Step, Waveform};
use ecgkeep_wfdb::WFDB;

/// A record of random-looking samples of up to 12 bits.
fn record(leads: &[Lead], rate: i64, length: i32, storage: &str) -> (Recording, Vec<File>) {
    let step = Step::new(Exact::whole(4_880)).expect("not zero");
    let signals = leads.iter().zip(1..).map(|(lead, k): (&Lead, i32)| {
        let samples = (0..length).map(|i| i.wrapping_mul(k * 7_919).rotate_left(13) % 2_000).collect();
        Signal::new(lead.clone(), step, samples)
    });
    let rate = Rate::new(Exact::whole(rate)).expect("above zero");
    let waveform = Waveform::new(rate, signals.collect()).expect("equal lengths");
    let recording = Recording { waveforms: vec![waveform], ..Recording::default() };
    let options = Options::default().with("storage", storage);
    let files = WFDB.encode(std::slice::from_ref(&recording), "r", &options).expect("it is written");
    (recording, files)
}

fn wfdb(criterion: &mut Criterion) {
    let limits = Limits::default();
    let (twelve, files) = record(&Lead::TWELVE, 500, 5_000, "16");
    let source = Memory::new("r.hea", files);
    criterion.bench_function("wfdb: read 12 x 5000", |bench| {
        bench.iter(|| WFDB.read(black_box(&source), &limits).expect("it is read"));
    });
    criterion.bench_function("wfdb: encode 12 x 5000", |bench| {
        let recordings = std::slice::from_ref(&twelve);
        bench.iter(|| WFDB.encode(black_box(recordings), "r", &Options::default()).expect("it is written"));
    });
    criterion.bench_function("wfdb: write 12 x 5000, read back and compared", |bench| {
        let recordings = std::slice::from_ref(&twelve);
        bench.iter(|| write(&WFDB, black_box(recordings), "r", &Options::default()).expect("it is written"));
    });
    let (_, files) = record(&[Lead::II, Lead::V5], 360, 650_000, "212");
    let source = Memory::new("r.hea", files);
    criterion.bench_function("wfdb: read 2 x 650000", |bench| {
        bench.iter(|| WFDB.read(black_box(&source), &limits).expect("it is read"));
    });
}

criterion_group!(benches, wfdb);
criterion_main!(benches);
