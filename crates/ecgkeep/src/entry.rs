//! What an archive needs to know of a bundle without parsing a waveform.

use ecgkeep_checks::{Assessment, Verdict};
use ecgkeep_recording::{CivilTime, Filing, Identifier, Recording};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::input::{Opened, Original};

/// The shape of [`Entry`] (schemas/entry.schema.json).
pub const ENTRY_SCHEMA: &str = "ecgkeep-entry/1";

/// metadata/entry.json of a bundle: identity, times, verdict and digests of one sealed recording.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// [`ENTRY_SCHEMA`].
    pub schema: String,
    /// [`key`] of the source files.
    pub key: String,
    /// 1 for the first sealing; a correction is a later one.
    pub revision: u32,
    /// The program and version that sealed it.
    pub program: String,
    /// When it was sealed.
    pub sealed_at: CivilTime,
    /// The format the source was read with.
    pub format: String,
    /// The edition or version that the source states.
    pub edition: Option<String>,
    /// The name of the source's main file.
    pub main: String,
    /// The source files.
    pub files: Vec<EntryFile>,
    /// Who the patient is, from the source, or from the filing where the source is silent.
    pub patient: Patient,
    /// When the first sample was taken; from the filing where the source is silent.
    pub start: CivilTime,
    /// Operators on one line each; from the filing where the source is silent.
    pub operators: Vec<String>,
    /// Names of the leads of the rhythm waveforms.
    pub leads: Vec<String>,
    /// Samples per second of the first rhythm waveform.
    pub rate: Option<String>,
    /// Its length in seconds.
    pub seconds: Option<String>,
    /// The recording's fingerprint.
    pub fingerprint: String,
    /// Whether the source is damaged.
    pub damaged: bool,
    /// What the checks came to.
    pub checks: EntryChecks,
    /// Who supplied a filing beside the source, if somebody did.
    pub supplied_by: Option<String>,
}

/// One source file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EntryFile {
    /// The name it came with.
    pub name: String,
    /// Its name in data/original/.
    pub stored_as: String,
    /// Bytes.
    pub bytes: u64,
    /// SHA-256 in hexadecimal.
    pub sha256: String,
}

/// Identity, as it is printed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Patient {
    /// Identifiers.
    pub identifiers: Vec<Identifier>,
    /// The name on one line.
    pub name: Option<String>,
    /// The birth date, ISO 8601.
    pub birth_date: Option<String>,
}

/// What the checks came to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EntryChecks {
    /// The policy's name and version.
    pub policy: String,
    /// One sentence.
    pub headline: String,
    /// Codes of findings that FAIL.
    pub fails: Vec<String>,
    /// Codes of findings that WARN.
    pub warns: Vec<String>,
}

/// The key of a source: the first 128 bits, in hexadecimal, of the SHA-256 of one line per file, sorted by name:
/// its SHA-256, two blanks, its name, a line feed (so `sha256sum * | sha256sum` in the folder gives it).
#[must_use]
pub fn key(files: &[Original]) -> String {
    let mut lines: Vec<String> = Vec::with_capacity(files.len());
    for file in files {
        lines.push(format!("{}  {}\n", sha256(&file.bytes), file.name));
    }
    lines.sort_by(|a, b| a[64..].cmp(&b[64..]));
    sha256(lines.concat().as_bytes())[..32].to_owned()
}

/// SHA-256 in lower-case hexadecimal.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    Sha256::digest(bytes).iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Identity of the patient: what the source says, the filing where the source is silent.
#[must_use]
pub fn patient(recording: &Recording, filing: Option<&Filing>) -> Patient {
    let (source, beside) = (&recording.subject, filing.map(|filing| &filing.subject));
    let identifiers = match beside {
        Some(beside) if source.identifiers.is_empty() => beside.identifiers.clone(),
        _ => source.identifiers.clone(),
    };
    let name = if source.name.is_empty() { beside.map(|beside| &beside.name) } else { Some(&source.name) };
    let birth_date = source.birth_date.or(beside.and_then(|beside| beside.birth_date));
    Patient {
        identifiers,
        name: name.map(|name| name.line()).filter(|line| !line.is_empty()),
        birth_date: birth_date.map(|date| date.to_string()),
    }
}

