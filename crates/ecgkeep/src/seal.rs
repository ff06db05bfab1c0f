//! One recording with its source, copies, page, findings and history in one sealed bundle.

use std::path::Path;

use ecgkeep_archive::{Amends, Entry};
use ecgkeep_bundle::{Bundle, BundleSource, Member, pack, safe_names};
use ecgkeep_checks::{Assessment, Policy};
use ecgkeep_format::{Error, Format as _, Kind, Limits, Loss, Memory, Options, Place, Result, Weight, write};
use ecgkeep_recording::{CivilTime, Filing, Recording};
use ecgkeep_report::Paper;
use serde::{Deserialize, Serialize};

use crate::correct::{AMENDMENTS, Amendments};
use crate::entry::{Revision, entry_of};
use crate::events::events;
use crate::input::Opened;
use crate::page::{PageForm, page_facts, page_files};

/// Where things stand in a bundle.
pub(crate) const ORIGINAL: &str = "data/original";
pub(crate) const WFDB_COPY: &str = "data/wfdb";
pub(crate) const RECORDING: &str = "metadata/recording.json";
pub(crate) const ENTRY: &str = "metadata/entry.json";
const FINDINGS: &str = "metadata/findings.json";
const FIDELITY: &str = "metadata/fidelity.json";
const EVENTS: &str = "metadata/events.jsonl";
pub(crate) const FILING: &str = "metadata/filing.json";
const PAYLOAD_MANIFEST: &str = "manifest-sha512.txt";
const README: &str = "metadata/README.txt";

/// What a sealing needs to know besides the source.
#[derive(Clone, Debug)]
pub struct Sealing<'a> {
    /// What was supplied beside the source.
    pub filing: Option<&'a Filing>,
    /// The policy that the checks follow.
    pub policy: &'a Policy,
    /// When: stands in the bundle for bagging date and events, and is "now" for the checks.
    pub at: CivilTime,
    /// The program and its version.
    pub program: &'a str,
}

/// A sealed bundle.
pub struct Sealed {
    /// The top directory in the bundle and its proper file name without `.zip`: key and revision.
    pub stem: String,
    /// The ZIP.
    pub bytes: Vec<u8>,
    /// metadata/entry.json.
    pub entry: Entry,
    /// What the checks found.
    pub assessment: Assessment,
    /// What the WFDB copy does not carry, if one was made.
    pub losses: Vec<Loss>,
}

/// metadata/fidelity.json: what was noticed in the source, and what each copy does not carry.
#[derive(Serialize)]
struct Fidelity {
    schema: &'static str,
    notes: Vec<String>,
    copies: Vec<Copy>,
}

#[derive(Serialize)]
struct Copy {
    folder: &'static str,
    format: &'static str,
    made: bool,
    /// Why it was not made.
    because: Option<String>,
    losses: Vec<String>,
}

/// metadata/findings.json.
#[derive(Serialize)]
struct Findings<'a> {
    schema: &'static str,
    #[serde(flatten)]
    assessment: &'a Assessment,
}

/// Checks a recording, draws its page, and seals everything with the source's own bytes. The same source, filing,
/// policy, program and time give the same bytes.
/// # Errors
/// [`Kind::Unsupported`] where the source does not hold exactly one recording; [`Kind::Refused`] for one that comes
/// from a corrected bundle: its source is superseded and would be filed anew; those of packing.
pub fn seal(opened: &Opened, sealing: &Sealing<'_>) -> Result<Sealed> {
    let recording = opened.recording()?;
    if opened.amends.is_some() {
        return Err(Error::new(Kind::Refused, "a corrected revision: its original is superseded")
            .remedy("keep the bundle as it is; a correction is made in the archive that holds it"));
    }
    seal_as(opened, recording, sealing, None)
}

