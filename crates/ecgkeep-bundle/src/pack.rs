//! Writing a bundle.

use sha2::{Digest as _, Sha512};

use ecgkeep_format::{Error, Kind, Result};

use crate::bag::{self, PAYLOAD};
use crate::constants::MAX_MEMBERS;
use crate::names;
use crate::narrow::Writer;
use crate::profile::{self, METADATA, PROFILE_IDENTIFIER, PROFILE_LABEL};

/// One file of a bundle.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Member {
    /// Its path inside the bag: `data/original/1.hea`, `metadata/entry.json`.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// One ZIP holding one BagIt 1.0 bag under the top directory `stem`.
///
/// `info` are the lines of `bag-info.txt` in order, External-Identifier and Bagging-Date (YYYY-MM-DD) among them;
/// Payload-Oxum and BagIt-Profile-Identifier are added at its end. Members lie in `data/` or `metadata/`, at least
/// one in `data/`; their order does not matter: the bundle holds `bagit.txt`, `bag-info.txt`, the payload manifest,
/// the tag manifest, then `metadata/` and `data/`, each sorted. The same arguments give the same bytes: no clock
/// is read, every member is dated 1980-01-01.
/// # Errors
/// [`Kind::Usage`] for a stem, a name or a line that a bundle may not have, [`Kind::Limit`] for more than 256
/// members, 256 MiB in one or 512 MiB in all.
pub fn pack(stem: &str, info: &[(String, String)], members: Vec<Member>) -> Result<Vec<u8>> {
    check_info(info)?;
    let mut members = members;
    members.sort_by(|a, b| a.name.cmp(&b.name));
    let (payload, metadata): (Vec<Member>, Vec<Member>) =
        members.into_iter().partition(|member| member.name.starts_with(PAYLOAD));
    if let Some(member) = metadata.iter().find(|member| !member.name.starts_with(METADATA)) {
        return Err(usage(format!("{:?} lies neither in {PAYLOAD} nor in {METADATA}", member.name)));
    }
    if payload.is_empty() {
        return Err(usage(format!("nothing lies in {PAYLOAD}")));
    }

    let manifest = manifest(&payload);
    let octets: usize = payload.iter().map(|member| member.bytes.len()).sum();
    let mut info = info.to_vec();
    info.push((bag::OXUM.to_owned(), format!("{octets}.{}", payload.len())));
    info.push((PROFILE_LABEL.to_owned(), PROFILE_IDENTIFIER.to_owned()));
    let mut tags = vec![
        Member { name: bag::INFO.to_owned(), bytes: bag::write_info(&info) },
        Member { name: bag::DECLARATION.to_owned(), bytes: bag::write_declaration() },
        Member { name: bag::manifest_name(false, profile::ALGORITHM), bytes: manifest },
    ];
    let tag_manifest = self::manifest(tags.iter().chain(&metadata));
    tags.swap(0, 1); // the declaration comes first
    tags.push(Member { name: bag::manifest_name(true, profile::ALGORITHM), bytes: tag_manifest });

    write_zip(stem, tags.into_iter().chain(metadata).chain(payload).collect())
}

/// Digests and paths of these members, in their order.
fn manifest<'a>(members: impl IntoIterator<Item = &'a Member>) -> Vec<u8> {
    let lines: Vec<(&str, _)> =
        members.into_iter().map(|member| (member.name.as_str(), Sha512::digest(&member.bytes))).collect();
    bag::write_manifest(lines.iter().map(|(name, digest)| (*name, digest.as_slice())))
}

/// The members in this order, each under the stem.
fn write_zip(stem: &str, members: Vec<Member>) -> Result<Vec<u8>> {
    if members.len() > MAX_MEMBERS {
        return Err(Error::new(
            Kind::Limit,
            format!("{} members, the limit is {MAX_MEMBERS}", members.len()),
        ));
    }
    let paths: Vec<String> = members.iter().map(|member| format!("{stem}/{}", member.name)).collect();
    if !names::is_component(stem.as_bytes()) {
        return Err(usage(format!("not a stem that a bundle may have: {stem:?}")));
    }
    names::check_tree(paths.iter().map(|path| path.as_bytes())).map_err(|error| usage(error.to_string()))?;
    let mut zip = Writer::default();
    for (path, member) in paths.iter().zip(members) {
        zip.add(path, &member.bytes)?;
    }
    Ok(zip.finish())
}

/// Labels and values that read back as they are, and those that the profile asks for.
fn check_info(info: &[(String, String)]) -> Result<()> {
    for (label, value) in info {
        let is_plain =
            |text: &str| !text.is_empty() && text.trim() == text && !text.contains(char::is_control);
        if !is_plain(label) || label.contains(':') || !is_plain(value) {
            return Err(usage(format!(
                "not a line of {}: {label:?}: {value:?}; a label has no colon, neither has line breaks, edges of white space, or nothing",
                bag::INFO
            )));
        }
    }
    let count = |label: &str| info.iter().filter(|(own, _)| own.eq_ignore_ascii_case(label)).count();
    for label in profile::REQUIRED {
        let expected = usize::from(!profile::ADDED.contains(label));
        if count(label) != expected {
            let text = format!("{label} must be given {expected} times, is {}", count(label));
            return Err(usage(text));
        }
    }
    match bag::values(info, bag::BAGGING_DATE).find(|date| !bag::is_date(date)) {
        Some(date) => Err(usage(format!("{} is not YYYY-MM-DD: {date:?}", bag::BAGGING_DATE))),
        None => Ok(()),
    }
}

fn usage(what: String) -> Error {
    Error::new(Kind::Usage, what)
}
