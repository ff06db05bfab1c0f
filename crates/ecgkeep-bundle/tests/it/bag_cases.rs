//! Our own bags of BagIt 1.0, one rule each; the clauses are those of RFC 8493.

use ecgkeep_bundle::FaultKind::{self, Altered, Hazard, Malformed, Missing, Unchecked, Unlisted};
use ecgkeep_bundle::bag;

use crate::bag_files::MemoryBag;

/// What the check says of a plain bag after a change; the tag manifests are made after it.
fn after(change: impl FnOnce(&mut MemoryBag)) -> Vec<(String, FaultKind)> {
    let mut bag = MemoryBag::plain();
    change(&mut bag);
    bag.list_tags();
    faults(&bag)
}

/// What the check says of a plain bag after a change that the tag manifests do not follow.
fn after_sealing(change: impl FnOnce(&mut MemoryBag)) -> Vec<(String, FaultKind)> {
    let mut bag = MemoryBag::plain();
    bag.list_tags();
    change(&mut bag);
    faults(&bag)
}

fn faults(bag: &MemoryBag) -> Vec<(String, FaultKind)> {
    let faults = bag::check(bag);
    faults.into_iter().map(|fault| (fault.member.unwrap_or_default(), fault.kind)).collect()
}

fn one(member: &str, kind: FaultKind) -> Vec<(String, FaultKind)> {
    vec![(member.to_owned(), kind)]
}

const DIGEST: &str = "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824"; // "hello", `sha256sum`

#[test]
fn the_plain_bag_is_valid() {
    assert_eq!(after(|_| {}), []);
    assert!(MemoryBag::plain().text("manifest-sha256.txt").starts_with(DIGEST));
}

// 2.1.1: bagit.txt

#[test]
fn the_declaration_is_required() {
    assert_eq!(after(|bag| drop(bag.files.remove("bagit.txt"))), one("bagit.txt", Missing));
}

#[test]
fn the_declaration_has_two_lines() {
    let change = |text: &'static str| move |bag: &mut MemoryBag| bag.put("bagit.txt", text);
    let (version, encoding) = ("BagIt-Version: 1.0\n", "Tag-File-Character-Encoding: UTF-8\n");
    let three = Box::leak(format!("{version}{encoding}X: y\n").into_boxed_str());
    assert_eq!(after(change(three)), one("bagit.txt", Malformed));
    assert_eq!(after(change(version)), vec![one("bagit.txt", Malformed); 2].concat());
    assert_eq!(after(change("")), vec![one("bagit.txt", Malformed); 3].concat());
    let swapped = Box::leak(format!("{encoding}{version}").into_boxed_str());
    assert_eq!(after(change(swapped)), vec![one("bagit.txt", Malformed); 2].concat());
    let blank = Box::leak(format!("{version}{encoding}\n").into_boxed_str());
    assert_eq!(after(change(blank))[0], ("bagit.txt".to_owned(), Malformed));
}

#[test]
fn the_declaration_has_no_byte_order_mark() {
    let change = |bag: &mut MemoryBag| {
        let text = bag.text("bagit.txt");
        bag.put("bagit.txt", format!("\u{feff}{text}"));
    };
    assert_eq!(after(change), one("bagit.txt", Malformed));
}

#[test]
fn the_declaration_has_no_other_white_space() {
    for (from, to) in [
        ("Version: ", "Version : "),
        ("Version: ", "Version:"),
        ("Version: ", "Version:  "),
        ("1.0", "1.0 "),
        ("BagIt", " BagIt"),
        ("UTF-8", "UTF-8\t"),
        ("Encoding: ", "Encoding:\t"),
    ] {
        assert_eq!(after(|bag| bag.replace("bagit.txt", from, to)), one("bagit.txt", Malformed), "{to:?}");
    }
}

#[test]
fn the_declaration_may_end_its_lines_otherwise_or_its_last_not_at_all() {
    assert_eq!(after(|bag| bag.replace("bagit.txt", "\n", "\r\n")), []);
    assert_eq!(after(|bag| bag.replace("bagit.txt", "\n", "\r")), []);
    assert_eq!(after(|bag| bag.replace("bagit.txt", "UTF-8\n", "UTF-8")), []);
}

