//! Files from outside, cut and changed: an error with a place or what can be read, never a crash.
//!
//! The C library is in this process: a crash of it would end the tests, and so be seen.

use ecgkeep_demo::every_field;
use ecgkeep_format::{Error, File, Format, Kind, Limits, Memory, Options, Read};
use ecgkeep_hdf5::HDF5;

use crate::fixtures::files_in;
use crate::round_trip::files;

/// Small enough that nothing hostile costs much.
fn limits() -> Limits {
    Limits { samples: 1 << 20, marks: 10_000, ..Limits::default() }
}

fn read(bytes: Vec<u8>) -> Result<Read, Error> {
    HDF5.read(&Memory::new("x.h5", vec![File { name: "x.h5".into(), bytes }]), &limits())
}

fn check(what: &str, read: Result<Read, Error>) -> usize {
    let Err(error) = read else { return 0 };
    assert!(error.place().file.is_some(), "{what}: {error}");
    assert!(
        !matches!(error.kind(), Kind::Internal | Kind::Usage | Kind::Refused | Kind::Io),
        "{what}: {error:?}"
    );
    1
}

/// Good files of others, and one of ours without its digest.
fn whole_files() -> Vec<Vec<u8>> {
    let mut whole: Vec<Vec<u8>> = files_in("good").iter().map(|path| std::fs::read(path).unwrap()).collect();
    let mut ours = files(&[every_field()], &Options::default()).remove(0).bytes;
    ours.truncate(ours.len() - 86);
    whole.push(ours);
    whole
}

#[test]
fn a_file_cut_anywhere_is_refused_as_too_short() {
    for whole in whole_files() {
        for length in (0..whole.len()).step_by(7) {
            let error = read(whole[..length].to_vec()).expect_err("a part is missing");
            let expected = if length < 8 { Kind::Malformed } else { Kind::Truncated };
            assert_eq!(error.kind(), expected, "{length}: {error}");
        }
    }
}

/// A small generator of numbers that always gives the same ones.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self, below: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % below
    }
}

/// How many changed files are read; `ECGKEEP_CHANGED=100000` reads more.
fn changed_files() -> usize {
    std::env::var("ECGKEEP_CHANGED").ok().and_then(|number| number.parse().ok()).unwrap_or(3_000)
}

#[test]
fn changed_bytes_are_an_error_with_a_place_or_another_recording() {
    let whole = whole_files();
    let mut numbers = Numbers(7);
    let mut refused = 0;
    let count = changed_files();
    for turn in 0..count {
        let mut bytes = whole[turn % whole.len()].clone();
        for _ in 0..=numbers.next(3) {
            let at = numbers.next(bytes.len());
            bytes[at] = match numbers.next(4) {
                0 => bytes[at] ^ (1 << numbers.next(8)),
                1 => 0,
                2 => 0xff,
                _ => u8::try_from(numbers.next(256)).unwrap(),
            };
        }
        refused += check(&format!("turn {turn}"), read(bytes));
    }
    println!("{refused} of {count} changed files are refused");
    assert!(refused > count / 10, "only {refused} of {count} changed files are refused");
}