/// When the first sample was taken: what the source says, the filing where the source is silent.
#[must_use]
pub fn start(recording: &Recording, filing: Option<&Filing>) -> CivilTime {
    match filing {
        Some(filing) if recording.acquisition.start.is_empty() => filing.acquisition.start,
        _ => recording.acquisition.start,
    }
}

/// The operators, a line each: what the source says, the filing where the source is silent.
#[must_use]
pub fn operators(recording: &Recording, filing: Option<&Filing>) -> Vec<String> {
    let operators = match filing {
        Some(filing) if recording.acquisition.operators.is_empty() => &filing.acquisition.operators,
        _ => &recording.acquisition.operators,
    };
    operators.iter().map(|person| person.line()).collect()
}

impl Entry {
    /// The entry of a source that has been read and checked; `stored_as` gives each file's name in the bundle.
    pub(crate) fn of(
        opened: &Opened,
        recording: &Recording,
        filing: Option<&Filing>,
        assessment: &Assessment,
        stored_as: &[(String, String)],
        sealing: (&str, CivilTime),
    ) -> Entry {
        let stored = |name: &str| {
            stored_as
                .iter()
                .find(|(original, _)| original == name)
                .map_or_else(String::new, |(_, safe)| safe.clone())
        };
        let codes = |verdict: Verdict| {
            let found = assessment.findings.iter().filter(|finding| finding.verdict == verdict);
            found.map(|finding| finding.code.to_owned()).collect()
        };
        let rhythm = recording.rhythm().next();
        Entry {
            schema: ENTRY_SCHEMA.to_owned(),
            key: key(&opened.files),
            revision: 1,
            program: sealing.0.to_owned(),
            sealed_at: sealing.1,
            format: opened.format.about().id.to_owned(),
            edition: recording.origin.version.clone(),
            main: opened.main.clone(),
            files: opened
                .files
                .iter()
                .map(|file| EntryFile {
                    name: file.name.clone(),
                    stored_as: stored(&file.name),
                    bytes: file.bytes.len() as u64,
                    sha256: sha256(&file.bytes),
                })
                .collect(),
            patient: patient(recording, filing),
            start: start(recording, filing),
            operators: operators(recording, filing),
            leads: recording
                .rhythm()
                .flat_map(|waveform| waveform.signals())
                .map(|signal| signal.lead.name())
                .collect(),
            rate: rhythm.map(|waveform| waveform.rate().to_string()),
            seconds: rhythm.map(|waveform| waveform.seconds().to_string()),
            fingerprint: recording.fingerprint().to_string(),
            damaged: opened.read.is_damaged(),
            checks: EntryChecks {
                policy: format!("{} {}", assessment.policy, assessment.policy_version),
                headline: assessment.headline(),
                fails: codes(Verdict::Fail),
                warns: codes(Verdict::Warn),
            },
            supplied_by: filing.map(|filing| filing.supplied_by.line()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sha256_is_that_of_fips_180_4() {
        // NIST FIPS 180-4 example: "abc".
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn the_key_is_what_sha256sum_gives_and_does_not_depend_on_the_order() {
        let file = |name: &str, bytes: &[u8]| Original { name: name.into(), bytes: bytes.into() };
        let files = [file("b.dat", b"2"), file("a.hea", b"1")];
        let lines = format!("{}  a.hea\n{}  b.dat\n", sha256(b"1"), sha256(b"2"));
        assert_eq!(key(&files), sha256(lines.as_bytes())[..32]);
        assert_eq!(key(&[files[1].clone(), files[0].clone()]), key(&files));
    }
}