#[test]
fn an_unknown_version_is_not_checked_and_a_malformed_one_refused() {
    assert_eq!(after(|bag| bag.replace("bagit.txt", "1.0", "1.1")), one("bagit.txt", Unchecked));
    assert_eq!(after(|bag| bag.replace("bagit.txt", "1.0", "2.0")), one("bagit.txt", Unchecked));
    for version in ["1", ".97", "1.", "1.0.0", "one", "1.0a", "+1.0"] {
        assert_eq!(
            after(|bag| bag.replace("bagit.txt", "1.0", version)),
            one("bagit.txt", Malformed),
            "{version}"
        );
    }
}

#[test]
fn an_unknown_encoding_is_not_checked() {
    let found = after(|bag| bag.replace("bagit.txt", "UTF-8", "EBCDIC-CP-US"));
    assert!(found.contains(&("bagit.txt".to_owned(), Unchecked)), "{found:?}");
}

#[test]
fn tag_files_may_be_utf_16() {
    let change = |bag: &mut MemoryBag| {
        bag.replace("bagit.txt", "UTF-8", "UTF-16");
        bag.put("bag-info.txt", "Contact-Name: Åsa\nPayload-Oxum: 10.2\n");
        bag.list_tags();
        for (name, bytes) in &mut bag.files {
            if name.ends_with(".txt") && !name.starts_with("data/") && name != "bagit.txt" {
                let text = String::from_utf8(bytes.clone()).unwrap();
                *bytes = format!("\u{feff}{text}").encode_utf16().flat_map(u16::to_be_bytes).collect();
            }
        }
    };
    // The tag manifests were made before the other tag files were recoded: their digests alone are wrong.
    let found = after_sealing(change);
    assert!(found.iter().all(|(_, kind)| *kind == Altered), "{found:?}");
    assert_eq!(found.len(), 6, "{found:?}");
}

// 2.1.2: the payload

#[test]
fn the_payload_directory_is_required() {
    let found = after(|bag| {
        bag.files.retain(|name, _| !name.starts_with("data/"));
        bag.replace("bag-info.txt", "10.2", "0.0");
        bag.list_payload();
        bag.has_data = false;
    });
    assert!(found.contains(&(String::new(), Missing)), "{found:?}");
}

#[test]
fn an_empty_payload_is_valid_but_flagged() {
    let found = after(|bag| {
        bag.files.retain(|name, _| !name.starts_with("data/"));
        bag.replace("bag-info.txt", "10.2", "0.0");
        bag.list_payload();
    });
    assert_eq!(found, one("", Hazard));
}

#[test]
fn an_empty_payload_file_is_a_file() {
    let found = after(|bag| {
        bag.put("data/empty", "");
        bag.replace("bag-info.txt", "10.2", "10.3");
        bag.list_payload();
    });
    assert_eq!(found, []);
}

// 2.1.3: payload manifests

#[test]
fn a_payload_manifest_is_required() {
    let found = after(|bag| bag.files.retain(|name, _| !name.starts_with("manifest-")));
    assert!(found.contains(&(String::new(), Missing)), "{found:?}");
}

#[test]
fn a_digest_may_have_capitals_and_be_followed_by_tabs() {
    let upper = DIGEST.to_ascii_uppercase();
    assert_eq!(after(|bag| bag.replace("manifest-sha256.txt", DIGEST, &upper)), []);
    assert_eq!(after(|bag| bag.replace("manifest-sha256.txt", "  ", "\t")), []);
    assert_eq!(after(|bag| bag.replace("manifest-sha256.txt", "  ", " \t ")), []);
    assert_eq!(after(|bag| bag.replace("manifest-sha256.txt", "\n", "\r\n")), []);
}

