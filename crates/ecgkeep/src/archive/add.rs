//! Filing: read, check and seal on all cores, one committer, many recordings a commit.

use std::collections::{BTreeMap, BTreeSet};

use ecgkeep_archive::catalogue::Catalogue;
use ecgkeep_archive::layout::Shelved;
use ecgkeep_archive::{
    About, Act, Archive, Code, Digest, Entry, Event, Fate as CoreFate, Key, Signer, State,
};
use ecgkeep_checks::Policy;
use ecgkeep_format::{Error, Kind, Limits, Result};
use ecgkeep_recording::Filing;
use rayon::prelude::*;

use super::acting::{Acting, code};
use super::look::{catch_up, filing_line};
use crate::input::{Input, Unread};
use crate::quarantine::{kind_word, quarantine, quarantined_filing, quarantined_input};
use crate::seal::{Sealing, seal, stored_filing};
use crate::verify::altered;

/// Recordings that are sealed at a time and committed together.
const BATCH: usize = 64;

/// How recordings are filed.
pub struct Adding<'a> {
    /// Who, when, with which program.
    pub acting: &'a Acting,
    /// The archive's key, if it has one.
    pub signer: Option<&'a Signer>,
    /// The policy that the checks follow.
    pub policy: &'a Policy,
    /// The format to read with; else the one that recognises the input.
    pub from: Option<&'a str>,
}

/// An input, and what was supplied beside it.
pub type WithFiling = (Input, Option<Filing>);

/// What became of one input.
#[derive(Debug)]
pub struct Added {
    /// What became of it.
    pub fate: Fate,
    /// Its key; `None` where its bytes could not be fetched.
    pub key: Option<Key>,
    /// What is filed of it, where it was read.
    pub entry: Option<Box<Entry>>,
    /// Why it could not be read, or not be filed. Its text may repeat what the source says, patient and file name
    /// included.
    pub error: Option<Error>,
    /// What a person should look at.
    pub warnings: Vec<Warning>,
}

/// What became of one input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It is filed.
    Filed,
    /// The same source was filed before; nothing was stored.
    AlreadyThere,
    /// It could not be read; its bytes are kept.
    Quarantined,
    /// It could not be read, now as before; its bytes are kept since then.
    StillQuarantined,
    /// It was destroyed under a rule and is not filed again.
    Destroyed,
    /// Nothing of it is kept.
    Failed,
}

/// What a person should look at before relying on a recording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Warning {
    /// The same samples stand under another patient.
    SameSamplesOtherPatient(Vec<String>),
    /// The same samples stand there already, of the same patient, from other files.
    SameSamples(Vec<String>),
    /// One of its identifiers stands with another name, birth date or sex.
    SameIdentifierOtherPerson(Vec<String>),
    /// It was filed before with something else supplied beside it; what is supplied now is not stored.
    FilingNotStored,
    /// The source is damaged; what could be read of it is filed.
    Damaged,
}

impl Added {
    /// Whether it is in the archive and readable.
    #[must_use]
    pub fn is_filed(&self) -> bool {
        matches!(self.fate, Fate::Filed | Fate::AlreadyThere)
    }

    fn of(fate: Fate) -> Added {
        Added { fate, key: None, entry: None, error: None, warnings: Vec::new() }
    }

    fn failed(error: Error) -> Added {
        Added { error: Some(error), ..Added::of(Fate::Failed) }
    }
}

/// One input, as far as it comes without the committer.
enum Made {
    Ready { key: Key, entry: Box<Entry>, bytes: Vec<u8> },
    There { key: Key, other_filing: bool },
    Unread { key: Key, bytes: Vec<u8>, why: Code, error: Error },
    Ended(Added),
}

/// Files inputs: `open` gives each with what was supplied beside it; `tell` is told what became of each, in their
/// order, once it is lasting. Findings never prevent filing; what cannot be read is quarantined.
/// # Errors
/// Those of committing, which concern the archive as a whole: what was told by then is filed. Errors of single inputs
/// are told.
pub fn add<T: Sync>(
    archive: &mut Archive,
    catalogue: &mut Catalogue,
    inputs: &[T],
    open: &(impl Fn(&T) -> Result<WithFiling> + Sync),
    adding: &Adding<'_>,
    tell: &mut dyn FnMut(usize, Added),
) -> Result<()> {
    for (number, some) in inputs.chunks(BATCH).enumerate() {
        let made: Vec<Made> = some.par_iter().map(|input| make(archive, open(input), adding)).collect();
        let added = commit(archive, catalogue, made, adding)?;
        read_after_all(archive, &added, adding)?;
        for (index, added) in added.into_iter().enumerate() {
            tell(number * BATCH + index, added);
        }
    }
    Ok(())
}

