//! The pages of which pictures are kept, by the digest of their SVG: a change of a page is seen here at once, and is to
//! be looked at (the example `kept` draws it) before the digests are renewed with `ECGKEEP_RENEW=1`.

use std::fs;
use std::path::Path;

use ecgkeep_report::svg;

#[path = "../../examples/kept/sheets.rs"]
mod sheets;

/// FNV-1a over 64 bits: short, and enough to see a change that nobody intends to hide.
fn digest(text: &str) -> u64 {
    text.bytes()
        .fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

#[test]
fn kept_pages_are_what_they_were_when_they_were_looked_at() {
    let sheets = sheets::sheets().expect("the demonstration recordings are in examples/larkmoor");
    let mut lines = String::new();
    for (name, sheet) in &sheets {
        let pages: Vec<String> =
            (0..sheet.pages.len()).map(|page| format!("{:016x}", digest(&svg(sheet, page)))).collect();
        lines.push_str(&format!("{name} {}\n", pages.join(" ")));
    }
    let path = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/kept.txt"));
    if std::env::var_os("ECGKEEP_RENEW").is_some() {
        fs::write(path, &lines).expect("the file can be written");
    }
    let kept = fs::read_to_string(path).unwrap_or_default();
    let changed: Vec<&str> = lines.lines().filter(|line| !kept.lines().any(|known| known == *line)).collect();
    assert!(
        changed.is_empty() && kept.lines().count() == lines.lines().count(),
        "pages have changed: {changed:?}; look at them, then renew with ECGKEEP_RENEW=1"
    );
}
