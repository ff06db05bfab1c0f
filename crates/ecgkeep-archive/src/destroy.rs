//! Destruction under a rule: asked for in writing by two, carried out to its end, and told ever after.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, Kind, Place, Result};
use serde::Serialize;

use crate::act::{Done, Fate};
use crate::archive::{Archive, State};
use crate::commit::Move;
use crate::fault::{cannot_read, cannot_write, names_in};
use crate::layout::{self, Shelved};
use crate::line::{About, Event, Line};
use crate::note::{Note, Signer};
use crate::plan::Plan;
use crate::prepare::Prepared;
use crate::request::Request;
use crate::word::{Code, Digest, Key};

const TOMBSTONE: &str = "ecgkeep-tombstone/1";
const CERTIFICATE: &str = "ecgkeep-destruction-certificate/1";

/// KEY.destroyed.json beside the place where the bundles were.
#[derive(Serialize)]
struct Tombstone {
    schema: &'static str,
    key: String,
    destroyed_at: String,
    rule: String,
    by: String,
    /// SHA-256 of the signed request.
    request: String,
    /// Index of the `destroying` line.
    line: u64,
    /// SHA-256 of the certificate.
    certificate: String,
}

/// certificates/KEY.destroyed.json.
#[derive(Serialize)]
struct Certificate {
    schema: &'static str,
    origin: String,
    key: String,
    destroyed_at: String,
    rule: String,
    by: String,
    /// What was destroyed.
    files: Vec<DestroyedFile>,
    /// The signed request, word for word.
    request: String,
    /// The `destroying` line, word for word.
    line: String,
    /// Its receipt (C2SP tlog-proof).
    receipt: String,
}

#[derive(Clone, Serialize)]
struct DestroyedFile {
    /// `None`: a source in quarantine.
    revision: Option<u32>,
    sha256: String,
    bytes: u64,
}

/// What the journal says of a request.
#[derive(Default)]
struct Begun {
    destroying: Vec<Line>,
    destroyed: HashSet<u64>,
    files: BTreeMap<Key, Vec<DestroyedFile>>,
}

impl Archive {
    /// Reads a request and asks every rule but the schedule's own: the archive's origin, an adopted schedule, valid
    /// signatures of two different admitted keys, recordings that are there and not held.
    /// # Errors
    /// [`Kind::Malformed`], [`Kind::Altered`], [`Kind::Refused`].
    pub fn check_request(&self, request: &str) -> Result<Request> {
        let note = Note::parse(request)?;
        let asked = Request::of(&note)?;
        let refused = |what: String| Error::new(Kind::Refused, what);
        if asked.origin != self.identity().origin {
            return Err(refused("the request is for another archive".into()));
        }
        if !self.is_there(&layout::schedule(asked.schedule))? {
            return Err(refused("the request names a schedule that was not adopted".into()));
        }
        let keys = self.keys()?;
        let signers = note.signers(&keys)?;
        if !signers.iter().any(|key| !key.is_same_key(signers[0])) {
            let what = format!("{} of two different admitted keys signed the request", signers.len().min(1));
            return Err(refused(what).remedy("have it signed with a second key that the archive admitted"));
        }
        for key in &asked.keys {
            let place = Place::default().part(format!("recording {key}"));
            match self.state(*key)? {
                State::Destroyed => return Err(refused("is destroyed already".into()).at(place)),
                State::Unknown if !self.is_there(&layout::quarantined(*key))? => {
                    return Err(refused("is not in the archive".into()).at(place));
                }
                State::Unknown | State::Filed(_) => {}
            }
        }
        let held = self.held(&asked.keys.iter().copied().collect())?;
        if let Some((key, line)) = held.first_key_value() {
            let place = Place::default().part(format!("recording {key}"));
            return Err(refused(format!("is held by line {line} of the journal"))
                .at(place)
                .remedy("have the hold released first"));
        }
        Ok(asked)
    }

    /// Those of `keys` that are held, with the line of one hold; the journal alone is asked.
    /// # Errors
    /// Those of reading the journal.
    pub fn held(&self, keys: &HashSet<Key>) -> Result<BTreeMap<Key, u64>> {
        let mut holds: BTreeMap<u64, Key> = BTreeMap::new();
        for line in self.lines(0) {
            let line = line?;
            match (line.event, line.about.key, line.about.of) {
                (Event::Held, Some(key), _) if keys.contains(&key) => {
                    holds.insert(line.index, key);
                }
                (Event::Released, _, Some(of)) => {
                    holds.remove(&of);
                }
                _ => {}
            }
        }
        Ok(holds.into_iter().map(|(line, key)| (key, line)).collect())
    }

