//! What verify finds, and whom it names.

use ecgkeep_bundle::FaultKind;
use ecgkeep_format::Kind;

use crate::by_hand::{Entry, deflated, stored, zip};
use crate::sample::{self, STEM};

/// The sample's members as stored entries, in the order of the ZIP.
fn entries() -> Vec<Entry> {
    let bytes = sample::bytes();
    let bundle = sample::open(bytes.clone()).unwrap();
    let name = |path: &str| path.strip_prefix(&format!("{STEM}/")).unwrap().to_owned();
    let entry = |path: &str| stored(path, &bundle.member(&name(path)).unwrap());
    sample::local_headers(&bytes).iter().map(|(path, _)| entry(path)).collect()
}

/// The faults of the sample after a change to its entries.
fn faults(change: impl FnOnce(&mut Vec<Entry>)) -> Vec<(Option<String>, FaultKind)> {
    let mut entries = entries();
    change(&mut entries);
    let faults = sample::open(zip(&entries)).expect("the ZIP is still a bundle's").verify();
    faults.into_iter().map(|fault| (fault.member, fault.kind)).collect()
}

fn named(member: &str, kind: FaultKind) -> (Option<String>, FaultKind) {
    (Some(member.to_owned()), kind)
}

fn replace(entries: &mut [Entry], member: &str, bytes: &[u8]) {
    let path = format!("{STEM}/{member}");
    let entry = entries.iter_mut().find(|entry| entry.name == path.as_bytes()).unwrap();
    *entry = stored(&path, bytes);
}

#[test]
fn a_zip_put_together_by_hand_verifies() {
    assert_eq!(faults(|_| {}), []);
}

#[test]
fn every_changed_content_is_named() {
    for entry in entries() {
        let member = String::from_utf8(entry.name.clone()).unwrap()[STEM.len() + 1..].to_owned();
        let found = faults(|entries| {
            let entry = entries.iter_mut().find(|own| own.name == entry.name).unwrap();
            entry.packed[10] ^= 4; // with a CRC-32 that fits: only the digest can tell
            *entry = stored(str::from_utf8(&entry.name).unwrap(), &entry.packed.clone());
        });
        let is_told =
            found.iter().any(|(name, _)| name.as_deref() == Some(&*member) || member.contains("tagmanifest"));
        assert!(!found.is_empty() && is_told, "{member}: {found:?}");
    }
}

#[test]
fn a_wrong_crc_and_a_broken_stream_are_damage_inside_the_member() {
    let bytes = b"x".repeat(300);
    let packed = b"\x4b\xa1\x14\x00\x00"; // not what deflate makes of it
    for (change, what) in [
        (Entry { crc: 7, ..stored("", b"") }, "its CRC-32 is"),
        (deflated("", packed, &bytes), ""),
        (deflated("", b"\xff\xff\xff", &bytes), "its deflate stream is broken"),
        (deflated("", b"\x03\x00", &bytes), "unpacks to 0 bytes"),
        (deflated("", b"\x03\x00tail", &bytes), "its deflate stream ends after 2 of 6 bytes"),
        (deflated("", b"\x00\x05\x00\xfa\xff", &bytes), "does not end within"),
        (deflated("", b"\x01\x03\x00\xfc\xffabc", &b"x".repeat(9)), "unpacks to 3 bytes"),
    ] {
        let mut entries = entries();
        let at = entries.iter().position(|entry| entry.name.ends_with(b"1.dat")).unwrap();
        entries[at] = Entry { name: entries[at].name.clone(), ..change };
        if what.starts_with("its CRC") {
            entries[at] =
                Entry { crc: 7, ..stored(&format!("{STEM}/data/original/1.dat"), &sample::signal()) };
        }
        let bundle = sample::open(zip(&entries)).unwrap();
        let error = bundle.member("data/original/1.dat").unwrap_err();
        assert_eq!(error.kind(), Kind::Altered, "{error}");
        assert!(error.to_string().contains(what), "{error}");
        assert_eq!(error.place().part.as_deref(), Some("data/original/1.dat"));
        let faults = bundle.verify();
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert_eq!(faults[0].member.as_deref(), Some("data/original/1.dat"));
        assert_eq!(faults[0].kind, FaultKind::Altered);
    }
}