#[test]
fn a_digest_has_the_length_of_its_algorithm() {
    let found = after(|bag| bag.replace("manifest-sha256.txt", DIGEST, &DIGEST[2..]));
    assert_eq!(found, [one("data/a.txt", Unlisted), one("manifest-sha256.txt", Malformed)].concat());
    let found = after(|bag| bag.replace("manifest-sha256.txt", "2cf2", "2cg2"));
    assert_eq!(found, [one("data/a.txt", Unlisted), one("manifest-sha256.txt", Malformed)].concat());
}

#[test]
fn a_wrong_digest_is_an_altered_file() {
    let found = after(|bag| bag.replace("manifest-sha256.txt", "2cf2", "2cf3"));
    assert_eq!(found, one("data/a.txt", Altered));
    assert_eq!(after(|bag| bag.put("data/a.txt", "hellp")), vec![one("data/a.txt", Altered); 2].concat());
}

#[test]
fn an_asterisk_before_the_path_is_flagged() {
    let found = after(|bag| bag.replace("manifest-sha256.txt", "  data/a", " *data/a"));
    assert_eq!(found, one("manifest-sha256.txt", Hazard));
}

#[test]
fn only_line_ends_and_the_percent_sign_are_encoded() {
    for name in ["data/x%y", "data/x\ny", "data/x\ry", "data/100%", "data/%2e%2e"] {
        let found = after(|bag| {
            bag.put(name, "12345");
            bag.replace("bag-info.txt", "10.2", "15.3");
            bag.list_payload();
        });
        let hazards = if name.contains(char::is_control) { 2 } else { 0 };
        assert_eq!(found.len(), hazards, "{name:?}: {found:?}");
        assert!(found.iter().all(|(_, kind)| *kind == Hazard), "{name:?}: {found:?}");
    }
    // `%2e` is no escape: the file would have to have that name.
    let found = after(|bag| bag.replace("manifest-sha256.txt", "a.txt", "a%2etxt"));
    assert_eq!(found, [one("data/a%2etxt", Missing), one("data/a.txt", Unlisted)].concat());
}

#[test]
fn every_payload_file_is_in_every_payload_manifest() {
    let found = after(|bag| {
        bag.put("data/more", "12345");
        bag.replace("bag-info.txt", "10.2", "15.3");
    });
    assert_eq!(found, vec![one("data/more", Unlisted); 2].concat());
    let found = after(|bag| {
        let text = bag.text("manifest-sha256.txt");
        bag.put("manifest-sha256.txt", text.lines().next().unwrap());
    });
    assert_eq!(found, one("data/b/c.txt", Unlisted));
}

#[test]
fn before_1_0_one_payload_manifest_was_enough() {
    let found = after(|bag| {
        bag.replace("bagit.txt", "1.0", "0.97");
        let text = bag.text("manifest-sha256.txt");
        bag.put("manifest-sha256.txt", text.lines().next().unwrap());
    });
    assert_eq!(found, []);
}

#[test]
fn a_path_is_listed_once() {
    let line = format!("{DIGEST}  data/a.txt\n");
    let found = after(|bag| bag.replace("manifest-sha256.txt", &line, &line.repeat(2)));
    assert_eq!(found, one("manifest-sha256.txt", Malformed));
    let other = line.replace("2cf2", "0000");
    let found = after(|bag| bag.replace("manifest-sha256.txt", &line, &format!("{line}{other}")));
    assert_eq!(found, one("manifest-sha256.txt", Malformed));
}

#[test]
fn a_path_stays_within_the_payload() {
    for path in
        ["../x", "/etc/x", "bagit.txt", "data/../../x", "~/x", "C:\\x", "data", "data//a.txt", "data/"]
    {
        let found = after(|bag| {
            let text = bag.text("manifest-sha256.txt");
            bag.put("manifest-sha256.txt", format!("{text}{DIGEST}  {path}\n"));
        });
        assert_eq!(found, one("manifest-sha256.txt", Malformed), "{path}");
    }
}

#[test]
fn a_path_that_begins_with_a_dot_is_flagged() {
    let found = after(|bag| bag.replace("manifest-sha256.txt", "data/a.txt", "./data/a.txt"));
    assert_eq!(found, one("manifest-sha256.txt", Hazard));
}

