//! Writes bundles of invented content, for `tests/reference/bundle_check.py`.
//!
//!     cargo run -p ecgkeep-bundle --example bundles -- DIRECTORY COUNT

use std::error::Error;
use std::path::PathBuf;

use ecgkeep_bundle::{Member, pack};

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let usage = "two arguments: DIRECTORY COUNT";
    let directory = PathBuf::from(arguments.next().ok_or(usage)?);
    let count: usize = arguments.next().ok_or(usage)?.parse()?;
    std::fs::create_dir_all(&directory)?;
    for number in 0..count {
        let stem = format!("{number:032x}.r1");
        std::fs::write(directory.join(format!("{stem}.zip")), bundle(&stem, number)?)?;
    }
    Ok(())
}

/// The bundle of this number: its length, its names and how well it packs vary with the number.
fn bundle(stem: &str, number: usize) -> ecgkeep_format::Result<Vec<u8>> {
    let line = |label: &str, value: &str| (label.to_owned(), value.to_owned());
    let info = [
        line("Source-Organization", "Larkmoor day clinic, Sch\u{f6}nau"),
        line("External-Identifier", &stem[..32]),
        line("Bagging-Date", "2026-11-25"),
    ];
    let member = |name: String, bytes: Vec<u8>| Member { name, bytes };
    let signal = |i: usize| (i * (1 + number % 9) % (2 + number % 251)).to_le_bytes()[0];
    let mut members = vec![
        member("metadata/README.txt".to_owned(), b"unzip, then sha512sum -c manifest-sha512.txt\n".to_vec()),
        member(format!("metadata/entry-{number}.json"), format!("{{\"number\":{number}}}\n").into_bytes()),
        member("data/report.svg".to_owned(), "<path d=\"M0 0h1\"/>".repeat(1 + number % 90).into_bytes()),
        member("data/original/1.dat".to_owned(), (0..100 + number * 37 % 9000).map(signal).collect()),
    ];
    members.extend((0..number % 12).map(|i| member(format!("data/wfdb/{i}.hea"), vec![signal(i); i])));
    pack(stem, &info, members)
}
