//! A source that could not be read, kept byte for byte in a bundle of its own.

use ecgkeep_archive::{EntryFile, key, sha256};
use ecgkeep_bundle::{Bundle, BundleSource, Member, pack, safe_names};
use ecgkeep_format::{Kind, Result};
use ecgkeep_recording::{CivilTime, Filing};
use serde::{Deserialize, Serialize};

use crate::input::{Input, Unread};
use crate::seal::{FILING, ORIGINAL, json, stored, stored_filing};

const QUARANTINE: &str = "metadata/quarantine.json";
const README: &str = "metadata/README.txt";

/// metadata/quarantine.json (schemas/quarantine.schema.json): what could not be read, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Quarantine {
    /// `ecgkeep-quarantine/1`.
    pub schema: String,
    /// The key of its files.
    pub key: String,
    /// The program and version that could not read it.
    pub program: String,
    /// When.
    pub at: CivilTime,
    /// The name of the main file.
    pub main: String,
    /// The files: the main file, those that were looked at, and those beside it with its stem.
    pub files: Vec<EntryFile>,
    /// Whose fault: `malformed`, `truncated`, `unrecognised`, `unsupported`, ...
    pub why: String,
    /// The error, word for word; it may repeat what the file says.
    pub text: String,
}

/// The word for a kind of error.
#[must_use]
pub fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Malformed => "malformed",
        Kind::Truncated => "truncated",
        Kind::Unrecognised => "unrecognised",
        Kind::Unsupported => "unsupported",
        Kind::Refused => "refused",
        Kind::Altered => "altered",
        Kind::Io => "io",
        Kind::Limit => "limit",
        Kind::Usage => "usage",
        _ => "internal",
    }
}

/// A bundle of what could not be read, and of what was supplied beside it; its stem is `KEY.q1`. The same files, filing,
/// program and time give the same bytes.
/// # Errors
/// The error itself where no file could be fetched: then there is nothing to keep. Those of packing.
pub fn quarantine(
    unread: Unread,
    filing: Option<&Filing>,
    at: CivilTime,
    program: &str,
) -> Result<(Quarantine, Vec<u8>)> {
    let Unread { error, main, files } = unread;
    if files.is_empty() || error.kind() == Kind::Io {
        return Err(error);
    }
    let names: Vec<String> = files.iter().map(|file| file.name.clone()).collect();
    let stored_as = safe_names(&names);
    let quarantine = Quarantine {
        schema: "ecgkeep-quarantine/1".to_owned(),
        key: key(files.iter().map(|file| (file.name.as_str(), &*file.bytes))),
        program: program.to_owned(),
        at,
        main,
        files: files
            .iter()
            .zip(&stored_as)
            .map(|(file, (_, stored_as))| EntryFile {
                name: file.name.clone(),
                stored_as: stored_as.clone(),
                bytes: file.bytes.len() as u64,
                sha256: sha256(&file.bytes),
            })
            .collect(),
        why: kind_word(error.kind()).to_owned(),
        text: error.to_string(),
    };
    let mut members: Vec<Member> = files
        .iter()
        .zip(&quarantine.files)
        .map(|(file, described)| Member {
            name: format!("{ORIGINAL}/{}", described.stored_as),
            bytes: file.bytes.to_vec(),
        })
        .collect();
    members.push(Member { name: QUARANTINE.to_owned(), bytes: json(&quarantine)? });
    if let Some(filing) = filing {
        members.push(Member { name: FILING.to_owned(), bytes: json(filing)? });
    }
    members.push(Member { name: README.to_owned(), bytes: README_TEXT.as_bytes().to_vec() });
    let mut info = vec![
        ("Source-Organization".to_owned(), "not stated".to_owned()),
        ("External-Identifier".to_owned(), quarantine.key.clone()),
    ];
    info.extend(at.date.map(|date| ("Bagging-Date".to_owned(), date.to_string())));
    info.push(("Bag-Software-Agent".to_owned(), program.to_owned()));
    let bytes = pack(&format!("{}.q1", quarantine.key), &info, members)?;
    Ok((quarantine, bytes))
}

/// What a quarantine bundle says of itself.
/// # Errors
/// [`Kind::Io`], [`Kind::Altered`] or [`Kind::Malformed`] where it is none.
pub fn quarantine_of(bundle: &Bundle) -> Result<Quarantine> {
    stored(bundle, QUARANTINE)
}