/// Tries to read again what is in quarantine and was not read since; `tell` is told the key in quarantine and what
/// became of it.
/// # Errors
/// As [`add`].
pub fn retry_quarantined(
    archive: &mut Archive,
    catalogue: &mut Catalogue,
    adding: &Adding<'_>,
    tell: &mut dyn FnMut(Key, Added),
) -> Result<()> {
    let keys = waiting(archive)?;
    for some in keys.chunks(BATCH) {
        let open = |key: &Key| -> Result<WithFiling> {
            let bundle = archive.quarantined(*key)?.ok_or_else(|| {
                Error::new(Kind::Io, "the quarantined source is missing").remedy("run archive verify")
            })?;
            Ok((quarantined_input(&bundle)?, quarantined_filing(&bundle)?))
        };
        let made: Vec<Made> = some.par_iter().map(|key| make(archive, open(key), adding)).collect();
        let added = commit(archive, catalogue, made, adding)?;
        let read = some.iter().zip(&added).filter(|(_, added)| added.is_filed());
        let read: Vec<(Key, Key)> = read.filter_map(|(key, added)| Some((*key, added.key?))).collect();
        say_read(archive, &read, adding)?;
        for (key, added) in some.iter().zip(added) {
            tell(*key, added);
        }
    }
    catch_up(archive, catalogue, &BTreeMap::new())
}

/// Keys in quarantine that no line says were read, in the order they came.
fn waiting(archive: &Archive) -> Result<Vec<Key>> {
    let (mut came, mut read) = (Vec::new(), BTreeSet::new());
    for line in archive.lines(0) {
        let line = line?;
        let Some(key) = line.about.key else { continue };
        match line.event {
            Event::Quarantined => came.push(key),
            Event::Read => drop(read.insert(key)),
            _ => {}
        }
    }
    came.retain(|key| !read.contains(key));
    Ok(came)
}

/// Reads, checks and seals one input.
fn make(archive: &Archive, opened: Result<WithFiling>, adding: &Adding<'_>) -> Made {
    let made = opened.and_then(|(input, filing)| make_of(archive, &input, filing, adding));
    made.unwrap_or_else(|error| Made::Ended(Added::failed(error)))
}

fn make_of(archive: &Archive, input: &Input, filing: Option<Filing>, adding: &Adding<'_>) -> Result<Made> {
    let Adding { acting, policy, from, .. } = adding;
    let opened = match input.read_or_keep(*from, &Limits::default()) {
        Err(unread) => return keep(archive, unread, filing.as_ref(), acting),
        Ok(opened) => opened,
    };
    if let Err(error) = opened.recording() {
        let unread = Unread { error, main: opened.main, files: opened.files };
        return keep(archive, unread, filing.as_ref(), acting);
    }
    let key: Key = opened.key().parse()?;
    match archive.state(key)? {
        State::Filed(_) => {
            let other_filing = filing.is_some() && first_filing(archive, key)? != filing;
            return Ok(Made::There { key, other_filing });
        }
        State::Destroyed => return Ok(Made::Ended(destroyed(key))),
        _ => {}
    }
    let sealing = Sealing { filing: filing.as_ref(), policy, at: acting.at, program: &acting.program };
    let sealed = seal(&opened, &sealing)?;
    Ok(Made::Ready { key, entry: Box::new(sealed.entry), bytes: sealed.bytes })
}

fn first_filing(archive: &Archive, key: Key) -> Result<Option<Filing>> {
    archive.bundle(key, 1)?.as_ref().map_or(Ok(None), stored_filing)
}

