//! A sealed bundle of the whole program: repeatable to the byte, and any change to it is found.

use std::sync::Arc;

use ecgkeep::checks::Policy;
use ecgkeep::format::{File, Kind, Limits, Memory, Options};
use ecgkeep::recording::{CivilTime, Recording};
use ecgkeep::{
    Bundle, Disk, Input, Opened, Original, Sealed, Sealing, choose, format_by_id, seal, unpack, verify, write,
};

fn opened(recording: &Recording, format: &str) -> Opened {
    let format = format_by_id(format).expect("a format of the list");
    let files = write(format, std::slice::from_ref(recording), "rec", &Options::default())
        .expect("it is written")
        .files;
    reopened(files)
}

fn reopened(files: Vec<File>) -> Opened {
    let main = files.last().expect("at least one file").name.clone();
    let originals = files
        .iter()
        .map(|file| Original { name: file.name.clone(), bytes: file.bytes.as_slice().into() })
        .collect();
    let source = Memory::new(main.clone(), files);
    let format = choose(&source, None).expect("it is recognised");
    let read = format.read(&source, &Limits::default()).expect("it reads");
    Opened { format, main, read, files: originals, amends: None }
}

fn sealed(opened: &Opened) -> Sealed {
    let at: CivilTime = "2026-03-02T18:00:00+01:00".parse().expect("a civil time");
    let sealing = Sealing { filing: None, policy: &Policy::default(), at, program: "ecgkeep test" };
    seal(opened, &sealing).expect("it seals")
}

#[test]
fn the_same_source_and_time_give_the_same_bytes() {
    let recording = ecgkeep_demo::small();
    let (one, two) = (sealed(&opened(&recording, "wfdb")), sealed(&opened(&recording, "wfdb")));
    assert_eq!(one.stem, two.stem);
    assert_eq!(one.bytes, two.bytes);
    assert_eq!(one.stem, format!("{}.r1", one.entry.key));
}

#[test]
fn the_original_comes_out_byte_for_byte_and_reads_the_same() {
    for format in ["wfdb", "json"] {
        let opened = opened(&ecgkeep_demo::every_field(), format);
        let sealed = sealed(&opened);
        let bundle = Bundle::open("b.zip", sealed.bytes.clone().into()).expect("it opens");
        for file in &sealed.entry.files {
            let original =
                opened.files.iter().find(|original| original.name == file.name).expect("it was read");
            assert_eq!(
                bundle.member(&format!("data/original/{}", file.stored_as)).expect("it is there"),
                *original.bytes
            );
        }
        let again = Input::of_bundle(bundle).read(None, &Limits::default()).expect("the bundle is an input");
        assert_eq!(again.recording().expect("one"), opened.recording().expect("one"));
        let verified = verify("b.zip", sealed.bytes.into()).expect("it opens");
        assert!(verified.faults.is_empty() && verified.notes.is_empty(), "{:?}", verified.notes);
    }
}

#[test]
fn a_wfdb_copy_is_made_of_what_is_not_wfdb() {
    let names = |format: &str| {
        let sealed = sealed(&opened(&ecgkeep_demo::small(), format));
        let bundle = Bundle::open("b.zip", sealed.bytes.into()).expect("it opens");
        bundle
            .members()
            .filter(|member| member.starts_with("data/wfdb/"))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(names("wfdb"), Vec::<String>::new());
    assert_eq!(names("json"), ["data/wfdb/record.dat", "data/wfdb/record.hea"]);
}

/// Every byte of the bundle with its lowest bit flipped: found as an alteration (exit 6), the member named, or as
/// unreadable structure (exit 3). A few bits of a deflate stream mean nothing (RFC 1951 leaves codes that a block
/// never uses, and the bits after its end): there every member must still be what it was, byte for byte.
#[test]
fn every_changed_byte_is_found_or_changes_nothing() {
    let bytes = sealed(&opened(&ecgkeep_demo::small(), "wfdb")).bytes;
    let whole = Bundle::open("b.zip", bytes.clone().into()).expect("it opens");
    let (mut altered, mut structure, mut idle) = (0, 0, 0);
    for index in 0..bytes.len() {
        let mut changed = bytes.clone();
        changed[index] ^= 1;
        let bundle = match Bundle::open("b.zip", Arc::from(changed)) {
            Ok(bundle) => bundle,
            Err(error) => {
                let kinds = [Kind::Malformed, Kind::Truncated, Kind::Limit];
                assert!(kinds.contains(&error.kind()), "byte {index}: {error}");
                structure += 1;
                continue;
            }
        };
        let faults = bundle.verify();
        if faults.is_empty() {
            assert!(bundle.members().eq(whole.members()), "byte {index} was changed unnoticed");
            for member in whole.members() {
                let (was, is) = (whole.member(member), bundle.member(member));
                assert_eq!(is.expect("it is valid"), was.expect("it is valid"), "byte {index} of {member}");
            }
            idle += 1;
        } else {
            assert!(faults.iter().any(|fault| fault.member.is_some()), "byte {index}: no member is named");
            altered += 1;
        }
    }
    assert!(altered > 0 && structure > 0);
    assert!(idle * 1000 < bytes.len(), "{idle} of {} bytes mean nothing", bytes.len());
}

#[test]
fn an_altered_bundle_is_not_unpacked_and_a_good_one_only_once() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bytes = sealed(&opened(&ecgkeep_demo::small(), "wfdb")).bytes;
    let good = Bundle::open("b.zip", bytes.clone().into()).expect("it opens");
    let out = unpack(&good, "b.zip", folder.path(), &Disk, false, false).expect("it unpacks");
    assert!(out.top.join("data/report.svg").is_file());
    assert!(out.faults.is_empty() && out.left_out.is_empty());
    let again = unpack(&good, "b.zip", folder.path(), &Disk, false, false).expect_err("it is there already");
    assert_eq!(again.kind(), Kind::Io);

    let bad = (0..bytes.len()).rev().find_map(|index| {
        let mut changed = bytes.clone();
        changed[index] ^= 1;
        Bundle::open("b.zip", changed.into()).ok().filter(|bundle| !bundle.verify().is_empty())
    });
    let other = tempfile::tempdir().expect("a temporary folder");
    let bad = bad.expect("some flip alters content");
    let error = unpack(&bad, "b.zip", other.path(), &Disk, false, false).expect_err("it is altered");
    assert_eq!(error.kind(), Kind::Altered);
    assert_eq!(std::fs::read_dir(other.path()).expect("it lists").count(), 0);
    let out = unpack(&bad, "b.zip", other.path(), &Disk, false, true).expect("damage is accepted");
    assert!(!out.faults.is_empty());
    for member in bad.members() {
        assert_eq!(out.top.join(member).is_file(), !out.left_out.contains(&member.to_owned()), "{member}");
    }
    assert_eq!(out.left_out.len(), 1, "{:?}", out.left_out);
}
