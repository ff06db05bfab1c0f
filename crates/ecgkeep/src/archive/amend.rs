//! A correction in the archive: the next revision, and taking back what was handed over of the one before.

use ecgkeep_archive::catalogue::Catalogue;
use ecgkeep_archive::{About, Act, Archive, Corrects, Digest, Entry, Event, Fate, Key, Signer};
use ecgkeep_checks::Policy;
use ecgkeep_format::{Error, File, Kind, Result};
use ecgkeep_recording::Acquisition;
use serde::Serialize;

use super::acting::{Acting, code};
use super::get::fetch;
use super::hand_over::{open_exports, viewings};
use super::look::catch_up;
use crate::correct::{Correction, Reason, corrected};
use crate::seal::{Sealing, json, stored_filing, stored_recording};

/// A correction that is filed.
pub struct Amended {
    /// Key of the recording.
    pub key: Key,
    /// The revision that is superseded now.
    pub before: u32,
    /// SHA-256 of its bundle.
    pub before_sha256: Digest,
    /// The new revision.
    pub revision: u32,
    /// SHA-256 of its bundle.
    pub sha256: Digest,
    /// What the new revision says of itself.
    pub entry: Entry,
    /// Whom earlier revisions were handed to: each needs a retraction notice.
    pub handed_over: Vec<HandedOver>,
    /// Who was shown the revision before, or given a copy of it: each is to be told.
    pub viewed: Vec<Viewed>,
    /// What is kept of a wrong patient's case, field by field: to be looked at.
    pub kept: Vec<&'static str>,
    why: Reason,
    authorised_by: String,
    by: String,
    at: String,
    origin: String,
}

/// An export of a revision that is superseded now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HandedOver {
    /// The receiver.
    pub receiver: String,
    /// The revision that was exported.
    pub revision: u32,
    /// SHA-256 of its bundle.
    pub sha256: String,
    /// When it was exported, UTC.
    pub exported_at: String,
    /// The line of the journal that says so.
    pub line: u64,
    /// Whether the receiver acknowledged it.
    pub acknowledged: bool,
}

/// A viewing of the revision that is superseded now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Viewed {
    /// The code of whoever fetched it.
    pub by: String,
    /// When, UTC.
    pub at: String,
    /// The line of the journal that says so.
    pub line: u64,
}

/// A retraction notice (schemas/retraction.schema.json): names no patient, neither the wrong nor the right one.
#[derive(Serialize)]
struct Retraction<'a> {
    schema: &'static str,
    notice: String,
    origin: &'a str,
    to: &'a str,
    key: String,
    retracted_revision: u32,
    retracted_sha256: &'a str,
    exported_at: &'a str,
    exported_line: u64,
    superseded_by_revision: u32,
    superseded_by_sha256: String,
    why: &'a str,
    authorised_by: &'a str,
    by: &'a str,
    at: &'a str,
}

/// What a receiver is asked to do, and what was wrong.
fn notice(why: Reason) -> String {
    let wrong = match why {
        Reason::WrongPatient => "may stand under the wrong patient",
        Reason::WrongOperator => "names somebody else as who recorded it",
        Reason::MergedIdentifier => "stands under an identifier that was merged into another",
        Reason::WrongDetails => "has wrong details of the patient, or lacks some",
        Reason::WrongTime => "has a wrong time of recording",
        Reason::WrongOrder => "may stand under the wrong order",
    };
    format!(
        "Take this revision out of use, wherever it was filed: it was corrected and {wrong}. The corrected revision \
         follows separately. Answer when it is done."
    )
}

