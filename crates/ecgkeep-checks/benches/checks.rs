//! All rules over a ten-second recording of twelve leads, 500 samples per second.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use ecgkeep_checks::{Policy, rhythm, run};
use ecgkeep_demo::{Fault, Spec, recording};

fn checks(criterion: &mut Criterion) {
    let now = "2026-03-03T12:00Z".parse().expect("a time");
    let policy = Policy::default();
    let faultless = recording(&Spec::default()).recording;
    let faults = vec![
        Fault::Hum { hz: 50.0, microvolts: 80.0 },
        Fault::MuscleNoise { microvolts_rms: 60.0 },
        Fault::Wander { hz: 0.2, microvolts: 700.0 },
    ];
    let noisy = recording(&Spec { faults, ..Spec::default() }).recording;
    let mut group = criterion.benchmark_group("checks");
    for (name, recording) in [("faultless", &faultless), ("noisy", &noisy)] {
        group.bench_function(name, |bencher| bencher.iter(|| run(black_box(recording), None, &policy, &now)));
    }
    group.bench_function("rhythm", |bencher| bencher.iter(|| rhythm(black_box(&faultless))));
    group.finish();
}

criterion_group!(benches, checks);
criterion_main!(benches);
