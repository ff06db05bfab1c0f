//! A correction: the recording with what was wrong replaced, sealed as the next revision.

use ecgkeep_archive::{Amends, Entry, sha256};
use ecgkeep_bundle::Bundle;
use ecgkeep_format::{Error, Kind, Result};
use ecgkeep_recording::{Acquisition, CivilTime, Difference, Filing, Recording, Subject, differences};
use serde::{Deserialize, Serialize};

use crate::input::original_of;
use crate::seal::{ENTRY, Sealed, Sealing, seal_as, stored, stored_filing, stored_recording};

/// Where a corrected bundle says what was corrected.
pub(crate) const AMENDMENTS: &str = "metadata/amendments.json";

/// Why a recording is corrected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Reason {
    /// It is another patient's: the whole subject is replaced.
    WrongPatient,
    /// Another person recorded it.
    WrongOperator,
    /// The patient's identifier was merged into another.
    MergedIdentifier,
    /// An identifier, the name, the birth date or the sex was mistyped or left out.
    WrongDetails,
    /// The device's clock was wrong.
    WrongTime,
    /// It belongs to another order.
    WrongOrder,
}

impl Reason {
    /// All of them, with the code in the journal.
    pub const ALL: &'static [(Reason, &'static str)] = &[
        (Reason::WrongPatient, "wrong-patient"),
        (Reason::WrongOperator, "wrong-operator"),
        (Reason::MergedIdentifier, "merged-identifier"),
        (Reason::WrongDetails, "wrong-details"),
        (Reason::WrongTime, "wrong-time"),
        (Reason::WrongOrder, "wrong-order"),
    ];

    /// The code in the journal.
    #[must_use]
    pub fn code(self) -> &'static str {
        Reason::ALL.iter().find(|(reason, _)| *reason == self).map_or("", |(_, code)| code)
    }
}

/// A correction that was asked for.
#[derive(Clone, Debug)]
pub struct Correction<'a> {
    /// What is right; a field that it is silent about stays, but of the subject of a wrong patient nothing stays.
    pub filing: &'a Filing,
    /// Why.
    pub reason: Reason,
    /// The code of whoever authorised it.
    pub authorised_by: &'a str,
    /// The code of whoever does it.
    pub by: &'a str,
}

/// metadata/amendments.json (schemas/amendments.schema.json).
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Amendments {
    schema: &'static str,
    #[serde(flatten)]
    pub(crate) amends: Amends,
    /// When.
    pub(crate) at: CivilTime,
    /// What was supplied.
    supplied: Filing,
    /// From what the original says to what this revision says.
    differences: Vec<Difference>,
}

/// Seals the next revision of the bundle `before`, whose whole file is `bytes`.
/// # Errors
/// [`Kind::Usage`] for a correction that says nothing of what its reason is about; [`Kind::Refused`] where nothing
/// would change; those of reading the bundle and of sealing.
pub fn corrected(
    before: &Bundle,
    bytes: &[u8],
    correction: &Correction<'_>,
    sealing: &Sealing<'_>,
) -> Result<Sealed> {
    let Correction { filing, reason, authorised_by, by } = correction;
    says_what_it_is_about(filing, *reason)?;
    let entry: Entry = stored(before, ENTRY)?;
    let was = stored_recording(before)?;
    let beside = stored_filing(before)?;
    let (recording, beside_now) = replaced(&was, beside.as_ref(), filing, *reason);
    if recording.subject == was.subject && recording.acquisition == was.acquisition && beside_now == beside {
        return Err(Error::new(Kind::Refused, "nothing would change: the recording says this already"));
    }
    let opened = original_of(before, &entry)?;
    let amendments = Amendments {
        schema: "ecgkeep-amendments/1",
        amends: Amends {
            revision: entry.revision,
            sha256: sha256(bytes),
            why: reason.code().to_owned(),
            authorised_by: (*authorised_by).to_owned(),
            by: (*by).to_owned(),
        },
        at: sealing.at,
        supplied: (*filing).clone(),
        differences: differences(opened.recording()?, &recording),
    };
    let sealing = Sealing { filing: beside_now.as_ref(), ..sealing.clone() };
    let sealed = seal_as(&opened, &recording, &sealing, Some(&amendments))?;
    if sealed.entry.fingerprint != entry.fingerprint {
        return Err(Error::new(Kind::Internal, "a correction changed the samples"));
    }
    Ok(sealed)
}

/// Refuses a filing that is silent about what the reason is about.
fn says_what_it_is_about(filing: &Filing, reason: Reason) -> Result<()> {
    let Filing { subject, acquisition, .. } = filing;
    let (says, what) = match reason {
        Reason::WrongPatient => (
            !subject.identifiers.is_empty() && (!subject.name.is_empty() || subject.birth_date.is_some()),
            "two identifiers of the right patient: subject.identifiers, and subject.name or subject.birth_date",
        ),
        Reason::WrongOperator => (!acquisition.operators.is_empty(), "acquisition.operators"),
        Reason::MergedIdentifier => (!subject.identifiers.is_empty(), "subject.identifiers"),
        Reason::WrongDetails => (*subject != Subject::default(), "at least one part of subject"),
        Reason::WrongTime => (!acquisition.start.is_empty(), "acquisition.start"),
        Reason::WrongOrder => (acquisition.order_number.is_some(), "acquisition.order_number"),
    };
    if says {
        return Ok(());
    }
    let what = format!("the filing does not say what is right: a {} correction needs {what}", reason.code());
    Err(Error::new(Kind::Usage, what))
}

