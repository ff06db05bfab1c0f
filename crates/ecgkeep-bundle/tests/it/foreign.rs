//! ZIPs and bags of others: members by name, never extracted.

use std::io::Write as _;
use std::sync::Arc;

use ecgkeep_bundle::foreign::Archive;
use ecgkeep_format::{Kind, Source as _};
use zip::write::SimpleFileOptions;

use crate::bag_files::MemoryBag;
use crate::by_hand;
use crate::sample;

/// A ZIP as another writer makes it: with a comment, directories, and the names as given.
fn other_zip(files: &[(&str, &[u8])]) -> Arc<[u8]> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    zip.set_comment("made elsewhere").unwrap();
    for (name, bytes) in files {
        if name.ends_with('/') {
            zip.add_directory(*name, SimpleFileOptions::default()).unwrap();
        } else {
            zip.start_file(*name, SimpleFileOptions::default()).unwrap();
            zip.write_all(bytes).unwrap();
        }
    }
    zip.finish().unwrap().into_inner().into()
}

#[test]
fn a_member_and_those_beside_it_are_a_source() {
    let zip = other_zip(&[
        ("ward 3/", b""),
        ("ward 3/1.hea", b"1 1"),
        ("ward 3/1.dat", b"\x01\x02"),
        ("ward 3/old/1.dat", b"old"),
        ("ward 4/1.dat", b"other"),
        ("../up.hea", b"up"),
    ]);
    let archive = Archive::open("w.zip", zip).unwrap();
    let source = archive.beside("ward 3/1.hea").unwrap();
    assert_eq!(source.main(), "1.hea");
    assert_eq!(source.names().unwrap(), ["1.dat", "1.hea"]);
    assert_eq!(source.names_beginning("1.h").unwrap(), ["1.hea"]);
    assert!(source.names_beginning("o").unwrap().is_empty());
    assert_eq!(&*source.bytes("1.dat", 2).unwrap(), b"\x01\x02");
    assert_eq!(source.bytes("1.dat", 1).unwrap_err().kind(), Kind::Limit);
    assert_eq!(source.bytes("old/1.dat", 9).unwrap_err().kind(), Kind::Malformed);
    assert_eq!(source.bytes("../up.hea", 9).unwrap_err().kind(), Kind::Malformed);
    assert_eq!(source.bytes("2.dat", 9).unwrap_err().kind(), Kind::Io);
    assert_eq!(archive.beside("ward 3/2.hea").unwrap_err().kind(), Kind::Io);
    assert_eq!(archive.beside("../up.hea").unwrap().names().unwrap(), ["up.hea"]);
    assert_eq!(archive.member("ward 4/1.dat", 5).unwrap(), b"other");
    assert_eq!(archive.bag_faults(), None);
}

#[test]
fn our_bundle_is_a_foreign_zip_too() {
    let archive = Archive::open("a.zip", sample::bytes().into()).unwrap();
    for member in sample::members() {
        assert_eq!(
            archive.member(&format!("{}/{}", sample::STEM, member.name), 1 << 20).unwrap(),
            member.bytes
        );
    }
    assert_eq!(archive.bag_faults(), Some(vec![]));
}

#[test]
fn a_foreign_bag_is_checked_as_any_bag() {
    let mut bag = MemoryBag::plain();
    bag.list_tags();
    for base in ["", "a bag/"] {
        let named = |bag: &MemoryBag| -> Vec<(String, Vec<u8>)> {
            bag.files.iter().map(|(name, bytes)| (format!("{base}{name}"), bytes.clone())).collect()
        };
        let zip = |files: &[(String, Vec<u8>)]| {
            let files: Vec<(&str, &[u8])> =
                files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
            Archive::open("b.zip", other_zip(&files)).unwrap()
        };
        assert_eq!(zip(&named(&bag)).bag_faults(), Some(vec![]), "{base:?}");
        let mut altered = bag.clone();
        altered.put("data/a.txt", "hellp");
        let faults = zip(&named(&altered)).bag_faults().unwrap();
        assert!(
            faults.iter().all(|fault| fault.member.as_deref() == Some("data/a.txt")) && !faults.is_empty()
        );
        // With a file beside its directory it is a ZIP that holds a bag, no longer the bag's own.
        let mut beside = named(&bag);
        beside.push(("z/other.txt".to_owned(), vec![]));
        assert_eq!(zip(&beside).bag_faults().is_some(), base.is_empty());
    }
}

#[test]
fn a_large_member_that_is_packed_too_tightly_is_stopped() {
    let archive = Archive::open("z.zip", other_zip(&[("flat", &vec![0; 20 << 20])])).unwrap();
    let error = archive.member("flat", 1 << 30).unwrap_err();
    assert_eq!(error.kind(), Kind::Limit, "{error}");
    assert!(error.to_string().contains("200 to 1"), "{error}");
    let archive = Archive::open("z.zip", other_zip(&[("flat", &vec![0; 16 << 20])])).unwrap();
    assert_eq!(archive.member("flat", 1 << 30).unwrap().len(), 16 << 20);
}

#[test]
fn a_member_has_the_size_that_its_headers_say() {
    let bytes = b"x".repeat(300);
    let mut packed = Vec::with_capacity(300);
    let mut compress = flate2::Compress::new(flate2::Compression::new(6), false);
    compress.compress_vec(&bytes, &mut packed, flate2::FlushCompress::Finish).unwrap();
    for (size, is_read) in [(299, false), (300, true), (301, false)] {
        let entry = by_hand::Entry { size, ..by_hand::deflated("a", &packed, &bytes) };
        let archive = Archive::open("s.zip", by_hand::zip(&[entry]).into()).unwrap();
        let read = archive.member("a", 1000);
        assert_eq!(read.as_ref().is_ok_and(|read| *read == bytes), is_read, "{size}: {read:?}");
        assert!(is_read || read.is_err_and(|error| error.kind() == Kind::Altered));
    }
}

#[test]
fn links_are_no_members() {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    zip.add_symlink("link", "/etc/passwd", SimpleFileOptions::default()).unwrap();
    zip.start_file("a", SimpleFileOptions::default()).unwrap();
    let archive = Archive::open("l.zip", zip.finish().unwrap().into_inner().into()).unwrap();
    assert_eq!(archive.members().collect::<Vec<_>>(), ["a"]);
}

#[test]
fn what_is_no_zip_is_refused() {
    for bytes in [&b""[..], b"hello", b"PK\x03\x04", &[0; 100]] {
        assert!(Archive::open("x.zip", bytes.into()).is_err());
    }
}

#[test]
fn every_cut_of_a_foreign_zip_is_refused_or_read_without_a_panic() {
    let zip = other_zip(&[("a/1.hea", b"1 1"), ("a/1.dat", &[7; 300])]);
    for length in 0..zip.len() {
        assert!(Archive::open("x.zip", zip[..length].into()).is_err(), "{length}");
    }
}