/// Seals `recording`, which is what the source says or a correction of it.
pub(crate) fn seal_as(
    opened: &Opened,
    recording: &Recording,
    sealing: &Sealing<'_>,
    amendments: Option<&Amendments>,
) -> Result<Sealed> {
    let assessment = ecgkeep_checks::run(recording, sealing.filing, sealing.policy, &sealing.at);
    let names: Vec<String> = opened.files.iter().map(|file| file.name.clone()).collect();
    let stored_as = safe_names(&names);
    let amends = amendments.map(|amendments| &amendments.amends);
    let number = amends.map_or(1, |amends| amends.revision + 1);
    let mut facts = page_facts(opened, recording, sealing.filing, sealing.policy, sealing.program);
    facts.correction = amendments.map(|amendments| correction_line(&amendments.amends, Some(&amendments.at)));
    let test_recording = facts.test_recording.clone();
    let revision = Revision { number, amends, program: sealing.program, at: sealing.at, test_recording };
    let entry = entry_of(opened, recording, sealing.filing, &assessment, &stored_as, &revision);
    let stem = format!("{}.r{}", entry.key, entry.revision);

    let mut members = Vec::new();
    let mut put = |name: String, bytes: Vec<u8>| members.push(Member { name, bytes });
    for (file, described) in opened.files.iter().zip(&entry.files) {
        put(format!("{ORIGINAL}/{}", described.stored_as), file.bytes.to_vec());
    }
    let (copy, losses) = wfdb_copy(opened, recording, amends.is_some(), &mut put)?;
    let sheet = ecgkeep_report::sheet(recording, &assessment, &facts, &Paper::default());
    for page in page_files(&sheet, "report", PageForm::Svg, &sealing.at)? {
        put(format!("data/{}", page.name), page.bytes);
    }
    #[cfg(feature = "pdf")]
    for page in page_files(&sheet, "report", PageForm::Pdf, &sealing.at)? {
        put(format!("data/{}", page.name), page.bytes);
    }
    put(README.to_owned(), readme(&entry, copy.made).into_bytes());
    put(RECORDING.to_owned(), ecgkeep_json::to_string(recording)?.into_bytes());
    put(ENTRY.to_owned(), json(&entry)?);
    put(FINDINGS.to_owned(), json(&Findings { schema: "ecgkeep-findings/1", assessment: &assessment })?);
    let events = events(&entry, &opened.read.notes, copy.made, &losses);
    put(EVENTS.to_owned(), events.into_bytes());
    let notes = opened.read.notes.iter().map(ToString::to_string).collect();
    put(FIDELITY.to_owned(), json(&Fidelity { schema: "ecgkeep-fidelity/1", notes, copies: vec![copy] })?);
    if let Some(filing) = sealing.filing {
        put(FILING.to_owned(), json(filing)?);
    }
    if let Some(amendments) = amendments {
        put(AMENDMENTS.to_owned(), json(amendments)?);
    }
    let bytes = pack(&stem, &bag_info(&entry, recording, sealing), members)?;
    Ok(Sealed { stem, bytes, entry, assessment, losses })
}

/// What a page says of a correction, after the word "Corrected".
pub(crate) fn correction_line(amends: &Amends, at: Option<&CivilTime>) -> String {
    let Amends { revision, why, authorised_by, by, .. } = amends;
    let at = at.map_or_else(String::new, |at| format!(" on {}", at.to_string().replacen('T', " ", 1)));
    format!("from revision {revision} ({why}){at}; by {by}, authorised by {authorised_by}")
}

/// The entry of the bundle at `path`, if it is valid and holds the same original files and filing as `sealed`: sealing
/// the same source again, at another time, under another policy or with another version of the program, leaves it as
/// it is.
#[must_use]
pub fn sealed_there(path: &Path, sealed: &Sealed) -> Option<Entry> {
    let open = |bytes: &[u8]| Bundle::open(&sealed.stem, bytes.into()).ok();
    let there = open(&std::fs::read(path).ok()?)?;
    let new = open(&sealed.bytes)?;
    let filing = |bundle: &Bundle| bundle.member(FILING).ok();
    let is_same = there.stem() == new.stem()
        && originals(&there) == originals(&new)
        && filing(&there) == filing(&new)
        && there.verify().is_empty();
    if is_same { stored(&there, ENTRY).ok() } else { None }
}

