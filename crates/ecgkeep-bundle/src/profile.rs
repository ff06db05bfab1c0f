//! The profile of our bags: what is asked of them beyond BagIt. `schemas/bagit-profile.json` says the same.

use crate::bag::{self, Algorithm, Bag, Encoding, FETCH, INFO, Manifest, PAYLOAD, Version};
use crate::{Fault, FaultKind};

/// What `BagIt-Profile-Identifier` says in every bundle. A name, not an address: nothing is ever fetched from it.
pub const PROFILE_IDENTIFIER: &str = "urn:ecgkeep:bagit-profile:1";

/// The label of [`PROFILE_IDENTIFIER`] (BagIt Profiles 1.4.0).
pub(crate) const PROFILE_LABEL: &str = "BagIt-Profile-Identifier";
/// What the bundle is known by to the one who sealed it.
pub(crate) const EXTERNAL_IDENTIFIER: &str = "External-Identifier";
/// Labels that must be in `bag-info.txt`, once.
pub(crate) const REQUIRED: &[&str] = &[EXTERNAL_IDENTIFIER, bag::BAGGING_DATE, bag::OXUM, PROFILE_LABEL];
/// Labels that the writer adds.
pub(crate) const ADDED: &[&str] = &[bag::OXUM, PROFILE_LABEL];
/// The one algorithm of payload and tag manifests.
pub(crate) const ALGORITHM: Algorithm = Algorithm::Sha512;
/// Where tag files beside those of BagIt lie.
pub(crate) const METADATA: &str = "metadata/";

const CLAUSE: &str = "ecgkeep BagIt profile 1";

/// What in this bag departs from the profile.
pub(crate) fn check(bag: &Bag) -> Vec<Fault> {
    let mut faults = Vec::new();
    if bag.declaration.version != Version::V1_0 || bag.declaration.encoding != Some(Encoding::Utf8) {
        faults.push(Fault::of(bag::DECLARATION, FaultKind::Malformed, "not BagIt 1.0 in UTF-8", CLAUSE));
    }
    manifests(&bag.manifests, false, &mut faults);
    manifests(&bag.tag_manifests, true, &mut faults);
    if bag.fetch.is_some() {
        faults.push(Fault::of(FETCH, FaultKind::Malformed, "a bundle holds all of its files", CLAUSE));
    }
    info(bag, &mut faults);
    let own = [bag::DECLARATION, INFO, FETCH];
    let is_own = |name: &str| own.contains(&name) || name.starts_with(PAYLOAD) || name.starts_with(METADATA);
    let read = |name: &str| bag.manifests.iter().chain(&bag.tag_manifests).any(|one| one.name == name);
    for name in bag.names.iter().filter(|name| !is_own(name) && !read(name)) {
        let what = "a bundle has no such tag file";
        faults.push(Fault::of(name.as_str(), FaultKind::Unlisted, what, CLAUSE));
    }
    faults
}

/// The one manifest of its kind.
fn manifests(found: &[Manifest], is_for_tags: bool, faults: &mut Vec<Fault>) {
    let name = bag::manifest_name(is_for_tags, ALGORITHM);
    if !found.iter().any(|manifest| manifest.name == name) {
        faults.push(Fault::of(name.as_str(), FaultKind::Missing, "every bundle has one", CLAUSE));
    }
    for other in found.iter().filter(|manifest| manifest.name != name) {
        faults.push(Fault::of(other.name.as_str(), FaultKind::Unlisted, format!("beside {name}"), CLAUSE));
    }
}

/// The required labels, once each.
fn info(bag: &Bag, faults: &mut Vec<Fault>) {
    if !bag.names.iter().any(|name| name == INFO) {
        faults.push(Fault::of(INFO, FaultKind::Missing, "every bundle has one", CLAUSE));
        return;
    }
    let mut malformed = |what: String| faults.push(Fault::of(INFO, FaultKind::Malformed, what, CLAUSE));
    for label in REQUIRED {
        match bag::values(&bag.info, label).count() {
            1 => {}
            0 => malformed(format!("{label} is missing")),
            count => malformed(format!("{label} stands there {count} times")),
        }
    }
    let mut profile = bag::values(&bag.info, PROFILE_LABEL);
    if profile.any(|value| value != PROFILE_IDENTIFIER) {
        malformed(format!("{PROFILE_LABEL} is not {PROFILE_IDENTIFIER}"));
    }
}
