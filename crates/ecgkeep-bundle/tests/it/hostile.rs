//! Hostile ZIPs: small ones made by hand, and the test files of the reader yauzl (MIT).

use std::path::Path;
use std::sync::Arc;

use ecgkeep_bundle::{Bundle, foreign};
use ecgkeep_format::Kind;

const HOSTILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/hostile");

/// Why a bundle reader does not take these bytes: the structure, or the first fault of a member.
///
/// The bags in these ZIPs have no manifests: only damage inside a member counts as a fault here.
fn refusal(name: &str, bytes: Vec<u8>) -> Option<String> {
    let bundle = match Bundle::open(name, Arc::from(bytes)) {
        Ok(bundle) => bundle,
        Err(error) => return Some(error.to_string()),
    };
    let _ = bundle.verify();
    bundle.members().find_map(|member| bundle.member(member).err()).map(|error| error.to_string())
}

#[test]
fn hostile_zips_are_refused_and_controls_read() {
    let Ok(expected) = std::fs::read_to_string(Path::new(HOSTILE).join("zips-expected.tsv")) else {
        println!("skipped: hostile ZIPs: ../shared/hostile is not here");
        return;
    };
    let mut refused = 0;
    for line in expected.lines() {
        let [case, verdict, why] = line.split('\t').collect::<Vec<_>>()[..] else {
            panic!("not three columns: {line}");
        };
        let path = Path::new(HOSTILE).join("zips").join(format!("{case}.zip"));
        let refusal = refusal(case, std::fs::read(&path).unwrap());
        match verdict {
            "reject" => {
                assert!(refusal.is_some(), "{case} is read: {why}");
                refused += 1;
            }
            "accept" | "accept-no-recurse" => assert_eq!(refusal, None, "{case}"),
            // Our own bundles have no such attribute: the bit is not applied, the ZIP is refused.
            "accept-strip" => assert!(refusal.is_some_and(|text| text.contains("external attributes"))),
            other => panic!("unknown verdict {other}"),
        }
    }
    assert_eq!(refused, 75);
}

/// Reads everything a wide reader can; panics and memory are what is watched, not the verdict.
fn read_widely(name: &str, bytes: Vec<u8>) -> Result<usize, Kind> {
    let archive = foreign::Archive::open(name, Arc::from(bytes)).map_err(|error| error.kind())?;
    let mut octets = 0;
    for member in archive.members() {
        octets += archive.member(member, 1 << 20).map_err(|error| error.kind())?.len();
        let _ = archive.beside(member);
    }
    let _ = archive.bag_faults();
    Ok(octets)
}

#[test]
fn the_wide_reader_refuses_what_two_readers_see_differently() {
    if !Path::new(HOSTILE).exists() {
        println!("skipped: hostile ZIPs, wide reader: ../shared/hostile is not here");
        return;
    }
    let read = |case: &str| {
        let path = Path::new(HOSTILE).join("zips").join(format!("{case}.zip"));
        read_widely(case, std::fs::read(path).unwrap())
    };
    for case in ["dup-name", "bomb-overlap-full", "bomb-overlap-quoted", "lfh-name-differs", "hidden-local"] {
        assert_eq!(read(case), Err(Kind::Malformed), "{case}");
    }
    for case in ["crc-wrong", "deflate-bad", "size-lie-small"] {
        assert!(read(case).is_err(), "{case}");
    }
    assert_eq!(read("bomb-ratio"), Err(Kind::Limit));
    assert!(matches!(read("encrypted"), Err(Kind::Unsupported | Kind::Malformed)));
    assert_eq!(read("good"), Ok(354));
    assert_eq!(read("nested-zip"), Ok(354 + 294), "the inner archive is bytes");
    for entry in std::fs::read_dir(Path::new(HOSTILE).join("zips")).unwrap() {
        let path = entry.unwrap().path();
        let _ = read_widely("x.zip", std::fs::read(path).unwrap());
    }
}

#[test]
fn failing_zips_of_another_reader_are_refused() {
    let folder = Path::new(HOSTILE).join("yauzl/test/failure");
    let Ok(entries) = std::fs::read_dir(&folder) else {
        println!("skipped: failing ZIPs of yauzl: ../shared/hostile is not here");
        return;
    };
    let mut refused = 0;
    for entry in entries {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        assert!(refusal(name, std::fs::read(&path).unwrap()).is_some(), "{name}");
        refused += 1;
    }
    assert_eq!(refused, 24);
}

#[test]
fn good_zips_of_another_reader_are_read_widely() {
    let folder = Path::new(HOSTILE).join("yauzl/test/success");
    if !folder.exists() {
        println!("skipped: good ZIPs of yauzl: ../shared/hostile is not here");
        return;
    }
    for (name, expected) in [
        ("big-compression.zip", Ok(135_168)),
        ("bogus-compression-method.zip", Err(Kind::Unsupported)),
        ("cygwin-info-zip.zip", Ok(10)),
        ("deflate.zip", Ok(10_689)),
        ("directories.zip", Ok(0)),
        ("linux-info-zip.zip", Ok(10)),
        ("sloppy-filenames.zip", Err(Kind::Malformed)), // its local headers have other names
        ("streaming.zip", Ok(50)),
        ("traditional-encryption.zip", Err(Kind::Unsupported)),
        ("unicode.zip", Ok(0)),
        ("windows-7-zip.zip", Ok(10)),
        ("windows-compressed-folder.zip", Ok(10)),
        ("zip64.zip", Ok(6)),
    ] {
        assert_eq!(read_widely(name, std::fs::read(folder.join(name)).unwrap()), expected, "{name}");
    }
}