#[test]
fn a_line_without_a_path_or_a_digest_is_malformed() {
    for line in
        [DIGEST, &format!("{DIGEST} "), "data/a.txt", "# made by hand", &format!(" {DIGEST}  data/a.txt")]
    {
        let found = after(|bag| {
            let text = bag.text("manifest-sha256.txt");
            bag.put("manifest-sha256.txt", format!("{text}{line}\n"));
        });
        assert_eq!(found, one("manifest-sha256.txt", Malformed), "{line:?}");
    }
}

#[test]
fn a_blank_line_is_malformed() {
    let found = after(|bag| bag.replace("manifest-sha256.txt", "\n", "\n\n"));
    assert_eq!(found, vec![one("manifest-sha256.txt", Malformed); 2].concat());
}

#[test]
fn names_in_another_normalisation_are_found_and_flagged() {
    let composed = "data/Mu\u{308}hle".replace("u\u{308}", "\u{fc}");
    let found = after(|bag| {
        bag.put(&composed, "12345");
        bag.replace("bag-info.txt", "10.2", "15.3");
        bag.list_payload();
        bag.replace("manifest-sha256.txt", "\u{fc}", "u\u{308}");
    });
    assert!(found.contains(&(composed.clone(), Hazard)), "{found:?}");
    assert!(found.iter().all(|(_, kind)| *kind == Hazard), "{found:?}");
}

#[test]
fn names_equal_but_for_case_are_flagged() {
    let found = after(|bag| {
        bag.put("data/A.txt", "12345");
        bag.replace("bag-info.txt", "10.2", "15.3");
        bag.list_payload();
    });
    assert_eq!(found, one("data/a.txt", Hazard));
}

#[test]
fn names_that_other_systems_reserve_are_flagged() {
    for name in
        ["data/aux", "data/COM1.txt", "data/a:b", "data/what?", "data/x.", "data/x ", "data/Thumbs.db"]
    {
        let found = after(|bag| {
            bag.put(name, "12345");
            bag.replace("bag-info.txt", "10.2", "15.3");
            bag.list_payload();
        });
        let expected = [one("manifest-sha256.txt", Hazard), one("manifest-sha512.txt", Hazard)].concat();
        assert_eq!(found, expected, "{name}");
    }
}

// 2.2.1: tag manifests

#[test]
fn a_tag_manifest_is_optional() {
    assert_eq!(after_sealing(|bag| bag.files.retain(|name, _| !name.starts_with("tagmanifest-"))), []);
}

#[test]
fn an_altered_or_missing_tag_file_is_named() {
    let found = after_sealing(|bag| bag.put("bag-info.txt", "Payload-Oxum: 10.2\n"));
    assert_eq!(found, vec![one("bag-info.txt", Altered); 2].concat());
    let found = after_sealing(|bag| drop(bag.files.remove("bag-info.txt")));
    assert_eq!(found, one("bag-info.txt", Missing));
}

#[test]
fn a_tag_manifest_lists_every_payload_manifest() {
    let found = after_sealing(|bag| {
        let text = bag.text("tagmanifest-sha256.txt");
        let kept = text.lines().filter(|line| !line.ends_with("manifest-sha512.txt"));
        bag.put("tagmanifest-sha256.txt", kept.collect::<Vec<_>>().join("\n"));
    });
    assert_eq!(found, one("manifest-sha512.txt", Malformed));
}

#[test]
fn a_tag_manifest_lists_no_payload_and_no_tag_manifest() {
    let found = after_sealing(|bag| {
        let text = bag.text("tagmanifest-sha256.txt");
        bag.put("tagmanifest-sha256.txt", format!("{text}{DIGEST}  data/a.txt\n"));
    });
    assert_eq!(found, one("tagmanifest-sha256.txt", Malformed));
    let found = after_sealing(|bag| {
        let digest = crate::bag_files::hex(&<sha2::Sha256 as sha2::Digest>::digest(b""));
        bag.put("tagmanifest-sha512.txt", "");
        let text = bag.text("tagmanifest-sha256.txt");
        bag.put("tagmanifest-sha256.txt", format!("{text}{digest}  tagmanifest-sha512.txt\n"));
    });
    assert!(found.contains(&("tagmanifest-sha256.txt".to_owned(), Malformed)), "{found:?}");
}

