//! Completeness and validity (RFC 8493, section 3): every listed file is there, every file is listed, every digest
//! matches.

use std::collections::{BTreeMap, BTreeSet};

use ecgkeep_format::{Kind, Result};

use super::digest::{Algorithm, to_hex};
use super::info::{OXUM, parse_oxum, values};
use super::{Bag, DECLARATION, FETCH, Files, INFO, Manifest, PAYLOAD, manifest, path};
use crate::{Fault, FaultKind};

const COMPLETE: &str = "RFC 8493, 3";
const PAYLOAD_MANIFEST: &str = "RFC 8493, 2.1.3";
const TAG_MANIFEST: &str = "RFC 8493, 2.2.1";

/// Checks what the tag files promise against the files; `tag_files` holds the bytes that were read already.
pub(super) fn check(files: &dyn Files, tag_files: &BTreeMap<String, Vec<u8>>, bag: &mut Bag) {
    let mut faults = required(files, bag);
    let expected = expected(bag, &mut faults);
    unlisted(bag, &expected, &mut faults);
    tag_manifests(bag, &mut faults);
    fetched(bag, &mut faults);
    confusable(bag, &mut faults);
    let payload = digests(files, tag_files, &bag.names, &expected, &mut faults);
    oxum(bag, payload, &mut faults);
    bag.faults.append(&mut faults);
}

/// The elements without which there is no bag (RFC 8493, 2.1).
fn required(files: &dyn Files, bag: &Bag) -> Vec<Fault> {
    let mut faults = Vec::new();
    if !files.has_payload_directory() {
        faults.push(Fault::of_bag(FaultKind::Missing, "no payload directory data/", "RFC 8493, 2.1.2"));
    }
    if !bag.names.iter().any(|name| name.starts_with("manifest-") && manifest::is_manifest_name(name)) {
        faults.push(Fault::of_bag(FaultKind::Missing, "no payload manifest", PAYLOAD_MANIFEST));
    }
    faults
}

/// One digest that a file must have.
struct Expected<'a> {
    manifest: &'a str,
    algorithm: Algorithm,
    digest: &'a [u8],
}

/// For every file that is there and listed, what its manifests say; a listed file that is not there is a fault.
fn expected<'a>(bag: &'a Bag, faults: &mut Vec<Fault>) -> BTreeMap<&'a str, Vec<Expected<'a>>> {
    let exact: BTreeSet<&str> = bag.names.iter().map(String::as_str).collect();
    let by_form: BTreeMap<String, &str> =
        bag.names.iter().map(|name| (path::normalised(name), name.as_str())).collect();
    let mut expected: BTreeMap<&str, Vec<Expected>> = BTreeMap::new();
    let mut missing = BTreeSet::new();
    for manifest in bag.manifests.iter().chain(&bag.tag_manifests) {
        let mut found = BTreeSet::new();
        for (listed, digest) in &manifest.digests {
            let own = exact.get(listed.as_str()).copied();
            let Some(file) = own.or_else(|| by_form.get(&path::normalised(listed)).copied()) else {
                if missing.insert(listed) {
                    let what = format!("{} lists it", manifest.name);
                    faults.push(Fault::of(listed.as_str(), FaultKind::Missing, what, COMPLETE));
                }
                continue;
            };
            if own.is_none() {
                let what = format!("{} lists it in another Unicode normalisation", manifest.name);
                faults.push(Fault::of(file, FaultKind::Hazard, what, "RFC 8493, 6"));
            }
            if !found.insert(file) {
                let what = format!("{} lists it in two Unicode normalisations", manifest.name);
                faults.push(Fault::of(file, FaultKind::Hazard, what, "RFC 8493, 6"));
            }
            let Manifest { name, algorithm, .. } = manifest;
            expected.entry(file).or_default().push(Expected {
                manifest: name,
                algorithm: *algorithm,
                digest,
            });
        }
    }
    expected
}

/// Every payload file is in every payload manifest, before 1.0 in one; every other tag file should be in every
/// tag manifest.
fn unlisted(bag: &Bag, expected: &BTreeMap<&str, Vec<Expected>>, faults: &mut Vec<Fault>) {
    for name in &bag.names {
        let lists = expected.get(name.as_str()).map_or(&[][..], Vec::as_slice);
        let is_listed_in = |manifest: &Manifest| lists.iter().any(|list| list.manifest == manifest.name);
        if name.starts_with(PAYLOAD) {
            for manifest in bag.manifests.iter().filter(|manifest| !is_listed_in(manifest)) {
                if bag.declaration.version.is_1_0() || lists.is_empty() {
                    let what = format!("{} does not list it", manifest.name);
                    faults.push(Fault::of(name.as_str(), FaultKind::Unlisted, what, COMPLETE));
                }
            }
        } else if !bag.tag_manifests.iter().any(|manifest| manifest.name == *name) {
            for manifest in bag.tag_manifests.iter().filter(|manifest| !is_listed_in(manifest)) {
                let is_payload_manifest = manifest::is_manifest_name(name);
                let kind = match is_payload_manifest {
                    true => bag.declaration.version.forbidden_since_1_0(),
                    false => FaultKind::Hazard,
                };
                let what = format!("{} does not list it", manifest.name);
                faults.push(Fault::of(name.as_str(), kind, what, TAG_MANIFEST));
            }
        }
    }
}