/// The recording and what was supplied beside it, with what is wrong replaced.
///
/// Items that the model does not name are dropped: they may carry the old patient back.
fn replaced(
    was: &Recording,
    beside: Option<&Filing>,
    right: &Filing,
    reason: Reason,
) -> (Recording, Option<Filing>) {
    let subject = match reason {
        Reason::WrongPatient => right.subject.clone(),
        _ => or_subject(&right.subject, &was.subject),
    };
    let acquisition = or_acquisition(&right.acquisition, &was.acquisition);
    let recording = Recording { subject, acquisition, extras: Vec::new(), ..was.clone() };
    let beside = beside.map(|beside| Filing {
        subject: match reason {
            Reason::WrongPatient => Subject::default(),
            _ => without_subject(&beside.subject, &right.subject),
        },
        acquisition: without_acquisition(&beside.acquisition, &right.acquisition),
        ..beside.clone()
    });
    let says_something = |filing: &Filing| {
        filing.subject != Subject::default() || filing.acquisition != Acquisition::default()
    };
    (recording, beside.filter(says_something))
}

/// Functions over every field of a struct; a field that is added does not compile until it is named here.
macro_rules! field_by_field {
    ($or:ident, $without:ident, $of:ident { $($field:ident),* $(,)? }) => {
        /// What the first says, the second where it is silent.
        fn $or(first: &$of, second: &$of) -> $of {
            let silent = $of::default();
            let $of { $($field),* } = first;
            $of { $($field: if *$field == silent.$field { second.$field.clone() } else { $field.clone() }),* }
        }

        /// What the first says of what the second is silent about.
        fn $without(first: &$of, second: &$of) -> $of {
            let silent = $of::default();
            let $of { $($field),* } = second;
            $of { $($field: if *$field == silent.$field { first.$field.clone() } else { silent.$field }),* }
        }
    };
}

field_by_field!(
    or_subject,
    without_subject,
    Subject {
        identifiers,
        name,
        birth_date,
        sex,
        age,
        height,
        weight,
        race,
        systolic,
        diastolic,
        medications,
        history,
    }
);

field_by_field!(
    or_acquisition,
    without_acquisition,
    Acquisition {
        identifiers,
        start,
        operators,
        referring,
        requesting,
        confirming,
        institution,
        department,
        room,
        analysing_institution,
        analysing_department,
        recorder,
        analyser,
        filters,
        mains_hz,
        placement,
        urgency,
        order_number,
        sequence_number,
        indications,
        remarks,
    }
);

/// The stored amendments, as far as they are held against what is found.
#[derive(Deserialize)]
struct Stored {
    differences: serde_json::Value,
}

/// What a corrected bundle has besides, or lacks of, what its amendments say: `found` are the differences from its
/// original to its recording.
pub(crate) fn unlike_the_amendments(bundle: &Bundle, found: &[Difference]) -> Result<Vec<String>> {
    let stored: Stored = stored(bundle, AMENDMENTS)?;
    let found = serde_json::to_value(found)
        .map_err(|error| Error::new(Kind::Internal, "differences are no JSON").because(error))?;
    if found == stored.differences {
        return Ok(Vec::new());
    }
    Ok(vec!["original and recording differ otherwise than metadata/amendments.json says".to_owned()])
}

#[cfg(test)]
mod tests {
    use ecgkeep_recording::{Identifier, Person, PersonName};

    use super::*;

    fn filing() -> Filing {
        let mut filing = Filing::default();
        filing.subject.identifiers = vec![Identifier { value: "LM-2".into(), ..Identifier::default() }];
        filing.subject.name = PersonName::from_text("Edric Solveng");
        filing
    }

    #[test]
    fn of_a_wrong_patient_nothing_stays() {
        let was = ecgkeep_demo::every_field();
        let mut beside = Filing::default();
        beside.subject.birth_date = "1971-06-19".parse().ok();
        beside.acquisition.room = Some("Room 3".into());
        let right = filing();
        let (now, beside) = replaced(&was, Some(&beside), &right, Reason::WrongPatient);
        assert_eq!(now.subject, right.subject);
        assert_eq!((now.extras.len(), now.waveforms), (0, was.waveforms));
        let beside = beside.unwrap();
        assert_eq!(
            (beside.subject, beside.acquisition.room.as_deref()),
            (Subject::default(), Some("Room 3"))
        );
    }

    #[test]
    fn another_correction_replaces_what_it_names_and_nothing_else() {
        let was = ecgkeep_demo::every_field();
        let mut right = Filing::default();
        right.acquisition.operators = vec![Person::named("A. Brackwater")];
        let mut beside = Filing::default();
        beside.acquisition.operators = vec![Person::named("R. Quill")];
        let (now, beside) = replaced(&was, Some(&beside), &right, Reason::WrongOperator);
        assert_eq!(now.acquisition.operators, right.acquisition.operators);
        assert_eq!(now.subject, was.subject);
        assert_eq!(
            Acquisition { operators: was.acquisition.operators.clone(), ..now.acquisition },
            was.acquisition
        );
        assert_eq!(beside, None, "what was supplied of the wrong operator is gone with it");
    }

    #[test]
    fn a_correction_that_does_not_say_what_is_right_is_refused() {
        let silent = Filing::default();
        for (reason, code) in Reason::ALL {
            let error = says_what_it_is_about(&silent, *reason).unwrap_err();
            assert!(error.to_string().contains(code), "{error}");
        }
        assert!(says_what_it_is_about(&filing(), Reason::WrongPatient).is_ok());
    }
}
