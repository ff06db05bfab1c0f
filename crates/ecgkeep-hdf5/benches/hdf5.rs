//! Reading and writing 12 leads x 5000 samples, and a stack of 100 such recordings. Bytes pass through a temporary file each
//! time, as the C library wants it.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use ecgkeep_demo::{Spec, recording};
use ecgkeep_format::{Format, Limits, Memory, Options};
use ecgkeep_hdf5::HDF5;
use ecgkeep_recording::Recording;

fn hdf5(criterion: &mut Criterion) {
    let one = [recording(&Spec { with_measurements: true, ..Spec::default() }).recording];
    let limits = Limits::default();
    let files = |recordings: &[Recording], options: &Options| {
        HDF5.encode(recordings, "r", options).expect("it is written")
    };
    let source = Memory::new("r.h5", files(&one, &Options::default()));
    criterion.bench_function("hdf5: read 12 x 5000", |bench| {
        bench.iter(|| HDF5.read(black_box(&source), &limits).expect("it is read"));
    });
    criterion.bench_function("hdf5: encode 12 x 5000", |bench| {
        bench.iter(|| files(black_box(&one), &Options::default()));
    });
    let hundred: Vec<Recording> = (0..100).map(|_| one[0].clone()).collect();
    let stacked = Options::default().with("stack", "without-identity");
    let source = Memory::new("r.h5", files(&hundred, &stacked));
    criterion.bench_function("hdf5: read a stack of 100 x 12 x 5000", |bench| {
        bench.iter(|| HDF5.read(black_box(&source), &limits).expect("it is read"));
    });
    criterion.bench_function("hdf5: encode a stack of 100 x 12 x 5000", |bench| {
        bench.iter(|| files(black_box(&hundred), &stacked));
    });
}

criterion_group!(benches, hdf5);
criterion_main!(benches);