/// A tag manifest lists no tag manifest; the algorithms should be those of the payload manifests.
fn tag_manifests(bag: &Bag, faults: &mut Vec<Fault>) {
    for manifest in &bag.tag_manifests {
        for path in manifest.digests.keys().filter(|path| path.starts_with("tagmanifest-")) {
            let what = format!("lists the tag manifest {path}");
            let kind = bag.declaration.version.forbidden_since_1_0();
            faults.push(Fault::of(manifest.name.as_str(), kind, what, TAG_MANIFEST));
        }
        if !bag.manifests.iter().any(|payload| payload.algorithm == manifest.algorithm) {
            let what = "its algorithm is not that of a payload manifest";
            faults.push(Fault::of(manifest.name.as_str(), FaultKind::Hazard, what, TAG_MANIFEST));
        }
    }
}

/// What is to be fetched is in every payload manifest, and here.
fn fetched(bag: &Bag, faults: &mut Vec<Fault>) {
    for path in bag.fetch.iter().flatten() {
        let mut missing = bag.manifests.iter().filter(|manifest| !manifest.digests.contains_key(path));
        if let Some(manifest) = missing.next() {
            let what = format!("{} does not list {path:?}", manifest.name);
            faults.push(Fault::of(FETCH, FaultKind::Malformed, what, "RFC 8493, 2.2.3"));
        }
    }
}

/// Names that some file systems take for one.
fn confusable(bag: &Bag, faults: &mut Vec<Fault>) {
    let listed = bag.manifests.iter().chain(&bag.tag_manifests).flat_map(|manifest| manifest.digests.keys());
    let all: BTreeSet<&str> = bag.names.iter().chain(listed).map(String::as_str).collect();
    let mut seen: BTreeMap<String, &str> = BTreeMap::new();
    for name in all {
        if let Some(other) = seen.insert(path::folded(name), name) {
            let what = format!("some file systems take it and {other:?} for one file");
            faults.push(Fault::of(name, FaultKind::Hazard, what, "RFC 8493, 6"));
        }
    }
}

/// Octets and number of payload files; `None` where one of them could not be read whole.
type Payload = Option<(u64, u64)>;

/// Reads every file once and compares its digests.
fn digests(
    files: &dyn Files,
    tag_files: &BTreeMap<String, Vec<u8>>,
    names: &[String],
    expected: &BTreeMap<&str, Vec<Expected>>,
    faults: &mut Vec<Fault>,
) -> Payload {
    let mut payload = Some((0_u64, 0_u64));
    for name in names {
        let lists = expected.get(name.as_str()).map_or(&[][..], Vec::as_slice);
        let algorithms: BTreeSet<Algorithm> = lists.iter().map(|list| list.algorithm).collect();
        let mut digests: Vec<_> =
            algorithms.iter().map(|algorithm| (*algorithm, algorithm.start())).collect();
        let mut octets = 0;
        let mut take = |piece: &[u8]| -> Result<()> {
            octets += piece.len() as u64;
            for (_, digest) in &mut digests {
                digest.update(piece);
            }
            Ok(())
        };
        let taken = match tag_files.get(name) {
            Some(bytes) => take(bytes),
            None => files.pour(name, &mut take),
        };
        if let Err(error) = taken {
            let kind = if error.kind() == Kind::Altered { FaultKind::Altered } else { FaultKind::Unchecked };
            faults.push(Fault::of(name.as_str(), kind, cause(&error), COMPLETE));
            payload = payload.filter(|_| !name.starts_with(PAYLOAD));
            continue;
        }
        if name.starts_with(PAYLOAD) {
            payload = payload.map(|(all, count)| (all + octets, count + 1));
        }
        for (algorithm, digest) in digests {
            let found = digest.finalize();
            for list in lists.iter().filter(|list| list.algorithm == algorithm && *list.digest != *found) {
                let what = format!(
                    "its {} is {}, {} says {}",
                    algorithm.name(),
                    short(&found),
                    list.manifest,
                    short(list.digest)
                );
                faults.push(Fault::of(name.as_str(), FaultKind::Altered, what, COMPLETE));
            }
        }
    }
    payload
}

/// What an error says, and its cause.
fn cause(error: &ecgkeep_format::Error) -> String {
    match std::error::Error::source(error) {
        Some(cause) => format!("{}: {cause}", error.what()),
        None => error.what().to_owned(),
    }
}

/// The first eight bytes of a digest: enough to tell two apart by eye.
fn short(digest: &[u8]) -> String {
    format!("{}...", to_hex(&digest[..digest.len().min(8)]))
}

/// Payload-Oxum against the payload (RFC 8493, 2.2.2). It tells an incomplete bag, it is no digest.
fn oxum(bag: &Bag, payload: Payload, faults: &mut Vec<Fault>) {
    let Some((octets, count)) = payload else { return };
    for said in values(&bag.info, OXUM).filter_map(parse_oxum).filter(|said| *said != (octets, count)) {
        let what = format!(
            "{OXUM} in {INFO} says {} bytes in {} files, the payload has {octets} in {count}",
            said.0, said.1
        );
        faults.push(Fault::of_bag(FaultKind::Altered, what, "RFC 8493, 2.2.2"));
    }
    if bag.declaration.version.is_1_0() && count == 0 && bag.names.iter().any(|name| name == DECLARATION) {
        let what = "the payload is empty";
        faults.push(Fault::of_bag(FaultKind::Hazard, what, "RFC 8493, 2.1.2"));
    }
}
