//! One recording out of the archive, verified before it is handed on.

use std::sync::Arc;

use ecgkeep_archive::catalogue::Catalogue;
use ecgkeep_archive::layout::{Shelved, stem};
use ecgkeep_archive::{About, Act, Archive, Code, Digest, Entry, Event, Key, Signer};
use ecgkeep_bundle::Bundle;
use ecgkeep_checks::Policy;
use ecgkeep_format::{Error, File, Kind, Limits, Place, Result, Source as _};
use ecgkeep_recording::CivilTime;
use ecgkeep_report::{PageFacts, Paper, sheet};

use super::acting::Acting;
use super::look::{filing_line, missing, newest_filed};
use crate::input::Input;
use crate::page::{PageForm, page_facts, page_files};
use crate::quarantine::quarantined_source;
use crate::seal::{ENTRY, original, stored};
use crate::verify::altered;

/// A revision whose every byte is as the journal says.
pub struct Got {
    /// Its key.
    pub key: Key,
    /// Its number.
    pub revision: u32,
    /// Whether a later revision corrects it.
    pub is_superseded: bool,
    /// Why the revision after it corrects it, where one does.
    pub superseded_why: Option<Code>,
    /// The whole bundle.
    pub bytes: Arc<[u8]>,
    /// The bundle, opened.
    pub bundle: Bundle,
    /// What it says of itself.
    pub entry: Entry,
    /// The index of the line that filed it.
    pub filed: u64,
    /// SHA-256 of the whole bundle.
    pub sha256: Digest,
}

impl Got {
    /// The name of the bundle without `.zip`.
    #[must_use]
    pub fn stem(&self) -> String {
        stem(self.key, self.revision)
    }

    /// Whether its bundle holds something that is superseded: itself, or the original that it corrects.
    #[must_use]
    pub fn holds_superseded(&self) -> bool {
        self.is_superseded || self.entry.amends.is_some()
    }

    /// What whoever is given it must know: that it is not the newest revision, and why it was corrected.
    #[must_use]
    pub fn superseded_line(&self) -> Option<String> {
        let Got { revision, is_superseded, superseded_why, .. } = self;
        let why = superseded_why.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
        is_superseded.then(|| {
            format!(
                "revision {revision} was corrected by revision {}{why}: this is not the newest",
                revision + 1
            )
        })
    }

    /// Refuses to hand out what is superseded unless that was asked for.
    /// # Errors
    /// [`Kind::Refused`].
    pub fn refuse_superseded(&self, original: bool) -> Result<()> {
        if original || !self.holds_superseded() {
            return Ok(());
        }
        let what = if self.is_superseded {
            "a revision that was corrected: it may name another patient"
        } else {
            "the bundle of a corrected revision: the original inside is superseded and may name another patient"
        };
        Err(Error::new(Kind::Refused, what)
            .remedy("take the page or another format of the newest revision, or ask for it with --original"))
    }

    /// The page as it was sealed, its files named after `stem`; of one form, or of all that there are.
    /// # Errors
    /// Those of reading the bundle.
    pub fn sealed_pages(&self, stem: &str, form: Option<PageForm>) -> Result<Vec<File>> {
        let mut files = Vec::new();
        for member in self.bundle.members() {
            let Some(rest) = member.strip_prefix("data/report") else { continue };
            let ending = rest.rsplit('.').next().and_then(PageForm::from_ending);
            if ending.is_some() && (form.is_none() || form == ending) {
                files.push(File { name: format!("{stem}{rest}"), bytes: self.bundle.member(member)? });
            }
        }
        // The first page before its followers: report.svg, report-2.svg.
        files.sort_by_key(|file| (file.name.len(), file.name.clone()));
        Ok(files)
    }