    pub(crate) fn plan_destruction(
        &self,
        plan: &mut Plan,
        taken: &mut HashSet<PathBuf>,
        request: &str,
        file: Prepared,
    ) -> Result<()> {
        let (sha256, bytes) = (file.sha256(), file.bytes());
        if self.is_there(&layout::request(sha256))? {
            plan.done.push(Done { line: None, fate: Fate::AlreadyThere });
            return Ok(());
        }
        let asked = self.check_request(request)?;
        plan.destroys.push((plan.done.len(), sha256));
        plan.done.push(Done { line: Some(plan.lines.len() as u64), fate: Fate::New });
        for key in asked.keys {
            if !taken.insert(layout::tombstone(key)) {
                let place = Place::default().part(format!("recording {key}"));
                return Err(Error::new(Kind::Refused, "two requests of one batch name it").at(place));
            }
            let rule = Some(asked.rule.clone());
            let (sha256, bytes) = (Some(sha256), Some(bytes));
            let about = About { key: Some(key), sha256, bytes, rule, ..About::default() };
            plan.lines.push((Event::Destroying, about));
        }
        plan.moves.push(Move { file, to: layout::open_request(sha256), over: false });
        Ok(())
    }

    /// Carries out every request that was begun, under the lock; those of a plan get the line that says so.
    pub(crate) fn finish_destructions(
        &mut self,
        signer: Option<&Signer>,
        plan: Option<&mut Plan>,
    ) -> Result<()> {
        if plan.as_ref().is_some_and(|plan| plan.destroys.is_empty()) {
            return Ok(());
        }
        let at = Path::new(layout::OPEN_REQUESTS);
        let names = names_in(&*self.storage, &self.folder, at)?;
        let mut finished = BTreeMap::new();
        for name in names {
            let Some(digest) = name.strip_suffix(".note").and_then(|digest| digest.parse().ok()) else {
                continue;
            };
            if let Some(line) = self.finish(digest, signer)? {
                finished.insert(digest, line);
            }
        }
        if let Some(plan) = plan {
            for (act, digest) in &plan.destroys {
                plan.done[*act].line = finished.get(digest).copied();
            }
        }
        Ok(())
    }

    /// Carries out one request. The last line that says so.
    fn finish(&mut self, digest: Digest, signer: Option<&Signer>) -> Result<Option<u64>> {
        let open = layout::open_request(digest);
        let bytes = self.storage.read(&self.folder.join(&open)).map_err(|error| cannot_read(&open, error))?;
        let request = String::from_utf8_lossy(&bytes).into_owned();
        let begun = self.begun(digest)?;
        if begun.destroying.is_empty() {
            // Broken off before its lines were written: it was never begun.
            self.storage.remove(&self.folder.join(&open)).map_err(|error| cannot_write(&open, error))?;
            return Ok(None);
        }
        let unfinished: Vec<&Line> =
            begun.destroying.iter().filter(|line| !begun.destroyed.contains(&line.index)).collect();
        let mut last = None;
        if let Some(newest) = unfinished.last() {
            let keys: Vec<Key> = unfinished.iter().filter_map(|line| line.about.key).collect();
            self.remove_files(&keys)?;
            let (mut lines, mut moves) = (Vec::new(), Vec::new());
            for line in &unfinished {
                let certificate = self.certify(line, &begun, &request)?;
                let (about, tomb) = self.entomb(line, digest, certificate)?;
                lines.push((Event::Destroyed, about));
                moves.push(tomb);
            }
            let first = self.write_batch(&lines, &mut moves, newest.at, signer)?;
            last = Some(first + lines.len() as u64 - 1);
        }
        self.close(digest, &bytes)?;
        Ok(last)
    }

    /// What the journal says of a request and of the files of its recordings.
    fn begun(&self, digest: Digest) -> Result<Begun> {
        let mut begun = Begun::default();
        let mut files: BTreeMap<Key, Vec<DestroyedFile>> = BTreeMap::new();
        for line in self.lines(0) {
            let line = line?;
            let about = &line.about;
            match (line.event, about.key, about.sha256, about.bytes) {
                (Event::Destroying, _, Some(request), _) if request == digest => begun.destroying.push(line),
                (Event::Destroyed, ..) => begun.destroyed.extend(about.of),
                (
                    Event::Filed | Event::Corrected | Event::Quarantined,
                    Some(key),
                    Some(sha256),
                    Some(bytes),
                ) => {
                    let sha256 = sha256.to_string();
                    files.entry(key).or_default().push(DestroyedFile {
                        revision: about.revision,
                        sha256,
                        bytes,
                    });
                }
                _ => {}
            }
        }
        let keys: BTreeSet<Key> = begun.destroying.iter().filter_map(|line| line.about.key).collect();
        files.retain(|key, _| keys.contains(key));
        begun.files = files;
        Ok(begun)
    }