#[test]
fn a_tag_file_that_is_not_listed_is_flagged() {
    let found = after_sealing(|bag| bag.put("notes.txt", "x"));
    assert_eq!(found, vec![one("notes.txt", Hazard); 2].concat());
}

#[test]
fn a_tag_manifest_of_another_algorithm_is_flagged() {
    let found = after_sealing(|bag| {
        bag.files.remove("manifest-sha512.txt");
        bag.files.remove("tagmanifest-sha512.txt");
        let text = bag.text("tagmanifest-sha256.txt");
        let kept: Vec<&str> = text.lines().filter(|line| !line.ends_with(" manifest-sha512.txt")).collect();
        bag.put("tagmanifest-sha256.txt", kept.join("\n"));
        let digests =
            bag.files.iter().filter(|(name, _)| !name.starts_with("data/") && !name.starts_with("tag"));
        let lines: Vec<String> = digests
            .map(|(name, bytes)| {
                format!("{}  {name}", crate::bag_files::hex(&<sha2::Sha384 as sha2::Digest>::digest(bytes)))
            })
            .collect();
        bag.put("tagmanifest-sha384.txt", lines.join("\n"));
    });
    assert_eq!(found, one("tagmanifest-sha384.txt", Hazard));
}

// 2.2.2: bag-info.txt

#[test]
fn metadata_is_optional() {
    assert_eq!(after(|bag| drop(bag.files.remove("bag-info.txt"))), []);
}

#[test]
fn the_payload_oxum_is_right_well_formed_and_not_repeated() {
    assert_eq!(after(|bag| bag.replace("bag-info.txt", "10.2", "11.2")), one("", Altered));
    assert_eq!(after(|bag| bag.replace("bag-info.txt", "10.2", "10.3")), one("", Altered));
    for wrong in ["10", "10.", ".2", "10.2.1", "ten.two", "-10.2", "10,2"] {
        assert_eq!(
            after(|bag| bag.replace("bag-info.txt", "10.2", wrong)),
            one("bag-info.txt", Malformed),
            "{wrong}"
        );
    }
    let found = after(|bag| bag.replace("bag-info.txt", "Bagging", "payload-oxum: 10.2\nBagging"));
    assert_eq!(found, one("bag-info.txt", Malformed));
}

#[test]
fn a_value_may_be_continued_on_an_indented_line() {
    assert_eq!(
        after(|bag| bag.replace("bag-info.txt", "Bagging", "Description: one\n  two\n\tthree\nBagging")),
        []
    );
    let found = after(|bag| bag.replace("bag-info.txt", "Bagging", " first\nBagging"));
    assert_eq!(found, one("bag-info.txt", Malformed));
}

#[test]
fn a_label_has_no_edge_of_white_space_and_one_colon_and_space_after_it() {
    for line in ["Label : x", "Label:x", "Label", "Label\t: x"] {
        let found = after(|bag| bag.replace("bag-info.txt", "Bagging", &format!("{line}\nBagging")));
        assert_eq!(found, one("bag-info.txt", Malformed), "{line:?}");
    }
    for line in ["Label:\tx", "Label: ", "Two words: x", "Label: a:b", "Label:   x"] {
        let found = after(|bag| bag.replace("bag-info.txt", "Bagging", &format!("{line}\nBagging")));
        assert_eq!(found, [], "{line:?}");
    }
}

#[test]
fn what_should_not_be_repeated_is_flagged_and_what_may_is_not() {
    for label in ["Bag-Size", "Bag-Group-Identifier", "Bag-Count", "Bagging-Date"] {
        let twice = format!("{label}: 2026-11-25\n{label}: 2026-11-25\n");
        let found = after(|bag| bag.put("bag-info.txt", format!("{twice}Payload-Oxum: 10.2\n")));
        assert_eq!(found, one("bag-info.txt", Hazard), "{label}");
    }
    let found =
        after(|bag| bag.replace("bag-info.txt", "Bagging", "Contact-Name: A\nContact-Name: B\nBagging"));
    assert_eq!(found, []);
}