fn keep(archive: &Archive, unread: Unread, filing: Option<&Filing>, acting: &Acting) -> Result<Made> {
    // Quarantining hands the error back where there is nothing to keep.
    let error = Error::new(unread.error.kind(), unread.error.to_string());
    let (quarantine, bytes) = quarantine(unread, filing, acting.at, &acting.program)?;
    let key = quarantine.key.parse()?;
    if archive.state(key)? == State::Destroyed {
        return Ok(Made::Ended(destroyed(key)));
    }
    let why = code("why", kind_word(error.kind()))?;
    Ok(Made::Unread { key, bytes, why, error })
}

fn destroyed(key: Key) -> Added {
    let error = Error::new(Kind::Refused, "destroyed under a rule, and not filed again")
        .remedy("its certificate stands under certificates/ in the archive");
    Added { key: Some(key), error: Some(error), ..Added::of(Fate::Destroyed) }
}

/// Commits what was made, each key once, and says what became of each.
fn commit(
    archive: &mut Archive,
    catalogue: &mut Catalogue,
    made: Vec<Made>,
    adding: &Adding<'_>,
) -> Result<Vec<Added>> {
    let mut files: Vec<Vec<u8>> = Vec::new();
    let mut wanted: Vec<(usize, Key, Option<Code>)> = Vec::new();
    let mut in_batch = BTreeSet::new();
    let mut known = BTreeMap::new();
    let mut all: Vec<Added> = Vec::with_capacity(made.len());
    for (index, made) in made.into_iter().enumerate() {
        all.push(match made {
            Made::Ended(added) => added,
            Made::There { key, other_filing } => match stands(archive, catalogue, key) {
                Err(error) => Added { key: Some(key), ..Added::failed(error) },
                Ok(()) => {
                    let warnings = if other_filing { vec![Warning::FilingNotStored] } else { Vec::new() };
                    Added { key: Some(key), warnings, ..Added::of(Fate::AlreadyThere) }
                }
            },
            Made::Ready { key, .. } if !in_batch.insert(key) => {
                Added { key: Some(key), ..Added::of(Fate::AlreadyThere) }
            }
            Made::Ready { key, entry, bytes } => match stands(archive, catalogue, key) {
                Err(error) => Added { key: Some(key), ..Added::failed(error) },
                Ok(()) => {
                    files.push(bytes);
                    wanted.push((index, key, None));
                    known.insert((key, 1), (*entry).clone());
                    let warnings = if entry.damaged { vec![Warning::Damaged] } else { Vec::new() };
                    Added { key: Some(key), entry: Some(entry), warnings, ..Added::of(Fate::Filed) }
                }
            },
            Made::Unread { key, error, .. } if !in_batch.insert(key) => {
                Added { key: Some(key), error: Some(error), ..Added::of(Fate::StillQuarantined) }
            }
            Made::Unread { key, bytes, why, error } => match waits(archive, catalogue, key) {
                Err(error) => Added { key: Some(key), ..Added::failed(error) },
                Ok(()) => {
                    files.push(bytes);
                    wanted.push((index, key, Some(why)));
                    Added { key: Some(key), error: Some(error), ..Added::of(Fate::Quarantined) }
                }
            },
        });
    }
    let (mut batch, mut of_act) = (Vec::new(), Vec::new());
    for ((index, key, why), prepared) in wanted.into_iter().zip(archive.prepare_all(&files)) {
        match (prepared, why) {
            (Ok(prepared), None) => batch.push(Act::Bundle { key, revision: 1, prepared, corrects: None }),
            (Ok(prepared), Some(why)) => batch.push(Act::Quarantine { key, prepared, why }),
            (Err(error), _) => {
                all[index] = Added::failed(error);
                continue;
            }
        }
        of_act.push(index);
    }
    if !batch.is_empty() {
        let done = adding.acting.commit(archive, batch, adding.signer)?;
        for (index, done) in of_act.into_iter().zip(done) {
            let added = &mut all[index];
            match done.fate {
                CoreFate::New => {}
                CoreFate::Destroyed => {
                    *added = added.key.map_or_else(|| Added::of(Fate::Destroyed), destroyed)
                }
                // Another process was faster.
                _ if added.fate == Fate::Quarantined => added.fate = Fate::StillQuarantined,
                _ => added.fate = Fate::AlreadyThere,
            }
        }
    }
    catch_up(archive, catalogue, &known)?;
    for added in &mut all {
        look_at(archive, catalogue, added)?;
    }
    Ok(all)
}

