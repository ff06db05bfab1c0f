//! Manifests: a digest and a path on each line (RFC 8493, 2.1.3 and 2.2.1).

use std::collections::BTreeMap;

use super::declaration::Version;
use super::digest::{Algorithm, from_hex, to_hex};
use super::path;
use super::text::lines;
use crate::{Fault, FaultKind};

const PAYLOAD_PREFIX: &str = "manifest-";
const TAG_PREFIX: &str = "tagmanifest-";
const SUFFIX: &str = ".txt";

/// A manifest of the payload or of tag files.
pub(crate) struct Manifest {
    /// Its file name.
    pub(crate) name: String,
    /// Whether it lists tag files.
    pub(crate) is_for_tags: bool,
    pub(crate) algorithm: Algorithm,
    /// The digest of each path.
    pub(crate) digests: BTreeMap<String, Vec<u8>>,
}

/// The file name of a manifest.
pub(crate) fn name(is_for_tags: bool, algorithm: Algorithm) -> String {
    let prefix = if is_for_tags { TAG_PREFIX } else { PAYLOAD_PREFIX };
    format!("{prefix}{}{SUFFIX}", algorithm.name())
}

/// Whether this is the name of a payload or tag manifest, whatever the algorithm.
pub(crate) fn is_manifest_name(name: &str) -> bool {
    algorithm_of(name).is_some()
}

/// Whether it is a tag manifest, and what stands for the algorithm in a manifest's file name.
fn algorithm_of(name: &str) -> Option<(bool, &str)> {
    let stem = name.strip_suffix(SUFFIX)?;
    match stem.strip_prefix(TAG_PREFIX) {
        Some(algorithm) => Some((true, algorithm)),
        None => stem.strip_prefix(PAYLOAD_PREFIX).map(|algorithm| (false, algorithm)),
    }
}

/// The digests and paths of a manifest; `None` where its algorithm is not known.
pub(crate) fn read(name: &str, text: &str, version: Version, faults: &mut Vec<Fault>) -> Option<Manifest> {
    let (is_for_tags, algorithm) = algorithm_of(name)?;
    let clause = if is_for_tags { "RFC 8493, 2.2.1" } else { "RFC 8493, 2.1.3" };
    let Some(algorithm) = Algorithm::named(algorithm) else {
        let what = format!("digests of the algorithm {algorithm:?} are not known");
        faults.push(Fault::of(name, FaultKind::Unchecked, what, "RFC 8493, 2.4"));
        return None;
    };
    let mut digests = BTreeMap::new();
    for (number, line) in (1..).zip(lines(text)) {
        let mut fault =
            |kind, what: String| faults.push(Fault::of(name, kind, format!("line {number}: {what}"), clause));
        if line.trim().is_empty() {
            fault(version.forbidden_since_1_0(), "blank".to_owned());
            continue;
        }
        let (digest, rest) = line.split_once([' ', '\t']).unwrap_or((line, ""));
        let Some(digest) = from_hex(digest).filter(|digest| digest.len() == algorithm.bytes()) else {
            fault(FaultKind::Malformed, format!("does not begin with a {} digest", algorithm.name()));
            continue;
        };
        let mut rest = rest.trim_start_matches([' ', '\t']);
        if let Some(starred) = rest.strip_prefix('*') {
            fault(FaultKind::Hazard, "an asterisk before the path, as md5sum writes it".to_owned());
            rest = starred;
        }
        let Some(listed) = path::listed(rest, !is_for_tags) else {
            let part = if is_for_tags { "the tag files" } else { "data/" };
            fault(FaultKind::Malformed, format!("the path leaves {part}: {rest:?}"));
            continue;
        };
        if listed.had_dot {
            fault(FaultKind::Hazard, "a path that begins with ./".to_owned());
        }
        if let Some(what) = path::hazard(&listed.path) {
            fault(FaultKind::Hazard, format!("{what}: {:?}", listed.path));
        }
        match digests.get(&listed.path) {
            None => {
                digests.insert(listed.path, digest);
            }
            Some(other) if *other == digest => {
                fault(version.forbidden_since_1_0(), format!("{:?} is listed twice", listed.path));
            }
            Some(_) => {
                let what = format!("{:?} is listed twice with different digests", listed.path);
                fault(FaultKind::Malformed, what);
            }
        }
    }
    Some(Manifest { name: name.to_owned(), is_for_tags, algorithm, digests })
}

/// A manifest of a bundle: two spaces between digest and path, so that `sha512sum -c` takes it.
pub(crate) fn write<'a>(lines: impl Iterator<Item = (&'a str, &'a [u8])>) -> Vec<u8> {
    let mut text = String::new();
    for (path, digest) in lines {
        text.push_str(&to_hex(digest));
        text.push_str("  ");
        text.push_str(path);
        text.push('\n');
    }
    text.into_bytes()
}
