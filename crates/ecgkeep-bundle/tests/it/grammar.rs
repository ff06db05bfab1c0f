//! The narrow grammar, rule by rule: each change breaks one, and is refused with its place.

use ecgkeep_format::Kind;

use crate::by_hand::{Entry, deflated, stored, zip};
use crate::sample;

fn put(zip: &mut [u8], at: usize, bytes: &[u8]) {
    zip[at..at + bytes.len()].copy_from_slice(bytes);
}

/// Refuses the sample after a change, and says why.
#[track_caller]
fn refuses(change: impl FnOnce(&mut Vec<u8>), kind: Kind, what: &str) {
    let mut bytes = sample::bytes();
    change(&mut bytes);
    let error = sample::open(bytes).expect_err(what);
    assert_eq!(error.kind(), kind, "{error}");
    assert!(error.to_string().contains(what), "{what:?} is not in {error}");
    assert_eq!(error.place().file.as_deref(), Some("a.zip"), "{error}");
}

#[test]
fn the_end_record_is_the_last_22_bytes() {
    refuses(|zip| zip.push(0), Kind::Malformed, "bytes follow the end record");
    refuses(|zip| zip.extend_from_slice(&sample::bytes()), Kind::Malformed, "the directory is said to take");
    refuses(|zip| zip.truncate(zip.len() - 1), Kind::Malformed, "bytes follow the end record");
    refuses(|zip| zip.truncate(zip.len() - 22), Kind::Truncated, "the file was cut");
    refuses(|zip| zip.truncate(21), Kind::Truncated, "a ZIP has at least 22 bytes");
    refuses(|zip| *zip = vec![b'x'; 100], Kind::Malformed, "not a ZIP");
}

#[test]
fn the_end_record_has_one_disk_equal_counts_and_no_comment() {
    let end = sample::bytes().len() - 22;
    refuses(|zip| put(zip, end + 4, &[1]), Kind::Malformed, "disk is 0x1");
    refuses(|zip| put(zip, end + 6, &[1]), Kind::Malformed, "disk of the directory is 0x1");
    refuses(|zip| put(zip, end + 8, &[8]), Kind::Malformed, "number of members is 0x9");
    refuses(
        |zip| put(zip, end + 8, &[8, 0, 8]),
        Kind::Malformed,
        "between the last directory entry and the end",
    );
    refuses(|zip| put(zip, end + 8, &[10, 0, 10]), Kind::Truncated, "directory entry 10");
    refuses(|zip| put(zip, end + 8, &[200, 0, 200]), Kind::Malformed, "200 members in a directory of");
    refuses(|zip| put(zip, end + 8, &[1, 1, 1, 1]), Kind::Limit, "257 members, the limit is 256");
    refuses(|zip| put(zip, end + 20, &[1]), Kind::Malformed, "length of the comment is 0x1");
}

#[test]
fn the_directory_ends_where_the_end_record_begins() {
    let end = sample::bytes().len() - 22;
    refuses(|zip| zip[end + 12] ^= 1, Kind::Malformed, "the directory is said to take");
    refuses(|zip| zip[end + 16] ^= 1, Kind::Malformed, "the directory is said to take");
    refuses(|zip| put(zip, end + 12, &[255; 8]), Kind::Malformed, "the directory is said to take");
    // One byte between the directory and the end record, the end record still pointing at the directory.
    refuses(|zip| zip.insert(end, 0), Kind::Malformed, "the directory is said to take");
    assert!(sample::open(zip(&[])).is_err());
}

#[test]
fn members_follow_one_another_from_the_first_byte() {
    let bytes = sample::bytes();
    let (_, second) = sample::local_headers(&bytes)[1];
    let entries = sample::directory_entries(&bytes);
    let end = bytes.len() - 22;
    let shift_directory = |zip: &mut Vec<u8>, at: usize| {
        zip.insert(at, 0);
        let directory = u32::from_le_bytes(zip[end + 17..end + 21].try_into().unwrap());
        put(zip, end + 17, &(directory + 1).to_le_bytes());
    };
    refuses(|zip| shift_directory(zip, 0), Kind::Malformed, "the signature of a local header");
    refuses(|zip| shift_directory(zip, second), Kind::Malformed, "the signature of a local header");
    let directory = entries[0].1;
    refuses(
        |zip| shift_directory(zip, directory),
        Kind::Malformed,
        "between the last member and the directory",
    );
    // Two directory entries that share one local header, or point elsewhere.
    refuses(|zip| put(zip, entries[1].1 + 42, &[0, 0]), Kind::Malformed, "puts its local header at byte 0");
    refuses(|zip| zip[entries[3].1 + 42] ^= 1, Kind::Malformed, "puts its local header at byte");
}

#[test]
fn a_local_header_says_what_the_directory_says() {
    let bytes = sample::bytes();
    let (_, local) = sample::local_headers(&bytes)[2];
    for (at, what) in [(8, "method"), (14, "CRC-32"), (18, "packed size"), (22, "size"), (30, "name")] {
        refuses(|zip| zip[local + at] ^= if at == 8 { 8 } else { 1 }, Kind::Malformed, what);
    }
    let (_, entry) = sample::directory_entries(&bytes)[2];
    for (at, what) in [(10, "method"), (16, "CRC-32"), (20, "packed size"), (24, "size"), (46, "name")] {
        refuses(|zip| zip[entry + at] ^= if at == 10 { 8 } else { 1 }, Kind::Malformed, what);
    }
}