/// Refuses a source that was filed before where the bundle is not there, or not as it was filed: a second line about it
/// could never be verified, and whoever hears "already there" may throw the last good copy away.
fn stands(archive: &Archive, catalogue: &Catalogue, key: Key) -> Result<()> {
    let lost = |what: &str| lost("filed", what);
    // Nothing is known of what another process files at this moment. What the catalogue says is held against the journal.
    let Some(newest) = catalogue.newest(key)? else { return Ok(()) };
    let filed_as = || filing_line(archive, catalogue, key, newest).ok().and_then(|line| line.about.sha256);
    let Some(bytes) = archive.bytes(Shelved::Bundle(key, newest))? else {
        let is_lost = archive.state(key)? != State::Destroyed && filed_as().is_some();
        return if is_lost { Err(lost("missing")) } else { Ok(()) };
    };
    let digest = Digest::of(&bytes);
    let is_as_told = catalogue.digest(key, newest)? == Some(digest.to_string());
    if is_as_told || filed_as().is_none_or(|filed| filed == digest) { Ok(()) } else { Err(lost("damaged")) }
}

/// The same for a source that went into quarantine before and can still not be read.
fn waits(archive: &Archive, catalogue: &Catalogue, key: Key) -> Result<()> {
    let lost = |what: &str| lost("kept in quarantine", what);
    match archive.quarantined(key) {
        Ok(Some(bundle)) if altered(&format!("{key}.q1"), &bundle.verify()).is_none() => Ok(()),
        Ok(Some(_)) => Err(lost("damaged")),
        Ok(None) if !catalogue.is_quarantined(key)? || archive.filing_line(key, None)?.is_none() => Ok(()),
        Ok(None) => Err(lost("missing")),
        Err(error) if error.kind() == Kind::Io => Err(error),
        Err(_) => Err(lost("damaged")),
    }
}

fn lost(before: &str, what: &str) -> Error {
    let what = format!("{before} before, and its bundle is {what}: nothing of this source was stored");
    Error::new(Kind::Altered, what)
        .remedy("keep the source; run archive verify, then archive repair with a copy of the archive")
}

/// Holds what was filed against what stands there, and takes the entry that is there already.
fn look_at(archive: &Archive, catalogue: &Catalogue, added: &mut Added) -> Result<()> {
    let Some(key) = added.key else { return Ok(()) };
    if added.fate == Fate::AlreadyThere {
        let newest = archive.revisions(key)?.last().copied().unwrap_or(1);
        let bundle = archive.bundle(key, newest)?;
        added.entry = bundle.and_then(|bundle| crate::seal::stored(&bundle, crate::seal::ENTRY).ok());
    }
    if added.fate == Fate::Filed {
        let found = catalogue.other_identity(&key.to_string())?;
        let warning =
            |keys: Vec<String>, of: fn(Vec<String>) -> Warning| (!keys.is_empty()).then(|| of(keys));
        added.warnings.extend(warning(found.same_samples, Warning::SameSamplesOtherPatient));
        added.warnings.extend(warning(found.same_recording, Warning::SameSamples));
        added.warnings.extend(warning(found.same_identifier, Warning::SameIdentifierOtherPerson));
    }
    Ok(())
}

/// What was filed now and stands in quarantine under the same key was read after all.
fn read_after_all(archive: &mut Archive, added: &[Added], adding: &Adding<'_>) -> Result<()> {
    let mut read = Vec::new();
    for key in added.iter().filter(|added| added.fate == Fate::Filed).filter_map(|added| added.key) {
        if archive.quarantined(key).is_ok_and(|bundle| bundle.is_some()) {
            read.push((key, key));
        }
    }
    say_read(archive, &read, adding)
}

/// Writes for each quarantined key that it is filed now, under which key.
fn say_read(archive: &mut Archive, read: &[(Key, Key)], adding: &Adding<'_>) -> Result<()> {
    let mut batch = Vec::new();
    for (quarantined, filed) in read {
        let Some(line) = archive.filing_line(*filed, Some(1))? else { continue };
        let about = About { key: Some(*quarantined), of: Some(line.index), ..About::default() };
        batch.push(Act::Line(Event::Read, about));
    }
    if !batch.is_empty() {
        adding.acting.commit(archive, batch, adding.signer)?;
    }
    Ok(())
}