#[test]
fn a_bagging_date_of_another_form_is_flagged() {
    for date in ["25.11.2026", "2026-13-01", "2026-11-32", "2026-11-00", "2026-11-25T12:00", "26-11-25"] {
        assert_eq!(
            after(|bag| bag.replace("bag-info.txt", "2026-11-25", date)),
            one("bag-info.txt", Hazard),
            "{date}"
        );
    }
}

#[test]
fn metadata_in_utf_8_has_no_byte_order_mark() {
    let found = after(|bag| bag.put("bag-info.txt", "\u{feff}Payload-Oxum: 10.2\n"));
    assert_eq!(found, one("bag-info.txt", Malformed));
    let found = after(|bag| bag.put("bag-info.txt", b"Contact-Name: \xC5sa\n".as_slice()));
    assert_eq!(found, one("bag-info.txt", Malformed));
}

// 2.2.3: fetch.txt

#[test]
fn what_is_to_be_fetched_is_listed_and_here() {
    let fetch = |line: &str| after(|bag| bag.put("fetch.txt", line));
    assert_eq!(fetch("https://example.org/a 5 data/a.txt\n"), []);
    assert_eq!(fetch("https://example.org/a - data/a.txt\n"), []);
    assert_eq!(fetch("https://example.org/a - data/x.txt\n"), one("fetch.txt", Malformed));
    for line in [
        "https://example.org/a data/a.txt",
        "data/a.txt",
        "https://example.org/a many data/a.txt",
        "/a - data/a.txt",
    ] {
        assert_eq!(fetch(line), one("fetch.txt", Malformed), "{line}");
    }
    for path in ["../x", "bag-info.txt", "/x", "~/x", "C:\\x"] {
        assert_eq!(fetch(&format!("https://example.org/a - {path}")), one("fetch.txt", Malformed), "{path}");
    }
    let found = after(|bag| {
        bag.put("fetch.txt", "https://example.org/a 5 data/a.txt\n");
        bag.files.remove("data/a.txt");
        bag.replace("bag-info.txt", "10.2", "5.1");
    });
    assert_eq!(found, one("data/a.txt", Missing));
}

// 2.4: algorithms

#[test]
fn digests_of_an_unknown_algorithm_are_not_checked() {
    for name in ["manifest-sha3256.txt", "manifest-SHA256.txt", "manifest-.txt", "tagmanifest-blake3.txt"] {
        let found = after(|bag| bag.put(name, "00  data/a.txt\n"));
        assert!(found.contains(&(name.to_owned(), Unchecked)), "{name}: {found:?}");
    }
}

#[test]
fn old_algorithms_are_checked() {
    // MD5 and SHA-1 of "hello" and "world" by `md5sum` and `sha1sum`.
    let md5 =
        "5d41402abc4b2a76b9719d911017c592  data/a.txt\n7d793037a0760186574b0282f2f435e7  data/b/c.txt\n";
    let sha1 = "aaf4c61ddcc5e8a2dabede0f3b482cd9aea9434d  data/a.txt\n7c211433f02071597741e6ff5a8ea34789abbf43  data/b/c.txt\n";
    let found = after(|bag| {
        bag.put("manifest-md5.txt", md5);
        bag.put("manifest-sha1.txt", sha1);
    });
    assert_eq!(found, []);
    let found = after(|bag| bag.put("manifest-md5.txt", md5.replace("5d4", "5d5")));
    assert_eq!(found, one("data/a.txt", Altered));
}

// 3: what cannot be read

#[test]
fn a_listed_file_that_is_not_there_is_missing_once() {
    let found = after(|bag| {
        bag.files.remove("data/a.txt");
        bag.replace("bag-info.txt", "10.2", "5.1");
    });
    assert_eq!(found, one("data/a.txt", Missing));
}