#[test]
fn fixed_fields_have_their_one_value() {
    let bytes = sample::bytes();
    let (name, local) = sample::local_headers(&bytes)[0].clone();
    for (at, what) in [
        (0, "the signature of a local header"),
        (4, "version needed to extract"),
        (6, "flags"),
        (8, "compression method is 0x1"),
        (10, "time"),
        (12, "date"),
        (28, "length of the extra field"),
    ] {
        refuses(|zip| zip[local + at] ^= 1, Kind::Malformed, what);
    }
    let (_, entry) = sample::directory_entries(&bytes)[0];
    for (at, what) in [
        (0, "the signature of a directory entry"),
        (4, "version made by"),
        (6, "version needed to extract"),
        (8, "flags"),
        (10, "compression method is 0x1"),
        (12, "time"),
        (14, "date"),
        (30, "length of the extra field"),
        (32, "length of the comment"),
        (34, "disk"),
        (36, "internal attributes"),
        (38, "external attributes"),
        (41, "external attributes"),
    ] {
        refuses(|zip| zip[entry + at] ^= 1, Kind::Malformed, what);
    }
    // Every flag: encryption, data descriptor, patched data, strong encryption, masked headers ...
    for bit in 0..16 {
        refuses(|zip| zip[local + 6 + bit / 8] ^= 1 << (bit % 8), Kind::Malformed, "flags");
    }
    assert!(name.ends_with("bagit.txt"));
}

/// Refuses a ZIP put together by hand.
#[track_caller]
fn refuses_entries(entries: &[Entry], kind: Kind, what: &str) {
    let error = sample::open(zip(entries)).expect_err(what);
    assert_eq!(error.kind(), kind, "{error}");
    assert!(error.to_string().contains(what), "{what:?} is not in {error}");
}

#[test]
fn names_are_plain_and_make_one_tree() {
    for name in [
        "b",
        "/b/a",
        "b//a",
        "b/../a",
        "b/./a",
        "b/a/",
        "b\\a",
        "b/a b",
        "b/nul",
        "b/com1.txt",
        "b/.a",
        "b/a.",
        "b/~a",
        "b/a:b",
        "C:/a",
        "b/\u{e4}",
        "b/\u{202e}a",
        "b/1/2/3/4/5/6",
        "",
    ] {
        refuses_entries(&[stored(name, b"x")], Kind::Malformed, "not a member name that a bundle may have");
    }
    let long = format!("b/{}", "x".repeat(199));
    refuses_entries(&[stored(&long, b"x")], Kind::Malformed, "not a member name");
    let bad_utf8 = Entry { name: b"b/\xff".to_vec(), ..stored("", b"x") };
    refuses_entries(&[bad_utf8], Kind::Malformed, "not a member name");
    let pair = |a: &str, b: &str| [stored(a, b"x"), stored(b, b"y")];
    refuses_entries(&pair("b/a", "b/a"), Kind::Malformed, "two members have this name");
    refuses_entries(&pair("b/a", "b/A"), Kind::Malformed, "two members have this name");
    refuses_entries(&pair("b/a", "c/a"), Kind::Malformed, "a second top directory");
    refuses_entries(&pair("b/a", "b/a/x"), Kind::Malformed, "is a file and a directory");
    refuses_entries(&pair("b/d/x", "b/D/y"), Kind::Malformed, "spelled otherwise");
    assert!(sample::open(zip(&pair("b/d/x", "b/d/y"))).is_ok());
}

#[test]
fn sizes_are_possible_and_within_the_caps() {
    let stored_otherwise = Entry { size: 2, ..stored("b/a", b"x") };
    refuses_entries(&[stored_otherwise], Kind::Malformed, "2 bytes stored in 1");
    refuses_entries(&[deflated("b/a", b"\x03\x00", b"ab")], Kind::Malformed, "stores what does not shrink");
    let says = |packed: usize, size: u32| Entry { size, ..deflated("b/a", &vec![0; packed], b"") };
    refuses_entries(&[says(5, 5 * 1032 + 1)], Kind::Malformed, "5 packed bytes cannot hold 5161");
    assert!(sample::open(zip(&[says(5, 5 * 1032)])).is_ok());
    refuses_entries(
        &[says(2 << 20, (256 << 20) + 1)],
        Kind::Limit,
        "268435457 bytes, the limit is 268435456",
    );
    refuses_entries(&[says(80_000, (16 << 20) + 1)], Kind::Limit, "the limit is 200 to 1");
    assert!(sample::open(zip(&[says(80_000, 16 << 20)])).is_ok());
    let third = |name: &str| Entry { name: name.as_bytes().to_vec(), ..says(2 << 20, 200 << 20) };
    assert!(sample::open(zip(&[third("b/a"), third("b/b")])).is_ok());
    refuses_entries(
        &[third("b/a"), third("b/b"), third("b/c")],
        Kind::Limit,
        "629145600 bytes up to this member",
    );
    let many: Vec<Entry> = (0..257).map(|i| stored(&format!("b/{i}"), b"")).collect();
    assert!(sample::open(zip(&many[..256])).is_ok());
    refuses_entries(&many, Kind::Limit, "257 members, the limit is 256");
}
