//! What a batch will write: every rule is asked before anything is touched.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::act::{Act, Commit, Corrects, Done, Fate, earlier_event};
use crate::archive::Archive;
use crate::commit::Move;
use crate::fault::shown;
use crate::layout;
use crate::line::{About, Event};
use crate::prepare::Prepared;
use crate::storage::Readers;
use crate::word::{Code, Digest, Key};

/// Lines, files and answers of a batch.
#[derive(Default)]
pub(crate) struct Plan {
    pub lines: Vec<(Event, About)>,
    pub moves: Vec<Move>,
    /// One per act; lines are counted from the first of the batch until [`Plan::number_from`].
    pub done: Vec<Done>,
    /// Acts that destroy, and their requests.
    pub destroys: Vec<(usize, Digest)>,
}

/// An act whose bytes are all prepared.
pub(crate) enum Ready {
    Plain(Act),
    /// A file of the archive's own folders that is not there yet.
    File {
        event: Event,
        about: About,
        file: Prepared,
        to: PathBuf,
        admits: Option<String>,
    },
    Destroy {
        request: String,
        file: Prepared,
    },
}

impl Plan {
    pub fn number_from(&mut self, first: u64) {
        for done in &mut self.done {
            done.line = done.line.map(|line| line + first);
        }
    }

    fn nothing(&mut self, fate: Fate) {
        self.done.push(Done { line: None, fate });
    }

    fn add(&mut self, event: Event, about: About) {
        self.done.push(Done { line: Some(self.lines.len() as u64), fate: Fate::New });
        self.lines.push((event, about));
    }
}

impl Archive {
    /// Keys, schedules, answers and requests are written before the lock is taken, as bundles are.
    pub(crate) fn prepare_small_files(&self, batch: Vec<Act>) -> Result<Vec<Ready>> {
        batch.into_iter().map(|act| self.make_ready(act)).collect()
    }

    fn make_ready(&self, act: Act) -> Result<Ready> {
        let (event, about, bytes, to, admits, readers) = match act {
            Act::Key(key) => {
                let text = key.written();
                key.name().parse::<Code>()?;
                let bytes = format!("{text}\n").into_bytes();
                let to = layout::public_key(key.name());
                (Event::Key, About::default(), bytes, to, Some(text), Readers::All)
            }
            Act::Schedule { bytes, authority } => {
                let to = layout::schedule(Digest::of(&bytes));
                let about = About { authority: Some(authority), ..About::default() };
                (Event::Schedule, about, bytes, to, None, Readers::All)
            }
            Act::Answer { key, revision, bytes, of } => {
                let to = layout::answer(key, revision, Digest::of(&bytes));
                let about = About { key: Some(key), revision: Some(revision), of, ..About::default() };
                (Event::Acknowledged, about, bytes, to, None, Readers::Owner)
            }
            Act::Destroy { request } => {
                let file = self.prepare(request.as_bytes())?;
                return Ok(Ready::Destroy { request, file });
            }
            act => return Ok(Ready::Plain(act)),
        };
        let file = self.prepare_for(&bytes, readers)?;
        let about = About { sha256: Some(file.sha256()), bytes: Some(file.bytes()), ..about };
        Ok(Ready::File { event, about, file, to, admits })
    }

    /// Asks every rule, under the lock.
    pub(crate) fn plan(&self, batch: Vec<Ready>, commit: &Commit<'_>) -> Result<Plan> {
        let admitted_now: Vec<String> = batch
            .iter()
            .filter_map(|ready| match ready {
                Ready::File { admits, .. } => admits.clone(),
                _ => None,
            })
            .collect();
        self.check_signer(commit, &admitted_now)?;
        let mut plan = Plan::default();
        let mut taken = HashSet::new();
        for ready in batch {
            match ready {
                Ready::Plain(Act::Bundle { key, revision, prepared, corrects }) => {
                    self.plan_bundle(&mut plan, &mut taken, (key, revision), prepared, corrects)?;
                }
                Ready::Plain(Act::Quarantine { key, prepared, why }) => {
                    self.plan_quarantine(&mut plan, &mut taken, key, prepared, why)?;
                }
                Ready::Plain(Act::Line(Event::Acknowledged, _)) => {
                    return Err(Error::new(Kind::Internal, "what was answered is kept: Act::Answer"));
                }
                Ready::Plain(Act::Line(event, about)) => {
                    self.check_earlier(event, &about)?;
                    plan.add(event, about);
                }
                Ready::Plain(_) => return Err(Error::new(Kind::Internal, "an act was not made ready")),
                Ready::File { event, about, file, to, .. } => {
                    self.plan_file(&mut plan, &mut taken, (event, about), file, to)?;
                }
                Ready::Destroy { request, file } => {
                    self.plan_destruction(&mut plan, &mut taken, &request, file)?;
                }
            }
        }
        for (_, about) in &mut plan.lines {
            about.by = Some(commit.by.clone());
        }
        Ok(plan)
    }

