//! How long a page takes: twelve leads of ten seconds at 500 samples per second.

use criterion::{Criterion, criterion_group, criterion_main};
use ecgkeep_checks::Assessment;
use ecgkeep_demo::{Spec, recording};
use ecgkeep_report::{PageFacts, Paper, sheet, svg};

fn pages(criterion: &mut Criterion) {
    let recording = recording(&Spec { with_measurements: true, ..Spec::default() }).recording;
    let (assessment, facts, paper) = (Assessment::default(), PageFacts::default(), Paper::default());
    criterion.bench_function("sheet of 12 x 5000", |bencher| {
        bencher.iter(|| sheet(&recording, &assessment, &facts, &paper));
    });
    let sheet = sheet(&recording, &assessment, &facts, &paper);
    criterion.bench_function("svg of 12 x 5000", |bencher| bencher.iter(|| svg(&sheet, 0)));
    #[cfg(feature = "pdf")]
    criterion.bench_function("pdf of 12 x 5000", |bencher| {
        bencher.iter(|| ecgkeep_report::pdf(&sheet, &ecgkeep_recording::CivilTime::default()));
    });
}

criterion_group!(benches, pages);
criterion_main!(benches);
