//! What an archive needs to know of a bundle without parsing a waveform.

use ecgkeep_recording::{CivilTime, Identifier};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// The shape of [`Entry`] (schemas/entry.schema.json).
pub const ENTRY_SCHEMA: &str = "ecgkeep-entry/2";

/// metadata/entry.json of a bundle: identity, times, verdict and digests of one sealed recording.
///
/// Where a filing was supplied beside the source, it speaks only where the source is silent; in a corrected revision
/// the correction speaks first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// [`ENTRY_SCHEMA`].
    pub schema: String,
    /// [`key`] of the source files.
    pub key: String,
    /// 1 for the first sealing; a correction is a later one.
    pub revision: u32,
    /// What this revision corrects; `None` in the first.
    #[serde(default)]
    pub amends: Option<Amends>,
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
    /// Who the patient is.
    pub patient: Patient,
    /// When the first sample was taken.
    pub start: CivilTime,
    /// Operators on one line each.
    pub operators: Vec<String>,
    /// Order (accession) number.
    #[serde(default)]
    pub order_number: Option<String>,
    /// Sequence number that the recording device gave.
    #[serde(default)]
    pub sequence_number: Option<String>,
    /// The recording device on one line.
    #[serde(default)]
    pub device: Option<String>,
    /// How urgent it was said to be.
    #[serde(default)]
    pub urgency: Option<Urgency>,
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
    /// Why this is a test recording and none of a patient, if it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub test_recording: Option<String>,
    /// Whether fewer identifiers of the patient are present than the policy asks for; not written where they are.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unidentified: bool,
    /// What the checks came to.
    pub checks: EntryChecks,
    /// Who supplied a filing beside the source, if somebody did.
    pub supplied_by: Option<String>,
}

/// The revision before, and why it was corrected.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Amends {
    /// Its number.
    pub revision: u32,
    /// SHA-256 of its whole bundle, in hexadecimal.
    pub sha256: String,
    /// The reason code, such as `wrong-patient`.
    pub why: String,
    /// The code of whoever authorised it.
    #[serde(rename = "for")]
    pub authorised_by: String,
    /// The code of whoever did it.
    pub by: String,
}

/// How urgent a recording was said to be.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Urgency {
    /// Word for word, as the source or the filing says it.
    pub text: String,
    /// 0 (routine) to 10 (most urgent), for the order of a list.
    pub rank: u8,
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
    /// The sex, as recorded.
    #[serde(default)]
    pub sex: Option<String>,
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

impl EntryChecks {
    /// The codes of what FAILs, then of what WARNs; each once, though several leads have it.
    #[must_use]
    pub fn codes(&self) -> Vec<&str> {
        let mut codes: Vec<&str> = Vec::new();
        for code in self.fails.iter().chain(&self.warns) {
            if !codes.contains(&code.as_str()) {
                codes.push(code);
            }
        }
        codes
    }
}

/// The key of source files, given as pairs (name, bytes): the first 128 bits, in hexadecimal, of the SHA-256 of one
/// line per file, sorted by name: its SHA-256, two blanks, its name, a line feed (so `sha256sum * | sha256sum` in the
/// folder gives it).
#[must_use]
pub fn key<'a>(files: impl IntoIterator<Item = (&'a str, &'a [u8])>) -> String {
    key_of_digests(files.into_iter().map(|(name, bytes)| (name, sha256(bytes))))
}

/// [`key`] of files whose SHA-256 is known already.
#[must_use]
pub fn key_of_digests<'a>(files: impl IntoIterator<Item = (&'a str, String)>) -> String {
    let mut lines: Vec<String> =
        files.into_iter().map(|(name, digest)| format!("{digest}  {name}\n")).collect();
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
        let files: [(&str, &[u8]); 2] = [("b.dat", b"2"), ("a.hea", b"1")];
        let lines = format!("{}  a.hea\n{}  b.dat\n", sha256(b"1"), sha256(b"2"));
        assert_eq!(key(files), sha256(lines.as_bytes())[..32]);
        assert_eq!(key([files[1], files[0]]), key(files));
    }

    #[test]
    fn a_code_that_several_leads_have_is_said_once_and_the_graver_ones_first() {
        let codes = |all: &[&str]| all.iter().map(|code| (*code).to_owned()).collect();
        let checks = EntryChecks {
            policy: "resting-adult 1".into(),
            headline: "3 FAIL, 2 WARN".into(),
            fails: codes(&["lead-flat", "leads-missing", "lead-flat"]),
            warns: codes(&["mains-hum", "lead-flat"]),
        };
        assert_eq!(checks.codes(), ["lead-flat", "leads-missing", "mains-hum"]);
    }
}
