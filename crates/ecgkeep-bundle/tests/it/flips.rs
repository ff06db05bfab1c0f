//! Every single-bit flip and every cut of one whole bundle, and what a bundle alone cannot tell.

use std::collections::BTreeMap;

use ecgkeep_bundle::{Bundle, Fault};
use ecgkeep_format::Kind;

use crate::sample;

/// The contents of all members.
fn contents(bundle: &Bundle) -> BTreeMap<String, Vec<u8>> {
    bundle.members().map(|name| (name.to_owned(), bundle.member(name).unwrap())).collect()
}

/// In whose packed bytes this byte lies: its member, and the offset within them.
fn owner(zip: &[u8], byte: usize) -> Option<(String, usize)> {
    let names = sample::local_headers(zip).into_iter().map(|(name, _)| name);
    names
        .map(|name| (sample::packed(zip, &name), name))
        .find(|(packed, _)| packed.contains(&byte))
        .map(|(packed, name)| (name.split_once('/').unwrap().1.to_owned(), byte - packed.start))
}

#[test]
fn every_bit_flip_is_found_or_alters_no_content() {
    let zip = sample::bytes();
    assert!(zip.len() <= 16_384, "{} bytes", zip.len());
    let original = contents(&sample::open(zip.clone()).unwrap());
    let (mut structure, mut members, mut harmless) = (0, 0, Vec::new());
    for byte in 0..zip.len() {
        for bit in 0..8 {
            let mut flipped = zip.clone();
            flipped[byte] ^= 1 << bit;
            let bundle = match sample::open(flipped) {
                Ok(bundle) => bundle,
                Err(error) => {
                    let is_structure =
                        matches!(error.kind(), Kind::Malformed | Kind::Truncated | Kind::Limit);
                    assert!(is_structure && owner(&zip, byte).is_none(), "byte {byte} bit {bit}: {error}");
                    structure += 1;
                    continue;
                }
            };
            let faults = bundle.verify();
            match owner(&zip, byte) {
                None => panic!("a flip of the structure is not found: byte {byte} bit {bit}"),
                Some((member, _)) if !faults.is_empty() => {
                    let is_named =
                        faults.iter().any(|fault: &Fault| fault.member.as_deref() == Some(&*member));
                    assert!(is_named, "byte {byte} bit {bit} of {member}: {faults:?}");
                    members += 1;
                }
                Some((member, offset)) => {
                    assert_eq!(contents(&bundle), original, "byte {byte} bit {bit} of {member}");
                    harmless.push((member, offset, bit));
                }
            }
        }
    }
    println!(
        "{} bits: {structure} found as structure, {members} as damage of their member, {} alter no content",
        zip.len() * 8,
        harmless.len()
    );
    assert_eq!(harmless, [], "member, packed byte, bit");
}

/// Bundles of many shapes, and a flip of each at a random place. `ECGKEEP_FLIPS` says how many, 20,000 without it.
///
/// What a bundle alone cannot tell is a deflate stream that says the same content in other words: a match that
/// points to another copy of the same bytes, a code length that no symbol uses. Such a flip must alter nothing.
#[test]
fn flips_of_many_bundles_are_found_or_alter_no_content() {
    let wanted: u64 = std::env::var("ECGKEEP_FLIPS").ok().and_then(|n| n.parse().ok()).unwrap_or(20_000);
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut random = move |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        usize::try_from(state % below as u64).unwrap()
    };
    let mut harmless = Vec::new();
    for number in 0..50_usize {
        let wave =
            (0..200 + number * 10).map(|i| i * (1 + number % 7) % (20 + number) + random(1 + number % 4));
        let samples: Vec<u8> = wave.flat_map(|value| u16::try_from(value).unwrap().to_le_bytes()).collect();
        let members = sample::members().into_iter().chain([
            sample::member("data/wfdb/record.dat", samples),
            sample::member("data/flat", vec![0; number * 40]),
        ]);
        let zip = ecgkeep_bundle::pack(sample::STEM, &sample::info(), members.collect()).unwrap();
        let original = contents(&sample::open(zip.clone()).unwrap());
        for _ in 0..wanted / 50 {
            let (byte, bit) = (random(zip.len()), random(8));
            let mut flipped = zip.clone();
            flipped[byte] ^= 1 << bit;
            let Ok(bundle) = sample::open(flipped) else { continue };
            if bundle.verify().is_empty() {
                let (member, offset) = owner(&zip, byte).expect("a flip of the structure is always found");
                assert_eq!(contents(&bundle), original, "byte {byte} bit {bit} of {member}");
                harmless.push((number, member, offset, bit));
            }
        }
    }
    println!("{wanted} flips, {} of them alter no content and are not found: {harmless:?}", harmless.len());
    assert!(harmless.len() as u64 * 1000 <= wanted, "more than one in a thousand: {harmless:?}");
}

#[test]
fn every_cut_is_refused() {
    let zip = sample::bytes();
    for length in 0..zip.len() {
        let error = sample::open(zip[..length].to_vec()).expect_err("a cut bundle");
        assert!(matches!(error.kind(), Kind::Truncated | Kind::Malformed), "{length}: {error}");
    }
}

#[test]
fn every_byte_that_is_lost_or_doubled_is_found() {
    let zip = sample::bytes();
    for byte in 0..zip.len() {
        let mut lost = zip.clone();
        lost.remove(byte);
        assert!(sample::open(lost).is_err(), "without byte {byte}");
        let mut doubled = zip.clone();
        doubled.insert(byte, zip[byte]);
        assert!(sample::open(doubled).is_err(), "byte {byte} twice");
    }
}
