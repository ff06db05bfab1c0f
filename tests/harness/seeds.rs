//! What the fuzz targets begin with: the fixtures, and small files of our own writing.

use std::path::{Path, PathBuf};

use ecgkeep::FORMATS;
use ecgkeep_archive::{Checkpoint, Receipt, Signer, tree};
use ecgkeep_bundle::{Bundle, Member, pack};
use ecgkeep_format::{File, Format, Options, write};
use ecgkeep_recording::Recording;

use crate::contract::every_option;
use crate::corpus::all;
use crate::parcel;
use crate::repository::root;

/// A seed longer than this slows a fuzzer down more than it teaches it.
const SEED_BYTES: usize = 24 << 10;

/// The seeds of one target; empty where it has none.
#[must_use]
pub fn seeds(target: &str) -> Vec<Vec<u8>> {
    let mut seeds = match target {
        "wfdb" => [wfdb_fixtures(), parcels_of("wfdb")].concat(),
        "wfdb_header" => parts(&[wfdb_fixtures(), parcels_of("wfdb")].concat(), ".hea"),
        "wfdb_annotations" => parts(&[wfdb_fixtures(), parcels_of("wfdb")].concat(), ".atr"),
        "scp" => [fixtures("scp", "scp"), bare("scp")].concat(),
        "scp_huffman" => fixtures("scp", "scp").iter().filter_map(|record| huffman_parts(record)).collect(),
        "aecg" => [fixtures("aecg", "xml"), bare("aecg")].concat(),
        "aecg_digits" => fixtures("aecg", "xml").iter().flat_map(|document| digits(document)).collect(),
        "json" => [fixtures("json", "json"), bare("json")].concat(),
        "json_model" => all().iter().filter_map(|named| serde_json::to_vec(&named.recording).ok()).collect(),
        "hdf5" => fixtures("hdf5", "h5"),
        "bundle" | "foreign_zip" => vec![zip()],
        "bagit_text" => vec![parcel::pack(&bag())],
        "filing" => FILINGS.iter().map(|text| text.as_bytes().to_vec()).collect(),
        "archive_line" => ARCHIVE_LINES.iter().map(|line| line.as_bytes().to_vec()).collect(),
        "archive_receipt" => archive_receipts(),
        "archive_lists" => ARCHIVE_LISTS.iter().map(|text| text.as_bytes().to_vec()).collect(),
        "detect" => FORMATS.iter().flat_map(|format| bare(format.about().id)).collect(),
        "round_trip" | "check_and_page" => [
            wfdb_fixtures(),
            FORMATS.iter().flat_map(|format| parcels_of(format.about().id)).collect(),
            named(fixtures("scp", "scp"), "r.scp"),
            named(fixtures("aecg", "xml"), "r.xml"),
            named(fixtures("json", "json"), "r.json"),
        ]
        .concat(),
        _ => Vec::new(),
    };
    seeds.retain(|seed| seed.len() <= SEED_BYTES);
    seeds
}

const FILINGS: &[&str] = &[
    include_str!("../../examples/larkmoor/lm10_bare.filing.toml"),
    r#"{"supplied_by":{"name":{"text":"R. Quill"}},"at":"2026-03-02T09:30+01:00","subject":{"sex":"female"}}"#,
];

const ARCHIVE_LINES: &[&str] = &[
    r#"{"i":7,"t":"2026-03-02T09:30:00Z","e":"filed","k":"3f9c0000000000000000000000000a01","r":1,"z":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","n":0,"by":"night-shift"}"#,
    r#"{"i":8,"t":"2026-03-02T09:31:00Z","e":"viewed","k":"3f9c0000000000000000000000000a01","r":1,"by":"records-1"}"#,
];

const ARCHIVE_LISTS: &[&str] = &[
    include_str!("../../examples/archive/schedule.toml"),
    "identifier = \"LM-204417\"\nfrom = \"2026-03-02\"\nverdict = \"warn\"\n",
    r#"{"name":"tallow","born":"1971-06-19"}"#,
    "order,sequence,device,identifier,time\nLM-260302-0842,17,FW-00718,LM-204417,2026-03-02T08:42:10+01:00\n",
    r#"{"order":"LM-260302-0842","time":"2026-03-02T08:42:10+01:00"}"#,
];

/// A receipt, its checkpoint, and a signed one with the key that signed it.
fn archive_receipts() -> Vec<Vec<u8>> {
    let leaves: Vec<_> =
        ARCHIVE_LINES.iter().cycle().take(5).map(|line| tree::leaf(line.as_bytes())).collect();
    let (root, path) = (tree::root(&leaves[..], 0..5), tree::inclusion(&leaves[..], 2, 5));
    let (Ok(root), Ok(path), Ok(name)) = (root, path, "larkmoor.example".parse()) else { return Vec::new() };
    let signer = Signer::from_seed(name, &[7; 32]);
    let checkpoint = Checkpoint { origin: "larkmoor.example/ecg".to_owned(), size: 5, root };
    let (plain, signed) = (checkpoint.note(None), checkpoint.note(Some(&signer)));
    let receipts = [plain.clone(), signed.clone()]
        .map(|checkpoint| Receipt { index: 2, path: path.clone(), checkpoint }.written());
    let texts = [plain.written(), signed.written(), signer.public().written()];
    receipts.into_iter().chain(texts).map(String::into_bytes).collect()
}