/// Files a correction of the newest revision, and says in the journal which exports are to be taken back; the new
/// revision is unsent.
/// # Errors
/// Those of [`corrected`] and [`fetch`]; [`Kind::Refused`] where somebody else corrected it meanwhile; those of
/// committing.
pub fn amend(
    archive: &mut Archive,
    catalogue: &mut Catalogue,
    key: Key,
    correction: &Correction<'_>,
    policy: &Policy,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<Amended> {
    let authority = code("--authorised-by", correction.authorised_by)?;
    let why = code("--reason", correction.reason.code())?;
    let got = fetch(archive, catalogue, key, None)?;
    let sealing = Sealing { filing: None, policy, at: acting.at, program: &acting.program };
    let sealed = corrected(&got.bundle, &got.bytes, correction, &sealing)?;
    let revision = sealed.entry.revision;
    let exports = open_exports(archive, key, got.revision)?;
    let viewed = viewings(archive, key, got.revision, got.filed)?;
    let kept = match correction.reason {
        Reason::WrongPatient => {
            let (was, beside) = (stored_recording(&got.bundle)?, stored_filing(&got.bundle)?);
            let beside = beside.as_ref().map(|beside| &beside.acquisition);
            kept_of_the_case(&was.acquisition, beside, &correction.filing.acquisition)
        }
        _ => Vec::new(),
    };

    let corrects = Some(Corrects { authority, why, of: got.filed });
    let mut batch = vec![Act::Bundle { key, revision, prepared: archive.prepare(&sealed.bytes)?, corrects }];
    for export in &exports {
        let about = About {
            key: Some(key),
            revision: Some(export.revision),
            to: Some(export.receiver.clone()),
            of: Some(export.line),
            ..About::default()
        };
        batch.push(Act::Line(Event::Retracted, about));
    }
    let done = acting.commit(archive, batch, signer)?;
    if done.first().is_none_or(|done| done.fate != Fate::New) {
        return Err(Error::new(Kind::Refused, "somebody else corrected it meanwhile; nothing was filed")
            .remedy("look at what it says now, and correct that if it is still wrong"));
    }
    catch_up(archive, catalogue, &[((key, revision), sealed.entry.clone())].into())?;
    Ok(Amended {
        key,
        before: got.revision,
        before_sha256: got.sha256,
        revision,
        sha256: Digest::of(&sealed.bytes),
        entry: sealed.entry,
        handed_over: exports
            .into_iter()
            .map(|export| HandedOver {
                receiver: export.receiver.to_string(),
                revision: export.revision,
                sha256: export.sha256.to_string(),
                exported_at: export.at,
                line: export.line,
                acknowledged: export.is_acknowledged,
            })
            .collect(),
        viewed,
        kept,
        why: correction.reason,
        authorised_by: correction.authorised_by.to_owned(),
        by: correction.by.to_owned(),
        at: acting.moment().to_string(),
        origin: archive.identity().origin.clone(),
    })
}

/// The notice for one of those that a superseded revision was handed to.
/// # Errors
/// None in practice: a struct of strings is always JSON.
pub fn retraction(amended: &Amended, handed_over: &HandedOver) -> Result<File> {
    let Amended { key, revision, sha256, why, authorised_by, by, at, origin, .. } = amended;
    let HandedOver { receiver, revision: retracted, sha256: retracted_sha256, exported_at, line, .. } =
        handed_over;
    let bytes = json(&Retraction {
        schema: "ecgkeep-retraction/1",
        // An export that an earlier correction did not reach may be wrong in more than this.
        notice: notice(if *retracted < amended.before { Reason::WrongPatient } else { *why }),
        origin,
        to: receiver,
        key: key.to_string(),
        retracted_revision: *retracted,
        retracted_sha256,
        exported_at,
        exported_line: *line,
        superseded_by_revision: *revision,
        superseded_by_sha256: sha256.to_string(),
        why: why.code(),
        authorised_by,
        by,
        at,
    })?;
    // One file per export: a receiver may have been given it twice.
    Ok(File { name: format!("{key}.r{retracted}.retraction.{line}.json"), bytes })
}

/// What the acquisition says of the patient's case and the filing does not replace: names of the fields.
fn kept_of_the_case(
    was: &Acquisition,
    beside: Option<&Acquisition>,
    right: &Acquisition,
) -> Vec<&'static str> {
    type Says = fn(&Acquisition) -> bool;
    let fields: [(&'static str, Says); 8] = [
        ("order number", |says| says.order_number.is_some()),
        ("indication", |says| !says.indications.is_empty()),
        ("remark", |says| !says.remarks.is_empty()),
        ("urgency", |says| says.urgency.is_some()),
        ("referring physician", |says| !says.referring.is_empty()),
        ("requesting person", |says| !says.requesting.is_empty()),
        ("confirming person", |says| !says.confirming.is_empty()),
        ("identifier of the recording", |says| !says.identifiers.is_empty()),
    ];
    let is_kept = |says: Says| (says(was) || beside.is_some_and(says)) && !says(right);
    fields.into_iter().filter(|(_, says)| is_kept(*says)).map(|(name, _)| name).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stays_of_the_wrong_patients_case_is_named() {
        let was = ecgkeep_demo::every_field().acquisition;
        let all = kept_of_the_case(&was, None, &Acquisition::default());
        assert!(["order number", "indication", "remark"].iter().all(|name| all.contains(name)), "{all:?}");
        assert_eq!(kept_of_the_case(&was, None, &was), Vec::<&str>::new(), "all is replaced");
        let silent = Acquisition::default();
        assert_eq!(kept_of_the_case(&silent, None, &silent), Vec::<&str>::new(), "nothing is there");
        let beside = Acquisition { remarks: vec!["seen in bed 3".into()], ..Acquisition::default() };
        assert_eq!(kept_of_the_case(&silent, Some(&beside), &silent), ["remark"]);
    }
}