/// The lines of the payload manifest for the original files.
fn originals(bundle: &Bundle) -> Vec<String> {
    let manifest = bundle.member(PAYLOAD_MANIFEST).unwrap_or_default();
    let text = String::from_utf8_lossy(&manifest);
    text.lines().filter(|line| line.contains(ORIGINAL)).map(str::to_owned).collect()
}

/// What the bundle of a patient who is not identified is marked with.
fn unidentified(entry: &Entry) -> Option<&'static str> {
    entry.unidentified.then_some("UNIDENTIFIED patient, to be corrected as soon as it is known who it is")
}

/// The labels of bag-info.txt (RFC 8493, 2.2.2) besides Payload-Oxum.
fn bag_info(entry: &Entry, recording: &Recording, sealing: &Sealing<'_>) -> Vec<(String, String)> {
    let beside = sealing.filing.and_then(|filing| filing.acquisition.institution.as_deref());
    let organisation = recording.acquisition.institution.as_deref().or(beside).unwrap_or("not stated");
    let mut info = vec![("Source-Organization", organisation.to_owned())];
    info.push(("External-Identifier", entry.key.clone()));
    let test = entry.test_recording.as_ref().map(|reason| format!("TEST RECORDING: {reason}"));
    let marks: Vec<String> = test.into_iter().chain(unidentified(entry).map(str::to_owned)).collect();
    if !marks.is_empty() {
        info.push(("External-Description", marks.join("; ")));
    }
    if let Some(date) = sealing.at.date {
        info.push(("Bagging-Date", date.to_string()));
    }
    info.push(("Bag-Software-Agent", sealing.program.to_owned()));
    if let Some(amends) = &entry.amends {
        info.push(("Amends", format!("{}.r{}", entry.key, amends.revision)));
        info.push(("Amends-Digest", format!("sha256:{}", amends.sha256)));
        info.push(("Amendment-Reason", amends.why.clone()));
        info.push(("Amended-By", amends.by.clone()));
    }
    info.into_iter().map(|(label, value)| (label.to_owned(), value)).collect()
}

/// A WFDB copy, left out where the original is WFDB that was read without a departure and stands uncorrected.
fn wfdb_copy(
    opened: &Opened,
    recording: &Recording,
    is_corrected: bool,
    put: &mut impl FnMut(String, Vec<u8>),
) -> Result<(Copy, Vec<Loss>)> {
    let format = &ecgkeep_wfdb::WFDB;
    let copy = |made, because, losses| Copy { folder: WFDB_COPY, format: "wfdb", made, because, losses };
    let is_clean = opened.read.notes.iter().all(|note| note.weight == Weight::NotTaken);
    if opened.format.about().id == "wfdb" && is_clean && !is_corrected {
        return Ok((
            copy(false, Some("the original is WFDB and reads without a departure".into()), vec![]),
            vec![],
        ));
    }
    match write(format, std::slice::from_ref(recording), "record", &Options::default()) {
        Ok(written) => {
            for file in written.files {
                put(format!("{WFDB_COPY}/{}", file.name), file.bytes);
            }
            let lines = written.losses.iter().map(ToString::to_string).collect();
            Ok((copy(true, None, lines), written.losses))
        }
        Err(error) if error.kind() == Kind::Refused => {
            Ok((copy(false, Some(error.to_string()), vec![]), vec![]))
        }
        Err(error) => Err(error),
    }
}

pub(crate) fn json(value: &impl Serialize) -> Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec_pretty(value)
        .map_err(|error| Error::new(Kind::Internal, "metadata cannot be written as JSON").because(error))?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// The original inside a bundle, under the names it came with.
pub(crate) fn original(bundle: &Bundle) -> Result<BundleSource<'_>> {
    let entry: Entry = stored(bundle, ENTRY)?;
    let names: Vec<(String, String)> =
        entry.files.into_iter().map(|file| (file.name, file.stored_as)).collect();
    bundle.source(ORIGINAL, &names, &entry.main)
}

