//! Copies without identity, for study and teaching. They hand nothing over: the recording is as unsent as it was.

use ecgkeep_archive::{About, Act, Archive, Event, Key, Signer};
use ecgkeep_checks::Policy;
use ecgkeep_deidentify::{Taken, stated_method};
use ecgkeep_format::{Error, File, Kind, Limits, Loss, Result};
use ecgkeep_recording::{CivilTime, Recording};
use ecgkeep_report::{PageFacts, Paper, sheet};

use super::acting::{Acting, code};
use super::get::Got;
use crate::convert::{Conversion, Deidentifier};
use crate::input::{Input, Opened};
use crate::page::{PageForm, page_files};

/// Rules about who was recorded by whom, and when: what they look for was taken out.
const NOT_JUDGED: [&str; 4] =
    ["identity-two-identifiers", "identity-operator", "identity-time", "filing-conflict"];

/// A recording of the archive without identity.
#[derive(Debug)]
pub struct WithoutIdentity {
    /// The files, under a name that tells nothing of the recording; pages last.
    pub files: Vec<File>,
    /// What the format does not keep of what was left.
    pub losses: Vec<Loss>,
    /// What taking the identity out took, by field, never a value.
    pub taken: Vec<Taken>,
    /// How many notes the reader of the source has; what they say may quote the source.
    pub notes: usize,
    /// Whether it was filed as a test recording: the page says so, a copy in a format has no place for it.
    pub is_test_recording: bool,
    /// Whether part of the source is damaged; likewise.
    pub is_damaged: bool,
}

/// The newest revision of a recording, made anew without identity in the format asked for, and where a form is named
/// the page drawn anew from what is left. Original, sealed page, filing, key and receipt stay in the archive. `at` is
/// when a PDF says it was made.
/// # Errors
/// [`Kind::Usage`] for a conversion that takes no identity out; [`Kind::Refused`] for a revision that was corrected;
/// those of [`Conversion::of`] and of drawing. They may quote the source: see
/// [`without_identity`](crate::without_identity).
pub fn copies_without_identity(
    got: &Got,
    conversion: &Conversion<'_>,
    page: Option<PageForm>,
    at: &CivilTime,
) -> Result<WithoutIdentity> {
    if got.is_superseded {
        got.refuse_superseded(false)?;
    }
    let takes_none = || Error::new(Kind::Usage, "the conversion takes no identity out");
    let deidentifier = conversion.deidentifier.ok_or_else(takes_none)?;
    let input = Input::of_bundle(got.bundle.clone());
    let opened = input.read(Some(&got.entry.format), &Limits::default())?;
    opened.recording()?;
    opened.refuse_damage(conversion.accept_damage)?;
    let (recordings, taken) = conversion.without_identity(&opened, input.stored_filing()?.as_ref())?;
    let recordings = recordings.ok_or_else(takes_none)?;
    let stem = deidentifier.name(&opened.key())?;
    let mut converted = conversion.written(&recordings, &stem, taken)?;
    let is_test_recording = got.entry.test_recording.is_some();
    if let (Some(form), [recording]) = (page, recordings.as_slice()) {
        let facts = facts(&opened, recording, is_test_recording, conversion.program);
        converted.files.extend(drawn(recording, &facts, &stem, form, at)?);
    }
    Ok(WithoutIdentity {
        files: converted.files,
        losses: converted.losses,
        taken: converted.taken,
        notes: opened.read.notes.len(),
        is_test_recording,
        is_damaged: opened.read.is_damaged(),
    })
}

/// What the page says besides the recording: nothing that quotes the source.
fn facts(opened: &Opened, recording: &Recording, is_test: bool, program: &str) -> PageFacts {
    PageFacts {
        digest: recording.fingerprint().to_string(),
        damaged: opened.read.is_damaged(),
        test_recording: is_test.then(|| "it was filed as one".to_owned()),
        deidentified: stated_method(recording).map(str::to_owned),
        program: program.to_owned(),
        ..PageFacts::default()
    }
}

fn drawn(
    recording: &Recording,
    facts: &PageFacts,
    stem: &str,
    form: PageForm,
    at: &CivilTime,
) -> Result<Vec<File>> {
    let policy = Policy { off: NOT_JUDGED.map(str::to_owned).to_vec(), ..Policy::default() };
    let assessment = ecgkeep_checks::run(recording, None, &policy, at);
    page_files(&sheet(recording, &assessment, facts, &Paper::default()), stem, form, at)
}

/// Says in the journal which revisions were written without identity, for whom and by which method, in one batch and in
/// the order of the keys, so that neither order nor time tells which copy came of which recording. The copies should be
/// written, lastingly, before.
/// # Errors
/// [`Kind::Usage`] for a receiver that is no code; those of committing.
pub fn deidentified(
    archive: &mut Archive,
    revisions: &[(Key, u32)],
    receiver: &str,
    deidentifier: &Deidentifier,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<()> {
    let (to, why) = (code("--receiver", receiver)?, code("the method", &deidentifier.method())?);
    let mut revisions = revisions.to_vec();
    revisions.sort_unstable();
    let act = |(key, revision)| {
        let about = About {
            key: Some(key),
            revision: Some(revision),
            why: Some(why.clone()),
            to: Some(to.clone()),
            ..About::default()
        };
        Act::Line(Event::Deidentified, about)
    };
    if revisions.is_empty() {
        return Ok(());
    }
    acting.commit(archive, revisions.into_iter().map(act).collect(), signer).map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rules_that_are_not_judged_are_rules() {
        let known = |code: &&&str| ecgkeep_checks::RULES.iter().any(|rule| rule.code == **code);
        assert_eq!(NOT_JUDGED.iter().filter(known).count(), NOT_JUDGED.len());
    }
}