/// The files with this ending in the folders of a format's fixtures.
fn fixtures(format: &str, ending: &str) -> Vec<Vec<u8>> {
    let folders = ["good", "departs", "bad"].map(|kind| root().join("fixtures").join(format).join(kind));
    let paths = folders.iter().flat_map(|folder| sorted(folder));
    let paths = paths.filter(|path| path.extension().is_some_and(|own| own == ending));
    paths.filter_map(|path| std::fs::read(path).ok()).collect()
}

/// Every record of the WFDB fixtures as a parcel; the one called `h` is the main one.
fn wfdb_fixtures() -> Vec<Vec<u8>> {
    let folders = ["good", "departs", "bad"].map(|kind| root().join("fixtures/wfdb").join(kind));
    folders.iter().flat_map(|folder| sorted(folder)).map(|folder| record(&folder)).collect()
}

fn record(folder: &Path) -> Vec<u8> {
    let mut files = Vec::new();
    for path in sorted(folder).iter().filter(|path| path.extension().is_some_and(|ending| ending != "txt")) {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        files.push(File { name, bytes: std::fs::read(path).unwrap_or_default() });
    }
    files.sort_by_key(|file| file.name != "h.hea");
    parcel::pack(&files)
}

fn sorted(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.sort();
    paths
}

/// What a format makes of every recording of the corpus, with every option.
fn written(id: &str) -> Vec<Vec<File>> {
    let Some(format) = FORMATS.iter().find(|format| format.about().id == id) else { return Vec::new() };
    let mut made = Vec::new();
    for options in every_option(*format) {
        made.extend(all().iter().filter_map(|named| files(*format, &named.recording, &options)));
    }
    made
}

fn files(format: &dyn Format, recording: &Recording, options: &Options) -> Option<Vec<File>> {
    let mut files = write(format, std::slice::from_ref(recording), "r", options).ok()?.files;
    files.reverse();
    Some(files)
}

fn parcels_of(id: &str) -> Vec<Vec<u8>> {
    written(id).iter().map(|files| parcel::pack(files)).collect()
}

/// The main file of each.
fn bare(id: &str) -> Vec<Vec<u8>> {
    written(id).into_iter().map(|mut files| files.swap_remove(0).bytes).collect()
}

fn named(files: Vec<Vec<u8>>, name: &str) -> Vec<Vec<u8>> {
    files.into_iter().map(|bytes| parcel::pack(&[File { name: name.to_owned(), bytes }])).collect()
}

/// The files of parcels whose names end so.
fn parts(parcels: &[Vec<u8>], ending: &str) -> Vec<Vec<u8>> {
    let files = parcels.iter().flat_map(|parcel| parcel::files(parcel));
    files.filter(|file| file.name.ends_with(ending)).map(|file| file.bytes).collect()
}

/// Sections 2 and 6 of a record as the target takes them; `None` where it has none or they are too long.
fn huffman_parts(record: &[u8]) -> Option<Vec<u8>> {
    let section = |number: u8| {
        // Row of section 0: number, length, index from 1 (EN 1064, 5.3).
        let row = record.get(22 + 10 * usize::from(number)..)?.first_chunk::<10>()?;
        let length = usize::try_from(u32::from_le_bytes([row[2], row[3], row[4], row[5]])).ok()?;
        let index = usize::try_from(u32::from_le_bytes([row[6], row[7], row[8], row[9]])).ok()?;
        record.get(index.checked_add(15)?..index.checked_add(length)?.checked_sub(1)?)
    };
    let (tables, signal) = (section(2)?, section(6)?);
    Some([&[u8::try_from(tables.len()).ok()?, 16][..], tables, signal].concat())
}

/// What stands between `<digits>` and `</digits>` in a document.
fn digits(document: &[u8]) -> Vec<Vec<u8>> {
    let text = String::from_utf8_lossy(document);
    let pieces = text.split("<digits>").skip(1).filter_map(|piece| piece.split_once("</digits>"));
    pieces.map(|(digits, _)| digits.as_bytes().to_vec()).collect()
}

/// A small bundle.
fn zip() -> Vec<u8> {
    let text = b"ten still seconds ".repeat(8);
    let members =
        [("data/original/r.hea", &b"r 0\n"[..]), ("data/report.svg", &text), ("metadata/entry.json", b"{}")];
    let members = members.map(|(name, bytes)| Member { name: name.to_owned(), bytes: bytes.to_vec() });
    let info = [("External-Identifier", "6c61726b"), ("Bagging-Date", "2026-03-02")];
    let info = info.map(|(label, value)| (label.to_owned(), value.to_owned()));
    pack("6c61726b.r1", &info, members.to_vec()).expect("the members are those of a bundle")
}

/// The files of that bundle: a valid bag.
fn bag() -> Vec<File> {
    let bundle = Bundle::open("6c61726b.r1.zip", zip().into()).expect("it was packed above");
    let whole = |name: &str| bundle.member(name).expect("it was packed above");
    bundle.members().map(|name| File { name: name.to_owned(), bytes: whole(name) }).collect()
}