#[test]
fn bits_after_the_end_of_a_stream_are_told_apart_from_damage_of_the_content() {
    let zip = sample::bytes();
    let last = sample::packed(&zip, "/report.svg").end - 1;
    let (mut slack, mut damage) = (0, 0);
    for bit in 0..8 {
        let mut flipped = zip.clone();
        flipped[last] ^= 1 << bit;
        let bundle = sample::open(flipped).unwrap();
        let is_whole = bundle.member("data/report.svg").is_ok();
        let faults = bundle.verify();
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert_eq!(faults[0].member.as_deref(), Some("data/report.svg"));
        assert_eq!(faults[0].kind, FaultKind::Altered);
        assert_eq!(faults[0].what.contains("its content is not altered"), is_whole, "{faults:?}");
        slack += u32::from(is_whole);
        damage += u32::from(!is_whole);
    }
    assert!(slack > 0 && damage > 0, "{slack} {damage}");
}

#[test]
fn a_member_that_unpacks_to_more_than_it_says_is_stopped() {
    let mut zeros = Vec::new();
    let mut compress = flate2::Compress::new(flate2::Compression::new(6), false);
    zeros.reserve(4096);
    compress.compress_vec(&[0; 1 << 20], &mut zeros, flate2::FlushCompress::Finish).unwrap();
    let mut entries = entries();
    let at = entries.iter().position(|entry| entry.name.ends_with(b"1.dat")).unwrap();
    entries[at] = deflated(&format!("{STEM}/data/original/1.dat"), &zeros, &[0; 5000]);
    let error = sample::open(zip(&entries)).unwrap().member("data/original/1.dat").unwrap_err();
    assert!(error.to_string().contains("unpacks to more than the 5000 bytes"), "{error}");
}

#[test]
fn what_is_missing_or_not_listed_is_named() {
    let without = |member: &'static str| {
        move |entries: &mut Vec<Entry>| entries.retain(|entry| !entry.name.ends_with(member.as_bytes()))
    };
    assert!(faults(without("/1.dat")).contains(&named("data/original/1.dat", FaultKind::Missing)));
    assert!(faults(without("/entry.json")).contains(&named("metadata/entry.json", FaultKind::Missing)));
    assert!(faults(without("/bagit.txt")).contains(&named("bagit.txt", FaultKind::Missing)));
    assert!(faults(without("/bag-info.txt")).contains(&named("bag-info.txt", FaultKind::Missing)));
    assert!(
        faults(without("/manifest-sha512.txt")).contains(&named("manifest-sha512.txt", FaultKind::Missing))
    );
    let found = faults(without("/tagmanifest-sha512.txt"));
    assert_eq!(found, [named("tagmanifest-sha512.txt", FaultKind::Missing)]);
    let found = faults(|entries| entries.push(stored(&format!("{STEM}/data/more"), b"x")));
    assert!(found.contains(&named("data/more", FaultKind::Unlisted)), "{found:?}");
    let found = faults(|entries| entries.push(stored(&format!("{STEM}/metadata/more"), b"x")));
    assert_eq!(found, [named("metadata/more", FaultKind::Hazard)]);
    let found = faults(|entries| entries.push(stored(&format!("{STEM}/more.txt"), b"x")));
    assert!(found.contains(&named("more.txt", FaultKind::Unlisted)), "{found:?}");
}

#[test]
fn the_profile_asks_for_more_than_bagit() {
    let bagit = b"BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n";
    let found = faults(|entries| replace(entries, "bagit.txt", bagit));
    assert!(found.contains(&named("bagit.txt", FaultKind::Malformed)), "{found:?}");
    let found = faults(|entries| replace(entries, "bag-info.txt", b"Bagging-Date: 2026-11-25\n"));
    let count = found.iter().filter(|fault| **fault == named("bag-info.txt", FaultKind::Malformed)).count();
    assert_eq!(count, 3, "{found:?}");
    let info = b"External-Identifier: x\nBagging-Date: 2026-11-25\nPayload-Oxum: 1.1\nBagIt-Profile-Identifier: urn:other\n";
    let found = faults(|entries| replace(entries, "bag-info.txt", info));
    let count = found.iter().filter(|fault| **fault == named("bag-info.txt", FaultKind::Malformed)).count();
    assert_eq!(count, 1, "{found:?}");
    let found = faults(|entries| entries.push(stored(&format!("{STEM}/fetch.txt"), b"")));
    assert!(found.contains(&named("fetch.txt", FaultKind::Malformed)), "{found:?}");
    let found = faults(|entries| entries.push(stored(&format!("{STEM}/manifest-md5.txt"), b"")));
    assert!(found.contains(&named("manifest-md5.txt", FaultKind::Unlisted)), "{found:?}");
}