    /// All revisions and the source in quarantine, lastingly.
    fn remove_files(&self, keys: &[Key]) -> Result<()> {
        let mut shelves = BTreeSet::new();
        for key in keys {
            let mut files: Vec<Shelved> =
                self.revisions(*key)?.into_iter().map(|revision| Shelved::Bundle(*key, revision)).collect();
            if self.is_there(&layout::quarantined(*key))? {
                files.push(Shelved::Quarantined(*key));
            }
            for file in files {
                let path = file.path();
                self.storage.remove(&self.folder.join(&path)).map_err(|error| cannot_write(&path, error))?;
            }
            // Synced even where nothing was left to remove: the one who removed it may not have come so far.
            for above in [layout::BUNDLES, layout::QUARANTINE] {
                let shelf = layout::shelf(above, *key);
                if self.is_there(&shelf)? {
                    shelves.insert(shelf);
                }
            }
        }
        self.sync_folders(&shelves)
    }

    fn entomb(&self, line: &Line, request: Digest, certificate: Digest) -> Result<(About, Move)> {
        let (Some(key), Some(rule), Some(by)) =
            (line.about.key, line.about.rule.clone(), line.about.by.clone())
        else {
            return Err(Error::new(Kind::Internal, "a destroying line without key, rule or person"));
        };
        let tombstone = Tombstone {
            schema: TOMBSTONE,
            key: key.to_string(),
            destroyed_at: line.at.to_string(),
            rule: rule.to_string(),
            by: by.to_string(),
            request: request.to_string(),
            line: line.index,
            certificate: certificate.to_string(),
        };
        let file = self.prepare(&json(&tombstone)?)?;
        let about = About {
            key: Some(key),
            sha256: Some(file.sha256()),
            bytes: Some(file.bytes()),
            by: Some(by),
            rule: Some(rule),
            of: Some(line.index),
            ..About::default()
        };
        // One that is there already was written by a commit that broke off.
        Ok((about, Move { file, to: layout::tombstone(key), over: true }))
    }

    fn certify(&self, line: &Line, begun: &Begun, request: &str) -> Result<Digest> {
        let Some(key) = line.about.key else {
            return Err(Error::new(Kind::Internal, "a destroying line without key"));
        };
        let code = |code: &Option<Code>| code.as_ref().map(ToString::to_string).unwrap_or_default();
        let certificate = Certificate {
            schema: CERTIFICATE,
            origin: self.identity().origin.clone(),
            key: key.to_string(),
            destroyed_at: line.at.to_string(),
            rule: code(&line.about.rule),
            by: code(&line.about.by),
            files: begun.files.get(&key).cloned().unwrap_or_default(),
            request: request.to_owned(),
            line: line.text(),
            receipt: self.receipt(line.index)?.written(),
        };
        let path = layout::certificate(key);
        let mut file = self.prepare(&json(&certificate)?)?;
        let failed = |error| cannot_write(&path, error);
        file.put(&self.folder.join(&path), true).map_err(failed)?;
        self.storage.sync_folder(&self.folder.join(layout::CERTIFICATES)).map_err(failed)?;
        Ok(file.sha256())
    }

    /// A request that is carried out moves out of the open ones. Written anew and not renamed: of a rename from one
    /// folder to another a power cut may leave the first half alone.
    fn close(&self, digest: Digest, request: &[u8]) -> Result<()> {
        let (open, closed) = (layout::open_request(digest), layout::request(digest));
        let mut file = self.prepare(request)?;
        file.put(&self.folder.join(&closed), true).map_err(|error| cannot_write(&closed, error))?;
        self.sync_folders(&BTreeSet::from([layout::REQUESTS.into()]))?;
        self.storage.remove(&self.folder.join(&open)).map_err(|error| cannot_write(&open, error))?;
        self.sync_folders(&BTreeSet::from([layout::OPEN_REQUESTS.into()]))
    }
}

fn json(value: &impl Serialize) -> Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec_pretty(value)
        .map_err(|error| Error::new(Kind::Internal, "cannot be written as JSON").because(error))?;
    bytes.push(b'\n');
    Ok(bytes)
}
