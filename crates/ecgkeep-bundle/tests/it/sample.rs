//! A small bundle of an invented day clinic.

use std::sync::Arc;

use ecgkeep_bundle::{Bundle, Member, pack};

pub const STEM: &str = "6c61726b6d6f6f72.r1";

pub fn info() -> Vec<(String, String)> {
    [
        ("Source-Organization", "Larkmoor day clinic"),
        ("External-Identifier", "6c61726b6d6f6f72"),
        ("Bagging-Date", "2026-11-25"),
    ]
    .map(|(label, value)| (label.to_owned(), value.to_owned()))
    .to_vec()
}

pub fn member(name: &str, bytes: impl Into<Vec<u8>>) -> Member {
    Member { name: name.to_owned(), bytes: bytes.into() }
}

/// Two leads of 200 samples in 16 bits: a slow wave with a spike every 50 samples.
pub fn signal() -> Vec<u8> {
    let sample = |i: i16| i * 7 % 40 - 20 + if i % 50 == 25 { 900 } else { 0 };
    (0..200).flat_map(|i| [sample(i), -sample(i) / 2]).flat_map(i16::to_le_bytes).collect()
}

pub fn members() -> Vec<Member> {
    vec![
        member("metadata/entry.json", "{\"schema\":\"ecgkeep/entry/1\",\"main\":\"1.hea\"}\n"),
        member("metadata/README.txt", "unzip, then: sha512sum -c manifest-sha512.txt\n".repeat(4)),
        member(
            "data/original/1.hea",
            "1 2 500 200\n1.dat 16 1000/mV 16 0 -20 0 0 I\n1.dat 16 1000/mV 16 0 10 0 0 II\n",
        ),
        member("data/original/1.dat", signal()),
        member("data/report.svg", format!("<svg>{}</svg>\n", "<path d=\"M0 0h1\"/>".repeat(40))),
    ]
}

pub fn bytes() -> Vec<u8> {
    pack(STEM, &info(), members()).expect("the sample is plain")
}

pub fn open(bytes: Vec<u8>) -> ecgkeep_format::Result<Bundle> {
    Bundle::open("a.zip", Arc::from(bytes))
}

/// Where each member's local header starts, read from the directory.
pub fn local_headers(zip: &[u8]) -> Vec<(String, usize)> {
    directory_entries(zip)
        .into_iter()
        .map(|(name, at)| (name, u32::from_le_bytes(zip[at + 42..at + 46].try_into().unwrap()) as usize))
        .collect()
}

/// Where each directory entry starts.
pub fn directory_entries(zip: &[u8]) -> Vec<(String, usize)> {
    let end = zip.len() - 22;
    let count = u16::from_le_bytes([zip[end + 10], zip[end + 11]]);
    let mut at = u32::from_le_bytes(zip[end + 16..end + 20].try_into().unwrap()) as usize;
    let mut entries = Vec::new();
    for _ in 0..count {
        let name_bytes = usize::from(u16::from_le_bytes([zip[at + 28], zip[at + 29]]));
        entries.push((String::from_utf8(zip[at + 46..at + 46 + name_bytes].to_vec()).unwrap(), at));
        at += 46 + name_bytes;
    }
    entries
}

/// Where the packed bytes of a member lie.
pub fn packed(zip: &[u8], member: &str) -> std::ops::Range<usize> {
    let (name, at) = local_headers(zip).into_iter().find(|(name, _)| name.ends_with(member)).unwrap();
    let start = at + 30 + name.len();
    start..start + u32::from_le_bytes(zip[at + 18..at + 22].try_into().unwrap()) as usize
}