/// The filing inside a bundle, if there is one.
pub(crate) fn stored_filing(bundle: &Bundle) -> Result<Option<Filing>> {
    if bundle.members().any(|member| member == FILING) { stored(bundle, FILING).map(Some) } else { Ok(None) }
}

/// The recording as it stands in a bundle, corrections included.
pub(crate) fn stored_recording(bundle: &Bundle) -> Result<Recording> {
    let file = ecgkeep_format::File { name: "recording.json".into(), bytes: bundle.member(RECORDING)? };
    let source = Memory::new("recording.json", vec![file]);
    let (recording, _) = ecgkeep_json::JSON.read(&source, &Limits::default())?.one()?;
    Ok(recording)
}

/// A JSON member of a bundle.
pub(crate) fn stored<T: for<'de> Deserialize<'de>>(bundle: &Bundle, member: &str) -> Result<T> {
    serde_json::from_slice(&bundle.member(member)?).map_err(|error| {
        Error::malformed(
            Place::default().part(member).line(error.line() as u64),
            "not the JSON expected there",
        )
        .because(error)
    })
}

/// metadata/README.txt: how a person checks the bundle by hand, and what each file is.
fn readme(entry: &Entry, has_copy: bool) -> String {
    let stem = format!("{}.r{}", entry.key, entry.revision);
    let test = match &entry.test_recording {
        Some(reason) => format!("TEST RECORDING, none of a patient: {reason}.\n\n"),
        None => String::new(),
    };
    let unidentified = unidentified(entry).map_or_else(String::new, |mark| format!("{mark}.\n\n"));
    let original = if entry.amends.is_some() {
        "data/original/        SUPERSEDED: the files as they were received, which say something wrong (another\n\
         \x20                     patient, for example). Do not hand them on. What is right stands in all other files\n\
         metadata/amendments.json   what was corrected, why, by whom\n"
    } else {
        "data/original/        the files as they were received, byte for byte\n"
    };
    let copy = if has_copy { "data/wfdb/            a copy in WFDB, an open waveform format\n" } else { "" };
    format!(
        "{test}{unidentified}This folder holds one resting ECG recording, sealed so that a change can be found.\n\
         \n\
         What is in it\n\
         {original}{copy}\
         data/report.svg, .pdf the page: 25 mm is one second, 10 mm is one millivolt (the .svg opens in a browser;\n\
         \x20                     measure the 50 mm bar before measuring anything else)\n\
         metadata/recording.json   everything read from the original, samples included: a voltage in nanovolts is\n\
         \x20                     offset + sample x step, and a million nanovolts are one millivolt\n\
         metadata/findings.json    what the technical checks found\n\
         metadata/fidelity.json    what was noticed in the original, and what a copy does not carry\n\
         metadata/events.jsonl     what was done up to sealing, one event a line\n\
         metadata/entry.json       who, when, verdict, digests\n\
         metadata/filing.json      what a person supplied beside the files, if anything\n\
         \n\
         How to check it by hand (any computer with unzip and sha512sum)\n\
         1. unzip {stem}.zip\n\
         2. cd {stem}\n\
         3. sha512sum -c manifest-sha512.txt        every file under data/ must say OK\n\
         4. sha512sum -c tagmanifest-sha512.txt     every other file must say OK\n\
         5. there must be no file that neither list names, except tagmanifest-sha512.txt itself\n\
         \n\
         What this proves: nothing in the folder was changed by accident since it was sealed. Who alters it on\n\
         purpose could seal it again: keep the digest of the ZIP, or of tagmanifest-sha512.txt, somewhere else.\n\
         \n\
         The checks are technical checks of the recording only. They are not a diagnosis, and finding no technical\n\
         fault does not mean a normal ECG. An ECG is to be over-read by a qualified clinician; local policy decides.\n\
         \n\
         The folder follows BagIt 1.0 (RFC 8493).\n"
    )
}
