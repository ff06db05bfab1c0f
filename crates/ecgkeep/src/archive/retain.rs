//! Keys, schedule, holds, what is due, and destruction under a rule.

use std::collections::{BTreeMap, HashSet};

use ecgkeep_archive::catalogue::Catalogue;
use ecgkeep_archive::schedule::{Due, Schedule};
use ecgkeep_archive::{
    About, Act, Archive, Commit, Digest, Event, Fate, Key, Moment, Note, PublicKey, Repaired, Request,
    Signer, layout,
};
use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::PartialDate;
use jiff::civil::Date;
use serde::Serialize;

use super::acting::{Acting, code};
use super::get::{Got, fetch};
use super::look::newest;

/// Admits a public key. Whether it was not admitted before.
/// # Errors
/// [`Kind::Malformed`] for what is no key; those of committing.
pub fn admit(
    archive: &mut Archive,
    text: &str,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<(PublicKey, bool)> {
    let key = PublicKey::parse(text)?;
    if let Some(there) =
        archive.keys()?.iter().find(|there| there.is_same_key(&key) && there.name() != key.name())
    {
        // Two names for one key would look like two people.
        let what = format!("the same key is admitted under the name {}", there.name());
        return Err(Error::new(Kind::Refused, what));
    }
    let done = acting.commit(archive, vec![Act::Key(key.clone())], signer)?;
    Ok((key, done.first().is_some_and(|done| done.fate == Fate::New)))
}

/// Adopts a schedule. Its digest, and whether it was not adopted before.
/// # Errors
/// Those of [`Schedule::parse`] and of committing.
pub fn adopt(
    archive: &mut Archive,
    name: &str,
    text: &str,
    authorised_by: &str,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<(Schedule, Digest, bool)> {
    let authority = code("--authorised-by", authorised_by)?;
    let schedule = Schedule::parse(name, text)?;
    let bytes = text.as_bytes().to_vec();
    let digest = Digest::of(&bytes);
    let done = acting.commit(archive, vec![Act::Schedule { bytes, authority }], signer)?;
    Ok((schedule, digest, done.first().is_some_and(|done| done.fate == Fate::New)))
}

/// The schedule in force at a moment: the one adopted last of those that hold by then.
/// # Errors
/// [`Kind::Altered`] where its file is not as it was adopted; those of reading the journal.
pub fn in_force(archive: &Archive, at: Moment) -> Result<Option<(Schedule, Digest)>> {
    let mut adopted = Vec::new();
    for line in archive.lines(0) {
        let line = line?;
        if line.event == Event::Schedule {
            adopted.extend(line.about.sha256);
        }
    }
    let today = day(at)?;
    for digest in adopted.into_iter().rev() {
        let path = layout::schedule(digest);
        let place = || Place::file(path.display().to_string());
        let bytes = archive.storage().read(&archive.folder().join(&path)).map_err(|error| {
            Error::new(Kind::Io, "an adopted schedule cannot be read").at(place()).because(error)
        })?;
        if Digest::of(&bytes) != digest {
            return Err(Error::new(Kind::Altered, "not as it was adopted").at(place()));
        }
        let schedule = Schedule::parse(&path.display().to_string(), &String::from_utf8_lossy(&bytes))?;
        if schedule.holds_on(today) {
            return Ok(Some((schedule, digest)));
        }
    }
    Ok(None)
}

/// Places holds under an authority.
/// # Errors
/// [`Kind::Io`] and [`Kind::Refused`] for a recording that is not there or destroyed; those of committing.
pub fn hold(
    archive: &mut Archive,
    keys: &[Key],
    authority: &str,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<()> {
    let authority = code("--authority", authority)?;
    let mut batch = Vec::new();
    for key in keys {
        if archive.quarantined(*key)?.is_none() {
            newest(archive, *key).map_err(|error| error.at(of(*key)))?;
        }
        let about = About { key: Some(*key), authority: Some(authority.clone()), ..About::default() };
        batch.push(Act::Line(Event::Held, about));
    }
    acting.commit(archive, batch, signer).map(drop)
}

/// Ends every hold of an authority on the recordings; how many that were. Holds of others stay.
/// # Errors
/// [`Kind::Refused`] where one of them is not held under it: then nothing is released; those of committing.
pub fn release(
    archive: &mut Archive,
    keys: &[Key],
    authority: &str,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<usize> {
    let authority = code("--authority", authority)?;
    let mut holds: BTreeMap<u64, Key> = BTreeMap::new();
    for line in archive.lines(0) {
        let line = line?;
        match (line.event, line.about.key, line.about.of) {
            (Event::Held, Some(key), _) if line.about.authority.as_ref() == Some(&authority) => {
                holds.insert(line.index, key);
            }
            (Event::Released, _, Some(of)) => {
                holds.remove(&of);
            }
            _ => {}
        }
    }
    if let Some(key) = keys.iter().find(|key| !holds.values().any(|held| held == *key)) {
        return Err(Error::new(Kind::Refused, "is not held under this authority")
            .at(of(*key))
            .remedy("archive list --held shows which authority holds it"));
    }
    let act = |(line, key): (&u64, &Key)| {
        let authority = Some(authority.clone());
        Act::Line(Event::Released, About { key: Some(*key), authority, of: Some(*line), ..About::default() })
    };
    let batch: Vec<Act> = holds.iter().filter(|(_, key)| keys.contains(key)).map(act).collect();
    let count = batch.len();
    acting.commit(archive, batch, signer)?;
    Ok(count)
}

/// A recording and what the schedule says of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overdue {
    /// Its key.
    pub key: Key,
    /// When it may be destroyed.
    pub due: Due,
    /// Whether that is over.
    pub is_due: bool,
    /// Whether it is held.
    pub is_held: bool,
}

/// What a schedule says of every recording in the catalogue. For a list only: [`perform`] asks journal and bundles.
/// # Errors
/// Those of reading journal and catalogue.
pub fn due(
    archive: &Archive,
    catalogue: &Catalogue,
    schedule: &Schedule,
    at: Moment,
) -> Result<Vec<Overdue>> {
    let activity = last_activity(archive)?;
    let rows = catalogue.all()?;
    let keys: HashSet<Key> = rows.iter().filter_map(|row| row.key.parse().ok()).collect();
    let held = archive.held(&keys)?;
    let mut all = Vec::new();
    for row in rows {
        let key: Key = row.key.parse()?;
        let born = row.birth_date.as_deref().and_then(|date| date.parse().ok());
        let recorded = row.start.parse::<ecgkeep_recording::CivilTime>().ok().and_then(|start| start.date);
        let last = activity.get(&key).copied().unwrap_or(at);
        let due = schedule.due(born, recorded, day(last)?);
        all.push(Overdue { key, is_due: is_over(&due, at)?, due, is_held: held.contains_key(&key) });
    }
    Ok(all)
}

/// The last time something was done with each recording.
fn last_activity(archive: &Archive) -> Result<BTreeMap<Key, Moment>> {
    let counts = |event| {
        matches!(
            event,
            Event::Filed
                | Event::Corrected
                | Event::Quarantined
                | Event::Viewed
                | Event::Exported
                | Event::Deidentified
                | Event::Acknowledged
        )
    };
    let mut last = BTreeMap::new();
    for line in archive.lines(0) {
        let line = line?;
        if let Some(key) = line.about.key.filter(|_| counts(line.event)) {
            last.insert(key, line.at);
        }
    }
    Ok(last)
}

fn is_over(due: &Due, at: Moment) -> Result<bool> {
    Ok(match due {
        Due::After { day: last, .. } => *last < day(at)?,
        Due::Never { .. } => false,
    })
}

/// The day of a moment, in UTC.
fn day(at: Moment) -> Result<Date> {
    at.to_string()[..10]
        .parse()
        .map_err(|error: jiff::Error| Error::new(Kind::Internal, "no day").because(error))
}

/// A request to destroy, to be signed: every recording is due under the rule, and none is held.
/// # Errors
/// [`Kind::Refused`] where one is not, or no schedule is in force; those of [`fetch`].
pub fn request(
    archive: &Archive,
    catalogue: &Catalogue,
    keys: &[Key],
    rule: &str,
    at: Moment,
) -> Result<Note> {
    let (_, schedule) = in_force(archive, at)?.ok_or_else(no_schedule)?;
    let request = Request {
        origin: archive.identity().origin.clone(),
        rule: code("--rule", rule)?,
        schedule,
        keys: keys.to_vec(),
    };
    check_due(archive, catalogue, &request, at)?;
    let held = archive.held(&keys.iter().copied().collect())?;
    if let Some(key) = held.keys().next() {
        return Err(Error::new(Kind::Refused, "is held")
            .at(of(*key))
            .remedy("archive list --held shows under which authority; it must be released first"));
    }
    Ok(request.note())
}

/// The recordings that a request names.
/// # Errors
/// [`Kind::Malformed`] for what is no request.
pub fn keys_of_request(note: &Note) -> Result<Vec<Key>> {
    Ok(Request::of(note)?.keys)
}

fn no_schedule() -> Error {
    Error::new(Kind::Refused, "no retention schedule is in force: everything is kept")
        .remedy("adopt one with archive schedule DIR --adopt")
}

/// The recordings of a request, verified, each due under its rule by what journal and bundles say.
fn check_due(archive: &Archive, catalogue: &Catalogue, request: &Request, at: Moment) -> Result<Vec<Got>> {
    let (schedule, digest) = in_force(archive, at)?.ok_or_else(no_schedule)?;
    if digest != request.schedule {
        return Err(Error::new(Kind::Refused, "the request is under a schedule that is not in force")
            .remedy("write a new request"));
    }
    let activity = last_activity(archive)?;
    let mut all = Vec::new();
    for key in &request.keys {
        let got = fetch(archive, catalogue, *key, None).map_err(|error| error.at(of(*key)))?;
        let born: Option<PartialDate> =
            got.entry.patient.birth_date.as_deref().and_then(|date| date.parse().ok());
        let last = activity.get(key).copied().unwrap_or(at);
        let refused = |what: String| Err(Error::new(Kind::Refused, what).at(of(*key)));
        match schedule.due(born, got.entry.start.date, day(last)?) {
            Due::Never { because } => return refused(format!("the schedule keeps it: {because}")),
            Due::After { day: last, .. } if last >= day(at)? => {
                return refused(format!("is not due before the end of {last}"));
            }
            Due::After { rule, .. } if rule != request.rule.as_str() => {
                return refused(format!("is due under rule {rule}, not under {}", request.rule));
            }
            Due::After { .. } => all.push(got),
        }
    }
    Ok(all)
}

/// Replaces damaged and missing bundles by whole ones of a copy of the archive's folder.
/// # Errors
/// Those of [`Archive::repair`].
pub fn repair(
    archive: &mut Archive,
    from: &std::path::Path,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<Repaired> {
    archive.repair(from, &Commit { by: acting.by.clone(), at: acting.moment(), signer })
}

/// One line of register.jsonl: whose recording was destroyed. For its owner's eyes.
#[derive(Serialize)]
struct Registered<'a> {
    schema: &'static str,
    key: String,
    request: String,
    rule: &'a str,
    at: String,
    by: &'a str,
    patient: &'a ecgkeep_archive::Patient,
    recorded: String,
    revisions: u32,
}

/// Destroys what a request names, signed with two different admitted keys, and every rule kept. The register is
/// written first. What was destroyed; nothing where the same request was performed before.
/// # Errors
/// [`Kind::Refused`] where a rule is not kept: then nothing is destroyed; those of committing, after which doing it
/// again finishes it.
pub fn perform(
    archive: &mut Archive,
    catalogue: &Catalogue,
    request: &str,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<Vec<Key>> {
    archive.settle(signer)?;
    let digest = Digest::of(request.as_bytes());
    if was_performed(archive, digest)? {
        return Ok(Vec::new());
    }
    let asked = archive.check_request(request)?;
    let gone = check_due(archive, catalogue, &asked, acting.moment())?;
    register(archive, &gone, &asked, digest, acting)?;
    acting.commit(archive, vec![Act::Destroy { request: request.to_owned() }], signer)?;
    Ok(asked.keys)
}

fn was_performed(archive: &Archive, request: Digest) -> Result<bool> {
    for line in archive.lines(0) {
        let line = line?;
        if line.event == Event::Destroying && line.about.sha256 == Some(request) {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Whose recordings these are, into the register.
fn register(
    archive: &Archive,
    gone: &[Got],
    asked: &Request,
    request: Digest,
    acting: &Acting,
) -> Result<()> {
    let mut lines = String::new();
    for got in gone {
        let line = Registered {
            schema: "ecgkeep-register/1",
            key: got.key.to_string(),
            request: request.to_string(),
            rule: asked.rule.as_str(),
            at: acting.moment().to_string(),
            by: acting.by.as_str(),
            patient: &got.entry.patient,
            recorded: got.entry.start.to_string(),
            revisions: got.revision,
        };
        let text = serde_json::to_string(&line)
            .map_err(|error| Error::new(Kind::Internal, "the register takes no such line").because(error))?;
        lines.push_str(&text);
        lines.push('\n');
    }
    archive.register(lines.as_bytes())
}

/// The recording as the place of an error.
fn of(key: Key) -> Place {
    Place::default().part(format!("recording {key}"))
}