/// Whether a bundle is one of a source that could not be read.
#[cfg(feature = "archive")]
pub(crate) fn is_quarantine(bundle: &Bundle) -> bool {
    bundle.members().any(|member| member == QUARANTINE)
}

/// The files of a quarantine bundle, under the names they came with.
pub(crate) fn quarantined_source(bundle: &Bundle) -> Result<BundleSource<'_>> {
    let quarantine = quarantine_of(bundle)?;
    let names: Vec<(String, String)> =
        quarantine.files.into_iter().map(|file| (file.name, file.stored_as)).collect();
    bundle.source(ORIGINAL, &names, &quarantine.main)
}

/// What was supplied beside a source in quarantine.
/// # Errors
/// As [`quarantine_of`].
pub fn quarantined_filing(bundle: &Bundle) -> Result<Option<Filing>> {
    stored_filing(bundle)
}

/// The source in a quarantine bundle, to be read again.
/// # Errors
/// Those of [`quarantine_of`].
pub fn quarantined_input(bundle: &Bundle) -> Result<Input> {
    use ecgkeep_format::{File, Limits, Memory, Source as _};
    let source = quarantined_source(bundle)?;
    let mut files = Vec::new();
    for name in source.names()? {
        let bytes = source.bytes(&name, Limits::default().file_bytes)?.to_vec();
        files.push(File { name, bytes });
    }
    Ok(Input::of_memory(Memory::new(source.main(), files)))
}

const README_TEXT: &str = "\
This folder holds files that ecgkeep could not read as an ECG recording. They are kept byte for byte so that nothing
is lost; a later version, or another program, may read them.

What is in it
data/original/            the files as they were received
metadata/quarantine.json  their names, and why they could not be read
metadata/filing.json      what a person supplied beside them, if anything

How to check it by hand (any computer with unzip and sha512sum): unzip, go into the folder, then
  sha512sum -c manifest-sha512.txt        every file under data/ must say OK
  sha512sum -c tagmanifest-sha512.txt     every other file must say OK

An ECG in here has not been checked and reached no chart through ecgkeep: see to it that a person looks at it.

The folder follows BagIt 1.0 (RFC 8493).
";

#[cfg(test)]
mod tests {
    use ecgkeep_format::Error;

    use super::*;
    use crate::input::Original;

    fn unread(kind: Kind) -> Unread {
        let file = |name: &str, bytes: &[u8]| Original { name: name.into(), bytes: bytes.into() };
        Unread {
            error: Error::new(kind, "the header ends too early"),
            main: "Tallowfield, Maren.hea".into(),
            files: vec![file("Tallowfield, Maren.hea", b"x 12"), file("Tallowfield, Maren.dat", b"\0\x01")],
        }
    }

    #[test]
    fn what_cannot_be_read_is_kept_and_can_be_tried_again() {
        let at = "2026-03-02T18:00+01:00".parse().unwrap();
        let (quarantine, bytes) = super::quarantine(unread(Kind::Truncated), None, at, "p").unwrap();
        assert_eq!(quarantine.why, "truncated");
        let bundle = Bundle::open("b.zip", bytes.into()).unwrap();
        assert_eq!(bundle.verify(), []);
        assert_eq!(bundle.stem(), format!("{}.q1", quarantine.key));
        assert_eq!(quarantine_of(&bundle).unwrap(), quarantine);
        let again = quarantined_input(&bundle).unwrap();
        let source = again.source().unwrap();
        assert_eq!(source.main(), "Tallowfield, Maren.hea");
        assert_eq!(&*source.bytes("Tallowfield, Maren.dat", 9).unwrap(), b"\0\x01");
    }

    #[test]
    fn what_could_not_be_fetched_is_an_error_and_no_quarantine() {
        let at = "2026-03-02".parse().unwrap();
        assert_eq!(super::quarantine(unread(Kind::Io), None, at, "p").unwrap_err().kind(), Kind::Io);
        let nothing = Unread { files: Vec::new(), ..unread(Kind::Malformed) };
        assert_eq!(super::quarantine(nothing, None, at, "p").unwrap_err().kind(), Kind::Malformed);
    }
}
