//! Decoding and encoding of 12 leads of 5000 samples, Huffman coded second differences, as whole records: frame,
//! checksums and header included. Beside them a plain copy of the same 16-bit samples.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use ecgkeep_format::{File, Format, Limits, Memory, Options};
use ecgkeep_recording::{Exact, Lead, Rate, Recording, Signal, Step, Waveform};
use ecgkeep_scp::SCP;

const LEADS: usize = 12;
const SAMPLES: usize = 5000;
/// Decoded samples, 16 bits each.
const BYTES: u64 = (LEADS * SAMPLES * 2) as u64;

/// Ten seconds of an invented ECG at 500 samples per second and 5 uV: a beat each 400 samples on a slow wave, with
/// interference of 20 samples and noise of a few units. Second differences are the smallest, and take about as many
/// bits as those of real records.
fn recording() -> Recording {
    let mut state = 1u32;
    let mut noise = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24).count_ones().cast_signed() / 2
    };
    let bump = |at: i32, width: i32, height: i32| {
        let near = (width * width - at * at).max(0);
        height * near / (width * width)
    };
    let mut signal = |lead: &Lead, scale: i32| {
        let samples = (0..5000).map(|sample| {
            let at = sample % 400;
            let slow = bump(sample % 1000 - 500, 500, 30) + bump(sample % 20 - 10, 10, 150);
            scale * (bump(at - 60, 25, 25) + bump(at - 130, 12, 240) + bump(at - 240, 50, 60)) / 12
                + slow
                + noise()
        });
        Signal::new(lead.clone(), Step::new(Exact::whole(5000)).expect("not zero"), samples.collect())
    };
    let signals = Lead::TWELVE.iter().zip(4..).map(|(lead, scale)| signal(lead, scale)).collect();
    let rate = Rate::new(Exact::whole(500)).expect("above zero");
    let waveform = Waveform::new(rate, signals).expect("signals of one length");
    Recording { waveforms: vec![waveform], ..Recording::default() }
}

fn bench(criterion: &mut Criterion) {
    let recording = recording();
    let options = Options::default();
    let encode = |recording: &Recording| {
        let files = SCP.encode(std::slice::from_ref(recording), "r", &options);
        files.expect("the recording can be written").remove(0).bytes
    };
    let bytes = encode(&recording);
    let has_second_differences = bytes.windows(5).any(|head| head == [0x88, 0x13, 0xd0, 0x07, 2]);
    assert!(has_second_differences, "the benchmark is of second differences at 5000 nV and 2000 us");
    let memory = Memory::new("r.scp", vec![File { name: "r.scp".into(), bytes }]);
    let samples = vec![1i16; LEADS * SAMPLES];

    let mut group = criterion.benchmark_group("scp");
    group.throughput(Throughput::Bytes(BYTES));
    group.bench_function("decode", |bencher| {
        bencher.iter(|| SCP.read(black_box(&memory), &Limits::default()).expect("own output is read"));
    });
    group.bench_function("encode", |bencher| bencher.iter(|| encode(black_box(&recording))));
    group.bench_function("copy", |bencher| bencher.iter(|| black_box(&samples).clone()));
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
