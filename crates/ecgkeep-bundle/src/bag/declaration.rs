//! `bagit.txt`: two lines, version and encoding (RFC 8493, 2.1.1).

use super::DECLARATION;
use super::text::{BYTE_ORDER_MARK, Encoding, lines};
use crate::{Fault, FaultKind};

const CLAUSE: &str = "RFC 8493, 2.1.1";
const VERSION: &str = "BagIt-Version";
const ENCODING: &str = "Tag-File-Character-Encoding";

/// A version of BagIt: major, minor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Version(pub(crate) u32, pub(crate) u32);

impl Version {
    /// The first draft whose metadata file is `bag-info.txt`.
    pub(crate) const V0_96: Version = Version(0, 96);
    /// RFC 8493.
    pub(crate) const V1_0: Version = Version(1, 0);
    /// The drafts and the RFC that this reader knows.
    const KNOWN: &[Version] =
        &[Version(0, 93), Version(0, 94), Version(0, 95), Version::V0_96, Version(0, 97), Version::V1_0];

    /// Whether the rules that came with 1.0 hold.
    pub(crate) fn is_1_0(self) -> bool {
        self >= Version::V1_0
    }

    /// The kind of what 1.0 forbids and the drafts did not.
    pub(crate) fn forbidden_since_1_0(self) -> FaultKind {
        if self.is_1_0() { FaultKind::Malformed } else { FaultKind::Hazard }
    }
}

/// What `bagit.txt` says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Declaration {
    pub(crate) version: Version,
    /// The encoding of all other tag files; `None` for one that is not read.
    pub(crate) encoding: Option<Encoding>,
}

impl Default for Declaration {
    /// What is assumed of a bag without a readable declaration, so that the rest of it is checked too.
    fn default() -> Declaration {
        Declaration { version: Version::V1_0, encoding: Some(Encoding::Utf8) }
    }
}

/// The declaration, and its faults; what cannot be read is as in [`Declaration::default`].
pub(crate) fn read(bytes: &[u8]) -> (Declaration, Vec<Fault>) {
    let mut faults = Vec::new();
    let mut fault = |kind, what: String| faults.push(Fault::of(DECLARATION, kind, what, CLAUSE));
    let mut declaration = Declaration::default();
    let text = match bytes.strip_prefix(BYTE_ORDER_MARK) {
        Some(rest) => {
            fault(FaultKind::Malformed, "begins with a byte order mark".to_owned());
            rest
        }
        None => bytes,
    };
    let Ok(text) = str::from_utf8(text) else {
        fault(FaultKind::Malformed, "not UTF-8".to_owned());
        return (declaration, faults);
    };
    let lines: Vec<&str> = lines(text).collect();
    if lines.len() != 2 {
        fault(FaultKind::Malformed, format!("{} lines, not 2", lines.len()));
    }
    let version = lines.first().and_then(|line| value(line, VERSION));
    match version.and_then(|version| parse_version(version.trim())) {
        Some(version) if Version::KNOWN.contains(&version) => declaration.version = version,
        Some(Version(major, minor)) => {
            fault(FaultKind::Unchecked, format!("version {major}.{minor} is not known to this reader"));
        }
        None => fault(FaultKind::Malformed, format!("the first line is not \"{VERSION}: M.N\"")),
    }
    match lines.get(1).and_then(|line| value(line, ENCODING)).map(str::trim) {
        Some(name) if !name.is_empty() => {
            declaration.encoding = Encoding::named(name);
            if declaration.encoding.is_none() {
                fault(FaultKind::Unchecked, format!("tag files in {name:?} are not read"));
            }
        }
        _ => fault(FaultKind::Malformed, format!("the second line is not \"{ENCODING}: ENCODING\"")),
    }
    let is_exact = |line: &&str| {
        line.split_once(": ").is_some_and(|(label, value)| label.trim() == label && value.trim() == value)
    };
    if !lines.iter().all(is_exact) {
        let kind = declaration.version.forbidden_since_1_0();
        fault(kind, "other white space than one space after the colon".to_owned());
    }
    (declaration, faults)
}

/// The declaration of a bundle.
pub(crate) fn write() -> Vec<u8> {
    let Version(major, minor) = Version::V1_0;
    format!("{VERSION}: {major}.{minor}\n{ENCODING}: UTF-8\n").into_bytes()
}

fn value<'a>(line: &'a str, label: &str) -> Option<&'a str> {
    let (found, value) = line.split_once(':')?;
    (found.trim() == label).then_some(value)
}

fn parse_version(text: &str) -> Option<Version> {
    let (major, minor) = text.split_once('.')?;
    let number = |digits: &str| {
        let is_number = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
        if is_number { digits.parse().ok() } else { None }
    };
    Some(Version(number(major)?, number(minor)?))
}