    /// The page for whoever asks for this revision: as it was sealed, or drawn anew in a form that was not. One that
    /// was corrected since is drawn anew, with `original` only, and says SUPERSEDED; the sealed one does not.
    /// # Errors
    /// [`Kind::Refused`] for a revision that was corrected, without `original`; those of reading the bundle and of
    /// drawing.
    pub fn page(
        &self,
        stem: &str,
        form: PageForm,
        original: bool,
        at: &CivilTime,
        program: &str,
    ) -> Result<Vec<File>> {
        if self.is_superseded {
            self.refuse_superseded(original)?;
        } else {
            let sealed = self.sealed_pages(stem, Some(form))?;
            if !sealed.is_empty() {
                return Ok(sealed);
            }
        }
        let input = Input::of_bundle(self.bundle.clone());
        let opened = input.read(Some(&self.entry.format), &Limits::default())?;
        let recording = opened.recording()?;
        let filing = input.stored_filing()?;
        let policy = Policy::default();
        let assessment = ecgkeep_checks::run(recording, filing.as_ref(), &policy, at);
        let facts = PageFacts {
            superseded: self.superseded_line(),
            ..page_facts(&opened, recording, filing.as_ref(), &policy, program)
        };
        page_files(&sheet(recording, &assessment, &facts, &Paper::default()), stem, form, at)
    }

    /// The source files as they were received.
    /// # Errors
    /// Those of reading the bundle.
    pub fn original_files(&self) -> Result<Vec<File>> {
        let source = original(&self.bundle)?;
        let names = source.names()?;
        names.into_iter().map(|name| file_of(&source, name)).collect()
    }

    /// Says in the journal that a copy or a page was handed to somebody.
    /// # Errors
    /// Those of committing.
    pub fn viewed(
        &self,
        archive: &mut Archive,
        acting: &Acting,
        why: &Code,
        signer: Option<&Signer>,
    ) -> Result<()> {
        let about = About {
            key: Some(self.key),
            revision: Some(self.revision),
            why: Some(why.clone()),
            ..About::default()
        };
        acting.commit(archive, vec![Act::Line(Event::Viewed, about)], signer).map(drop)
    }
}

fn file_of(source: &dyn ecgkeep_format::Source, name: String) -> Result<File> {
    let bytes = source.bytes(&name, u64::MAX)?.to_vec();
    Ok(File { name, bytes })
}

/// A revision of a recording, the newest where none is named: its bytes are held against the journal, its bag is
/// checked.
/// # Errors
/// [`Kind::Altered`] where it is not as the journal says; [`Kind::Io`] where it is not there; [`Kind::Refused`] where
/// it was destroyed.
pub fn fetch(archive: &Archive, catalogue: &Catalogue, key: Key, revision: Option<u32>) -> Result<Got> {
    let newest = newest_filed(archive, catalogue, key)?;
    let revision = revision.unwrap_or(newest);
    let line = filing_line(archive, catalogue, key, revision).map_err(|error| {
        if archive.revisions(key).is_ok_and(|all| all.contains(&revision)) {
            return error;
        }
        Error::new(Kind::Io, format!("there is no revision {revision}, the newest is {newest}"))
    })?;
    let stem = stem(key, revision);
    let place = Place::file(format!("{stem}.zip"));
    let bytes: Arc<[u8]> =
        archive.bytes(Shelved::Bundle(key, revision))?.ok_or_else(|| missing().at(place.clone()))?.into();
    let sha256 = Digest::of(&bytes);
    if line.about.sha256 != Some(sha256) {
        return Err(Error::new(Kind::Altered, "the bundle is not as it was filed: its SHA-256 is another")
            .at(place)
            .remedy("run archive verify, then archive repair with a copy of the archive"));
    }
    let bundle = Bundle::open(&format!("{stem}.zip"), bytes.clone())?;
    if let Some(error) = altered(&stem, &bundle.verify()) {
        return Err(error);
    }
    let entry: Entry = stored(&bundle, ENTRY)?;
    let is_superseded = revision < newest;
    let superseded_why = match is_superseded {
        true => filing_line(archive, catalogue, key, revision + 1)?.about.why,
        false => None,
    };
    Ok(Got { key, revision, is_superseded, superseded_why, bytes, bundle, entry, filed: line.index, sha256 })
}

/// The files of a source in quarantine, as they were received; `None` where the key is not in quarantine.
/// # Errors
/// [`Kind::Altered`] where its bag is not whole.
pub fn quarantined_files(archive: &Archive, key: Key) -> Result<Option<Vec<File>>> {
    let Some(bundle) = archive.quarantined(key)? else { return Ok(None) };
    if let Some(error) = altered(&format!("{key}.q1"), &bundle.verify()) {
        return Err(error);
    }
    let source = quarantined_source(&bundle)?;
    let files: Result<Vec<File>> = source.names()?.into_iter().map(|name| file_of(&source, name)).collect();
    files.map(Some)
}
