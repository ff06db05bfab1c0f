//! What the writer makes.

use ecgkeep_bundle::{PROFILE_IDENTIFIER, pack};
use ecgkeep_format::Kind;

use crate::sample::{self, STEM, info, member, members};

#[test]
fn what_was_packed_is_what_is_read() {
    let bundle = sample::open(sample::bytes()).unwrap();
    assert_eq!(bundle.stem(), STEM);
    assert_eq!(
        bundle.members().collect::<Vec<_>>(),
        [
            "bag-info.txt",
            "bagit.txt",
            "data/original/1.dat",
            "data/original/1.hea",
            "data/report.svg",
            "manifest-sha512.txt",
            "metadata/README.txt",
            "metadata/entry.json",
            "tagmanifest-sha512.txt"
        ]
    );
    for member in members() {
        assert_eq!(bundle.member(&member.name).unwrap(), member.bytes, "{}", member.name);
        assert_eq!(bundle.size(&member.name).unwrap(), member.bytes.len() as u64);
    }
    assert_eq!(bundle.verify(), []);
    assert_eq!(bundle.member("data/none").unwrap_err().kind(), Kind::Io);
}

#[test]
fn the_declaration_comes_first_and_the_payload_last() {
    let names: Vec<String> =
        sample::local_headers(&sample::bytes()).into_iter().map(|(name, _)| name).collect();
    let expected = [
        "bagit.txt",
        "bag-info.txt",
        "manifest-sha512.txt",
        "tagmanifest-sha512.txt",
        "metadata/README.txt",
        "metadata/entry.json",
        "data/original/1.dat",
        "data/original/1.hea",
        "data/report.svg",
    ];
    assert_eq!(names, expected.map(|name| format!("{STEM}/{name}")));
}

#[test]
fn the_tag_files_are_as_the_rfc_says() {
    let bundle = sample::open(sample::bytes()).unwrap();
    let text = |name| String::from_utf8(bundle.member(name).unwrap()).unwrap();
    assert_eq!(text("bagit.txt"), "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
    let octets: usize =
        members().iter().filter(|one| one.name.starts_with("data/")).map(|one| one.bytes.len()).sum();
    assert_eq!(
        text("bag-info.txt"),
        format!(
            "Source-Organization: Larkmoor day clinic\nExternal-Identifier: 6c61726b6d6f6f72\nBagging-Date: 2026-11-25\nPayload-Oxum: {octets}.3\nBagIt-Profile-Identifier: {PROFILE_IDENTIFIER}\n"
        )
    );
    assert_eq!(bundle.info().unwrap()[3], ("Payload-Oxum".to_owned(), format!("{octets}.3")));
    let manifest = text("manifest-sha512.txt");
    let paths: Vec<&str> = manifest.lines().map(|line| line.split_once("  ").unwrap().1).collect();
    assert_eq!(paths, ["data/original/1.dat", "data/original/1.hea", "data/report.svg"]);
    let tags = text("tagmanifest-sha512.txt");
    let paths: Vec<&str> = tags.lines().map(|line| line.split_once("  ").unwrap().1).collect();
    let expected =
        ["bag-info.txt", "bagit.txt", "manifest-sha512.txt", "metadata/README.txt", "metadata/entry.json"];
    assert_eq!(paths, expected);
}

#[test]
fn the_order_of_the_members_does_not_matter_and_no_clock_is_read() {
    let mut reversed = members();
    reversed.reverse();
    assert_eq!(pack(STEM, &info(), reversed).unwrap(), sample::bytes());
}

#[test]
fn what_does_not_shrink_is_stored() {
    // A xorshift sequence: no deflate finds anything in it.
    let mut state = 88_172_645_463_325_252_u64;
    let noise: Vec<u8> = std::iter::repeat_with(|| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state.to_le_bytes()[0]
    })
    .take(5000)
    .collect();
    for bytes in [noise, vec![], vec![7], b"abc".to_vec()] {
        let zip = pack(STEM, &info(), vec![member("data/x", bytes.clone())]).unwrap();
        assert_eq!(zip[sample::packed(&zip, "/data/x")], bytes);
        let bundle = sample::open(zip).unwrap();
        assert_eq!(bundle.member("data/x").unwrap(), bytes);
        assert_eq!(bundle.verify(), []);
    }
}

#[test]
fn a_large_flat_member_is_stored_so_that_the_ratio_limit_holds() {
    let flat = vec![0; (16 << 20) + 1];
    let zip = pack(STEM, &info(), vec![member("data/flat", flat.clone())]).unwrap();
    assert!(zip.len() > flat.len());
    assert_eq!(sample::open(zip).unwrap().verify(), []);
    let flat = vec![0; 16 << 20];
    let zip = pack(STEM, &info(), vec![member("data/flat", flat)]).unwrap();
    assert!(zip.len() < 100_000);
    assert_eq!(sample::open(zip).unwrap().verify(), []);
}

#[test]
fn what_a_bundle_may_not_have_is_refused() {
    let refused = |stem: &str, info: &[(String, String)], names: &[&str]| {
        let members = names.iter().map(|name| member(name, "x")).collect();
        pack(stem, info, members).expect_err("this is no bundle").kind()
    };
    for stem in ["", ".", "a/b", "con", "ä", "a."] {
        assert_eq!(refused(stem, &info(), &["data/a"]), Kind::Usage, "{stem:?}");
    }
    for names in [
        &["metadata/a"][..],
        &["data/a", "bagit.txt"],
        &["data/a", "other/b"],
        &["data/../a"],
        &["data/a b"],
        &["data/a", "data/A"],
        &["data/a", "data/a/b"],
        &["data/a", "data/a"],
        &["data/b/c/d/e/f"],
    ] {
        assert_eq!(refused(STEM, &info(), names), Kind::Usage, "{names:?}");
    }
    let with = |label: &str, value: &str| {
        let mut lines = info();
        lines.push((label.to_owned(), value.to_owned()));
        lines
    };
    for (label, value) in [
        ("A:B", "x"),
        (" A", "x"),
        ("", "x"),
        ("A", ""),
        ("A", "x "),
        ("A", "x\ny"),
        ("A\n", "x"),
        ("Payload-Oxum", "1.1"),
        ("payload-oxum", "1.1"),
        ("Bagging-Date", "2026-11-25"),
    ] {
        assert_eq!(refused(STEM, &with(label, value), &["data/a"]), Kind::Usage, "{label:?}: {value:?}");
    }
    assert_eq!(refused(STEM, &info()[..2], &["data/a"]), Kind::Usage, "no date");
    let mut wrong_date = info();
    wrong_date[2].1 = "25.11.2026".to_owned();
    assert_eq!(refused(STEM, &wrong_date, &["data/a"]), Kind::Usage);
    let many: Vec<String> = (0..253).map(|i| format!("data/{i}")).collect();
    let many: Vec<&str> = many.iter().map(String::as_str).collect();
    assert_eq!(refused(STEM, &info(), &many), Kind::Limit);
    assert!(pack(STEM, &info(), many[..252].iter().map(|name| member(name, "x")).collect()).is_ok());
}
