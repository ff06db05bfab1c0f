//! One function per fuzz target: it takes any bytes and panics where a promise is broken. `tests/fuzz` runs them on
//! bytes that a fuzzer makes, `fuzzed.rs` on the seeds and on every input that once broke one.

use std::collections::BTreeMap;
use std::sync::Arc;

use ecgkeep::checks::{self, Policy};
use ecgkeep::report::{PageFacts, Paper, sheet, svg};
use ecgkeep::{FORMATS, format_by_id, parse_filing, probe};
use ecgkeep_archive::query::Query;
use ecgkeep_archive::reconcile::parse_expected;
use ecgkeep_archive::schedule::Schedule;
use ecgkeep_archive::{Checkpoint, Line, PublicKey, Receipt};
use ecgkeep_bundle::{Bundle, bag, foreign};
use ecgkeep_format::{Error, File, Format, Kind, Limits, Memory, Read, Result, Source};
use ecgkeep_recording::Recording;

use crate::contract::{every_option, trial};
use crate::parcel;

/// A name, and what is done with the bytes.
pub type Target = (&'static str, fn(&[u8]));

/// Every target: the formats whole, the parts with a grammar of their own, recognition, and round trips.
pub const TARGETS: &[Target] = &[
    ("wfdb", wfdb),
    ("wfdb_header", wfdb_header),
    ("wfdb_annotations", wfdb_annotations),
    ("scp", scp),
    ("scp_huffman", scp_huffman),
    ("aecg", aecg),
    ("aecg_digits", aecg_digits),
    ("json", json),
    ("json_model", json_model),
    ("hdf5", hdf5),
    ("bundle", bundle),
    ("foreign_zip", foreign_zip),
    ("bagit_text", bagit_text),
    ("filing", filing),
    ("archive_line", archive_line),
    ("archive_receipt", archive_receipt),
    ("archive_lists", archive_lists),
    ("detect", detect),
    ("round_trip", round_trip),
    ("check_and_page", check_and_page),
];

/// The target of this name.
/// # Panics
/// Where there is none.
#[must_use]
pub fn target(name: &str) -> fn(&[u8]) {
    TARGETS
        .iter()
        .find(|(own, _)| *own == name)
        .unwrap_or_else(|| panic!("no fuzz target is called {name}"))
        .1
}

/// A WFDB record of several files, see [`parcel`].
fn wfdb(data: &[u8]) {
    read("wfdb", &parcel::memory(data));
}

/// A WFDB header, whatever signal files it names.
fn wfdb_header(data: &[u8]) {
    read("wfdb", &AnyFile { header: data.to_vec() });
}

/// A WFDB annotation file beside a record of one lead.
fn wfdb_annotations(data: &[u8]) {
    let files =
        [("r.hea", &b"r 1 500 64\nr.dat 16 200 16 0 0 0 0 II\n"[..]), ("r.dat", &[0; 128]), ("r.atr", data)];
    let files = files.map(|(name, bytes)| File { name: name.to_owned(), bytes: bytes.to_vec() });
    read("wfdb", &Memory::new("r.hea", files.to_vec()));
}

/// An SCP-ECG record.
fn scp(data: &[u8]) {
    read("scp", &alone("r.scp", data));
}

/// The code tables of section 2 and the bits of section 6; the first byte says how many bytes of the input are
/// section 2, the second how many samples the one lead has.
fn scp_huffman(data: &[u8]) {
    let [tables, samples, rest @ ..] = data else { return };
    let (tables, signal) = rest.split_at(usize::from(*tables).min(rest.len()));
    read("scp", &alone("r.scp", &scp_record(tables, *samples, signal)));
}

/// An HL7 aECG document.
fn aecg(data: &[u8]) {
    read("aecg", &alone("r.xml", data));
}

/// The digits of one lead of an aECG document.
fn aecg_digits(data: &[u8]) {
    let (before, after) = AECG_AROUND_DIGITS.split_once('@').expect("the frame has a place for the digits");
    let document = [before.as_bytes(), data, after.as_bytes()].concat();
    read("aecg", &alone("r.xml", &document));
}

/// A document of ecgkeep's JSON form.
fn json(data: &[u8]) {
    read("json", &alone("r.json", data));
}

/// One recording of the JSON form.
fn json_model(data: &[u8]) {
    let document = [br#"{"schema":"ecgkeep-recording/1","recordings":["#, data, b"]}"].concat();
    read("json", &alone("r.json", &document));
}

/// An HDF5 file, read without the C library.
fn hdf5(data: &[u8]) {
    read("hdf5", &alone("r.h5", data));
}

/// A ZIP as a bundle: its grammar, and every member of what is one.
fn bundle(data: &[u8]) {
    let bundle = match Bundle::open("r.zip", Arc::from(data)) {
        Ok(bundle) => bundle,
        Err(error) => return check(&error),
    };
    let faults = bundle.verify();
    for member in bundle.members() {
        match bundle.member(member) {
            Ok(bytes) => assert_eq!(bytes.len() as u64, bundle.size(member).expect("it is a member")),
            Err(error) => {
                check(&error);
                assert!(!faults.is_empty(), "{error}, and the bundle is called sound");
            }
        }
    }
}

/// A ZIP of anybody, every member and the bag in it.
fn foreign_zip(data: &[u8]) {
    let archive = match foreign::Archive::open("r.zip", Arc::from(data)) {
        Ok(archive) => archive,
        Err(error) => return check(&error),
    };
    for member in archive.members() {
        match archive.member(member, 1 << 20) {
            Ok(bytes) => assert!(bytes.len() <= 1 << 20),
            Err(error) => check(&error),
        }
        let _ = archive.beside(member);
    }
    let _ = archive.bag_faults();
}

/// A bag given as a parcel: declaration, manifests, metadata, `fetch.txt` and payload.
fn bagit_text(data: &[u8]) {
    let files = parcel::files(data).into_iter().rev();
    let faults = bag::check(&Bag(files.map(|file| (file.name, file.bytes)).collect()));
    assert!(faults.is_sorted());
}

/// A filing in TOML or JSON.
fn filing(data: &[u8]) {
    if let Ok(text) = str::from_utf8(data)
        && let Err(error) = parse_filing("r.filing.toml", text)
    {
        check(&error);
    }
}

/// A line of a journal: there is one way to write what is read.
fn archive_line(data: &[u8]) {
    if let Ok(line) = Line::parse(data) {
        assert_eq!(line.text().as_bytes(), data);
    }
}

/// A receipt, and alone the checkpoint and the public key that people hand about.
fn archive_receipt(data: &[u8]) {
    let Ok(text) = str::from_utf8(data) else { return };
    if let Ok(receipt) = Receipt::parse(text) {
        assert_eq!(Receipt::parse(&receipt.written()).ok(), Some(receipt.clone()));
        let _ = receipt.proves(b"{}");
    }
    if let Ok((checkpoint, note)) = Checkpoint::parse(text) {
        assert!(note.text.starts_with(&checkpoint.note(None).text), "{note:?}");
    }
    if let Ok(key) = PublicKey::parse(text) {
        assert_eq!(PublicKey::parse(&key.written()).ok(), Some(key));
    }
}

/// What a person writes for an archive: a query, a retention schedule, a list of what was expected.
fn archive_lists(data: &[u8]) {
    let Ok(text) = str::from_utf8(data) else { return };
    let _ = Query::parse("query.toml", text);
    for error in [Schedule::parse("s.toml", text).err(), parse_expected("l.csv", text).err()] {
        error.iter().for_each(check);
    }
}

/// Recognition under every ending that a format has, and under none.
fn detect(data: &[u8]) {
    let endings = FORMATS.iter().flat_map(|format| format.about().endings).copied();
    for ending in endings.chain(["", "zip", "dat"]) {
        let found = probe(&format!("r.{ending}"), data);
        assert!(found.is_sorted_by_key(|(_, sure)| std::cmp::Reverse(*sure)));
    }
}

/// Reads a parcel with the format that recognises it, and holds every format to the contract with what it gives:
/// what is written comes back, and every difference was stated.
fn round_trip(data: &[u8]) {
    let writes = |format: &dyn Format| !format.about().writes.is_empty() && format.available().is_ok();
    for recording in recordings(data) {
        for format in FORMATS.iter().filter(|format| writes(**format)) {
            for options in every_option(*format) {
                let trial = trial(*format, &recording, &options);
                assert!(trial.faults.is_empty(), "{} {options:?}: {:#?}", format.about().id, trial.faults);
            }
        }
    }
}

/// The checks and the page of whatever a parcel holds.
fn check_and_page(data: &[u8]) {
    let now = "2026-03-02T18:00+01:00".parse().expect("a civil time");
    for recording in recordings(data) {
        let assessment = checks::run(&recording, None, &Policy::default(), &now);
        let sheet = sheet(&recording, &assessment, &PageFacts::default(), &Paper::default());
        for page in 0..sheet.pages.len() {
            assert!(svg(&sheet, page).ends_with("</svg>\n"));
        }
    }
}

/// The recordings in a parcel, read with the format that is surest of it.
fn recordings(data: &[u8]) -> Vec<Recording> {
    let memory = parcel::memory(data);
    let Ok(format) = ecgkeep::choose(&memory, None) else { return Vec::new() };
    match format.read(&memory, &Limits::default()) {
        Ok(read) => read.recordings,
        Err(_) => Vec::new(),
    }
}

/// Reads with a format, and holds errors and notes to what is asked of them.
fn read(id: &str, source: &dyn Source) {
    let format = format_by_id(id).expect("the format is built in");
    let read: Result<Read> = format.read(source, &Limits::default());
    match read {
        Err(error) => check(&error),
        Ok(read) => {
            for note in &read.notes {
                assert!(!note.text.is_empty(), "an empty note: {note:?}");
            }
            for recording in &read.recordings {
                // Every number of the recording is looked at once.
                let _ = recording.fingerprint();
            }
        }
    }
}

/// An error of a reader names a place and lays no fault on the caller or on itself.
fn check(error: &Error) {
    let is_of_the_input = !matches!(error.kind(), Kind::Internal | Kind::Usage | Kind::Refused);
    assert!(is_of_the_input, "an error of another kind than the input's: {error:?}");
    assert!(error.place().file.is_some(), "an error without a place: {error}");
}

fn alone(name: &str, data: &[u8]) -> Memory {
    Memory::new(name, vec![File { name: name.to_owned(), bytes: data.to_vec() }])
}

/// A header, and 4 KiB of a simple pattern under every other name.
struct AnyFile {
    header: Vec<u8>,
}

impl Source for AnyFile {
    fn main(&self) -> &str {
        "r.hea"
    }

    fn names(&self) -> Result<Vec<String>> {
        Ok(vec!["r.dat".to_owned(), "r.hea".to_owned()])
    }

    fn bytes(&self, name: &str, _limit: u64) -> Result<Arc<[u8]>> {
        ecgkeep_format::plain_name(name)?;
        Ok(if name == "r.hea" { Arc::from(&self.header[..]) } else { (0..=255).cycle().take(4096).collect() })
    }
}

/// The files of a parcel as a bag.
struct Bag(BTreeMap<String, Vec<u8>>);

impl bag::Files for Bag {
    fn names(&self) -> Vec<String> {
        self.0.keys().cloned().collect()
    }

    fn pour(&self, name: &str, into: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        let bytes = self.0.get(name);
        into(bytes.ok_or_else(|| Error::new(Kind::Io, format!("no file {name:?}")))?)
    }
}

/// A frame for [`aecg_digits`]: one series of one lead; `@` stands where the digits go.
const AECG_AROUND_DIGITS: &str = r#"<AnnotatedECG xmlns="urn:hl7-org:v3" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"><component><series><code code="RHYTHM" codeSystem="2.16.840.1.113883.5.4"/><component><sequenceSet><component><sequence><code code="TIME_ABSOLUTE" codeSystem="2.16.840.1.113883.5.4"/><value xsi:type="GLIST_TS"><head value="20260302091405.000"/><increment value="0.002" unit="s"/></value></sequence></component><component><sequence><code code="MDC_ECG_LEAD_II" codeSystem="2.16.840.1.113883.6.24"/><value xsi:type="SLIST_PQ"><origin value="0" unit="uV"/><scale value="5" unit="uV"/><digits>@</digits></value></sequence></component></sequenceSet></component></series></component></AnnotatedECG>"#;

/// A record of one lead with these code tables and this body of section 6. Its checksums are zero, which the reader
/// notes and reads past. Section headers: checksum, number, length, two versions, six reserved bytes (EN 1064, 5.2).
fn scp_record(tables: &[u8], samples: u8, signal: &[u8]) -> Vec<u8> {
    // Number of leads, flags: all recorded together; start, end and number of lead I (EN 1064, 5.6).
    let leads = [&[1, 4, 1, 0, 0, 0, samples, 0, 0, 0, 1][..], &[0]].concat();
    let bodies: [(u16, &[u8]); 4] = [(1, &[255, 0, 0, 0]), (2, tables), (3, &leads), (6, signal)];
    let mut rows = Vec::new();
    let mut sections = Vec::new();
    // The first section starts behind the record's six bytes and section 0 with its twelve rows of ten bytes.
    let first = 6 + 16 + 120;
    for number in 0..12_u16 {
        let body = bodies.iter().find(|(own, _)| *own == number).map(|(_, body)| *body);
        let length = body.map_or(0, |body| 16 + length_of(body));
        let index = if length == 0 { 0 } else { first + length_of(&sections) + 1 };
        let (length, index) = if number == 0 { (136, 7) } else { (length, index) };
        rows.extend([&number.to_le_bytes()[..], &length.to_le_bytes(), &index.to_le_bytes()].concat());
        if let Some(body) = body {
            sections.extend(section_header(number, length, &[0; 6]));
            sections.extend(body);
        }
    }
    let section_0 = [section_header(0, 136, b"SCPECG"), rows].concat();
    let size = (first + length_of(&sections)).to_le_bytes();
    [&[0, 0], &size[..], &section_0, &sections].concat()
}

fn length_of(bytes: &[u8]) -> u32 {
    u32::try_from(bytes.len()).unwrap_or(u32::MAX)
}

fn section_header(number: u16, length: u32, rest: &[u8; 6]) -> Vec<u8> {
    [&[0, 0], &number.to_le_bytes()[..], &length.to_le_bytes(), &[20, 20], rest].concat()
}