    fn plan_bundle(
        &self,
        plan: &mut Plan,
        taken: &mut HashSet<PathBuf>,
        (key, revision): (Key, u32),
        file: Prepared,
        corrects: Option<Corrects>,
    ) -> Result<()> {
        if self.is_there(&layout::tombstone(key))? {
            plan.nothing(Fate::Destroyed);
            return Ok(());
        }
        let to = layout::bundle(key, revision);
        let mut about = About {
            key: Some(key),
            revision: Some(revision),
            sha256: Some(file.sha256()),
            bytes: Some(file.bytes()),
            ..About::default()
        };
        let event = match (revision, corrects) {
            (1, None) => {
                if taken.contains(&to) || self.is_there(&to)? {
                    plan.nothing(Fate::AlreadyThere);
                    return Ok(());
                }
                Event::Filed
            }
            (2.., Some(Corrects { authority, why, of })) => {
                let newest = self.revisions(key)?.last().copied().unwrap_or(0);
                if taken.contains(&to) || newest >= revision {
                    plan.nothing(Fate::Overtaken);
                    return Ok(());
                }
                let before = self.line(of)?;
                let is_before = newest + 1 == revision
                    && before.about.key == Some(key)
                    && before.about.revision == Some(newest)
                    && matches!(before.event, Event::Filed | Event::Corrected);
                if !is_before {
                    let what = format!("revision {revision} does not follow what line {of} filed");
                    return Err(Error::new(Kind::Refused, what).at(at(&to)));
                }
                about.authority = Some(authority);
                about.why = Some(why);
                about.of = Some(of);
                Event::Corrected
            }
            _ => {
                let what = "revision 1 corrects nothing, a later one says what it corrects";
                return Err(Error::new(Kind::Internal, what).at(at(&to)));
            }
        };
        taken.insert(to.clone());
        plan.add(event, about);
        plan.moves.push(Move { file, to, over: false });
        Ok(())
    }

    fn plan_quarantine(
        &self,
        plan: &mut Plan,
        taken: &mut HashSet<PathBuf>,
        key: Key,
        file: Prepared,
        why: Code,
    ) -> Result<()> {
        if self.is_there(&layout::tombstone(key))? {
            plan.nothing(Fate::Destroyed);
            return Ok(());
        }
        let (sha256, bytes) = (Some(file.sha256()), Some(file.bytes()));
        let about = About { key: Some(key), sha256, bytes, why: Some(why), ..About::default() };
        self.plan_file(plan, taken, (Event::Quarantined, about), file, layout::quarantined(key))
    }

    /// A file that is kept under its own name: there already, or new.
    fn plan_file(
        &self,
        plan: &mut Plan,
        taken: &mut HashSet<PathBuf>,
        (event, about): (Event, About),
        file: Prepared,
        to: PathBuf,
    ) -> Result<()> {
        if event == Event::Acknowledged {
            self.check_earlier(event, &about)?;
        }
        if !taken.insert(to.clone()) || self.is_there(&to)? {
            if event == Event::Key && !self.is_whole(&to, file.bytes(), file.sha256())? {
                return Err(Error::new(Kind::Refused, "another key of that name is admitted")
                    .at(at(&to))
                    .remedy("give the new key another name"));
            }
            plan.nothing(Fate::AlreadyThere);
            return Ok(());
        }
        plan.add(event, about);
        plan.moves.push(Move { file, to, over: false });
        Ok(())
    }

    /// A line about an earlier one is about the same recording and the right kind of line.
    fn check_earlier(&self, event: Event, about: &About) -> Result<()> {
        let allowed = earlier_event(event)?;
        let Some(of) = about.of else { return Ok(()) };
        let earlier = self.line(of)?;
        // What is read of a quarantined source may be fewer files than were kept, and then has a key of its own.
        let is_same = event == Event::Read || earlier.about.key == about.key;
        if allowed.contains(&earlier.event) && is_same {
            return Ok(());
        }
        let what = format!("{} cannot be about line {of}, which is another event or recording", event.word());
        Err(Error::new(Kind::Refused, what).at(Place::file(layout::JOURNAL)))
    }
}

fn at(path: &Path) -> Place {
    Place::file(shown(path))
}
