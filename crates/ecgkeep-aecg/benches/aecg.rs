//! Reading and writing a 12 x 5000 document, beside what tokenising and a plain loop over the same integers take.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use ecgkeep_aecg::AECG;
use ecgkeep_demo::{Spec, recording};
use ecgkeep_format::{Format, Limits, Options, Result, Source};
use quick_xml::Reader;
use quick_xml::events::Event;

/// One file whose bytes are handed out without a copy.
struct Bytes(Arc<[u8]>);

impl Source for Bytes {
    fn main(&self) -> &str {
        "r.xml"
    }

    fn names(&self) -> Result<Vec<String>> {
        Ok(vec!["r.xml".to_owned()])
    }

    fn bytes(&self, _name: &str, _limit: u64) -> Result<Arc<[u8]>> {
        Ok(self.0.clone())
    }
}

/// Every event, and every integer between blanks in `digits`, by a plain loop.
fn tokens_and_integers(text: &str) -> (usize, Vec<Vec<i32>>) {
    let (mut events, mut lists, mut in_digits) = (0, Vec::new(), false);
    let mut reader = Reader::from_str(text);
    loop {
        match reader.read_event().expect("the document is well-formed") {
            Event::Start(tag) => in_digits = tag.name().0 == "digits",
            Event::End(_) => in_digits = false,
            Event::Text(text) if in_digits => lists.push(integers(text.as_bytes())),
            Event::Eof => return (events, lists),
            _ => {}
        }
        events += 1;
    }
}

fn integers(bytes: &[u8]) -> Vec<i32> {
    let mut list = Vec::new();
    let (mut value, mut negative, mut any) = (0i32, false, false);
    for byte in bytes {
        match byte {
            b'0'..=b'9' => {
                value = value.wrapping_mul(10).wrapping_add(i32::from(byte - b'0'));
                any = true;
            }
            b'-' => negative = true,
            _ => {
                if any {
                    list.push(if negative { -value } else { value });
                }
                (value, negative, any) = (0, false, false);
            }
        }
    }
    if any {
        list.push(if negative { -value } else { value });
    }
    list
}

fn aecg(criterion: &mut Criterion) {
    let demo = recording(&Spec::default()).recording;
    let files = AECG.encode(std::slice::from_ref(&demo), "r", &Options::default()).expect("is written");
    let bytes: Arc<[u8]> = files[0].bytes.as_slice().into();
    let text = std::str::from_utf8(&bytes).expect("is UTF-8");
    let count: usize = tokens_and_integers(text).1.iter().map(Vec::len).sum();
    assert_eq!(count, 60_000);
    let mut group = criterion.benchmark_group("aecg 12 x 5000");
    group.throughput(Throughput::Bytes(bytes.len() as u64));
    group.bench_function("tokens and integers, a plain loop", |bencher| {
        bencher.iter(|| tokens_and_integers(black_box(text)));
    });
    let source = Bytes(bytes.clone());
    group.bench_function("read", |bencher| {
        bencher.iter(|| AECG.read(black_box(&source), &Limits::default()).expect("is read"));
    });
    group.bench_function("write", |bencher| {
        let recordings = std::slice::from_ref(&demo);
        bencher.iter(|| AECG.encode(black_box(recordings), "r", &Options::default()).expect("is written"));
    });
    group.finish();
}

criterion_group!(benches, aecg);
criterion_main!(benches);
