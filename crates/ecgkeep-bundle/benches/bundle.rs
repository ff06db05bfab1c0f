//! Packing and verifying a bundle of about 250 kB of payload, beside SHA-512 of the same bytes.
//!
//! Peer: `sha512sum` over the same files; `tests/reference/bundle_check.py --time` runs it.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use sha2::{Digest as _, Sha512};

use ecgkeep_bundle::{Bundle, Member, pack};

/// 12 leads of 5000 samples in 16 bits: a slow wave, a spike once a second, two bits of noise.
fn signal() -> Vec<u8> {
    let mut state = 1_u32;
    let mut samples = Vec::with_capacity(120_000);
    for i in 0..5000_i16 {
        for lead in 0..12_i16 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = i16::from(state.to_be_bytes()[0] & 3);
            let spike = if i % 500 < 20 { 40 * (i % 500) * (lead - 5) / 5 } else { 0 };
            samples.extend(((i % 250) / 4 + spike + noise).to_le_bytes());
        }
    }
    samples
}

fn members() -> Vec<Member> {
    let member = |name: &str, bytes: Vec<u8>| Member { name: name.to_owned(), bytes };
    let path: String = (0..9000).map(|i| format!("L{}.{} {}", i / 40, i % 10, 40 + i * 7 % 23)).collect();
    vec![
        member("data/original/1.hea", b"1 12 500 5000\n".repeat(13)),
        member("data/original/1.dat", signal()),
        member("data/report.svg", format!("<svg><path d=\"{path}\"/></svg>").into_bytes()),
        member("metadata/README.txt", b"how to check this bundle by hand\n".repeat(40)),
        member("metadata/recording.json", format!("{{\"path\":\"{}\"}}", &path[..30_000]).into_bytes()),
        member("metadata/entry.json", b"{\"schema\":\"x\"}".repeat(20)),
    ]
}

fn bundle(c: &mut Criterion) {
    let info = [("External-Identifier", "6c61726b"), ("Bagging-Date", "2026-11-25")]
        .map(|(label, value)| (label.to_owned(), value.to_owned()));
    let members = members();
    let bytes: usize = members.iter().map(|member| member.bytes.len()).sum();
    let zip: Arc<[u8]> = pack("6c61726b.r1", &info, members.clone()).expect("the members are plain").into();
    println!("{bytes} bytes in {} members, the bundle has {}", members.len(), zip.len());
    let opened = Bundle::open("a.zip", zip.clone()).expect("it was just packed");
    assert_eq!(opened.verify(), []);

    let mut group = c.benchmark_group("bundle");
    group.throughput(Throughput::Bytes(bytes as u64));
    group.bench_function("pack", |b| {
        b.iter_batched(
            || members.clone(),
            |members| pack("6c61726b.r1", &info, members),
            criterion::BatchSize::LargeInput,
        );
    });
    group.bench_function("open", |b| b.iter(|| Bundle::open("a.zip", black_box(zip.clone()))));
    group.bench_function("verify", |b| b.iter(|| black_box(&opened).verify()));
    group.bench_function("sha512 of the same bytes", |b| {
        b.iter(|| members.iter().map(|member| Sha512::digest(black_box(&member.bytes))[0]).max());
    });
    group.finish();
}

criterion_group!(benches, bundle);
criterion_main!(benches);
