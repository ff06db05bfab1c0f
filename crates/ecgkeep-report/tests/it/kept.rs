//! The pages of which pictures are kept, by the digests of their files in every form: a change of a page is seen here at
//! once, and is to be looked at (the example `kept` draws it) before the digests are renewed with `ECGKEEP_RENEW=1`.
//!
//! The digests were made by another run of another process, so they also show that a report's bytes depend on nothing but
//! what is reported.

use std::fs;
use std::path::Path;
use std::thread;

use ecgkeep_report::{Sheet, html, svg};

#[path = "../../examples/kept/sheets.rs"]
pub mod sheets;

/// FNV-1a over 64 bits: short, and enough to see a change that nobody intends to hide.
fn digest(bytes: &[u8]) -> u64 {
    bytes
        .iter()
        .fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3))
}

/// Each form of a sheet, with the files it makes.
fn forms(sheet: &Sheet) -> Vec<(&'static str, Vec<Vec<u8>>)> {
    let pages = (0..sheet.pages.len()).map(|page| svg(sheet, page).into_bytes()).collect();
    let mut all = vec![("svg", pages), ("html", vec![html(sheet).into_bytes()])];
    #[cfg(feature = "pdf")]
    {
        let made = "2026-03-02T18:00+01:00".parse().expect("a time");
        all.push(("pdf", vec![ecgkeep_report::pdf(sheet, &made).expect("a PDF")]));
    }
    all.sort_by_key(|(form, _)| *form);
    all
}

/// A line for each form of each sheet: `3x4 svg b104ee487d12dc76`.
fn lines() -> Vec<String> {
    let sheets = sheets::sheets().expect("the demonstration recordings are in examples/larkmoor");
    let line = |name: &str, form: &str, files: &[Vec<u8>]| {
        let digests: Vec<String> = files.iter().map(|file| format!("{:016x}", digest(file))).collect();
        format!("{name} {form} {}", digests.join(" "))
    };
    let of_sheet = |(name, sheet): &(&str, Sheet)| {
        forms(sheet).into_iter().map(|(form, files)| line(name, form, &files)).collect()
    };
    sheets.iter().flat_map(|named| -> Vec<String> { of_sheet(named) }).collect()
}

#[test]
fn kept_pages_are_what_they_were_when_they_were_looked_at() {
    let found = lines();
    let path = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/kept.txt"));
    // Only a build that makes all forms renews what is kept.
    if std::env::var_os("ECGKEEP_RENEW").is_some() && cfg!(feature = "pdf") {
        fs::write(path, found.join("\n") + "\n").expect("the file can be written");
    }
    let kept = fs::read_to_string(path).unwrap_or_default();
    let is_made_here = |line: &&str| cfg!(feature = "pdf") || line.split(' ').nth(1) != Some("pdf");
    let kept: Vec<&str> = kept.lines().filter(is_made_here).collect();
    let changed: Vec<&String> = found.iter().filter(|line| !kept.contains(&line.as_str())).collect();
    assert!(
        changed.is_empty() && kept.len() == found.len(),
        "pages have changed: {changed:?}; look at them, then renew with ECGKEEP_RENEW=1 and the feature pdf"
    );
}

#[test]
fn the_same_report_has_the_same_bytes_in_every_form_whoever_makes_it() {
    let first = lines();
    let again: Vec<Vec<String>> = thread::scope(|scope| {
        let threads: Vec<_> = (0..2).map(|_| scope.spawn(lines)).collect();
        threads.into_iter().map(|thread| thread.join().expect("it ends")).collect()
    });
    assert!(again.iter().all(|lines| *lines == first));
    // Reports that differ have other bytes in every form.
    let (mut digests, count) =
        (first.iter().map(|line| line.split_once(' ')).collect::<Vec<_>>(), first.len());
    digests.sort_unstable_by_key(|line| line.map(|(_, digests)| digests));
    digests.dedup_by_key(|line| line.map(|(_, digests)| digests));
    assert_eq!(digests.len(), count);
}
