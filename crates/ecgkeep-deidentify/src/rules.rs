//! What becomes of each field, after the idea of DICOM PS3.15 Annex E: one action a field, published as a table.

use std::fmt::Write as _;

use ecgkeep_recording::Field;

/// What is done to a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// It stays as it is.
    Keep,
    /// It is left out.
    Remove,
    /// Something consistent stands for it.
    Replace,
    /// The date is shifted or reduced to the year.
    Date,
    /// Only what an allow-list names stays.
    Clean,
}

impl Action {
    /// What was done: `removed`.
    #[must_use]
    pub fn past(self) -> &'static str {
        match self {
            Action::Keep => "kept",
            Action::Remove => "removed",
            Action::Replace => "replaced",
            Action::Date => "date shifted or reduced",
            Action::Clean => "cleaned",
        }
    }

    /// Its word in the table.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Action::Keep => "keep",
            Action::Remove => "remove",
            Action::Replace => "replace",
            Action::Date => "date",
            Action::Clean => "clean",
        }
    }
}

/// What becomes of a field, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    /// What is done.
    pub action: Action,
    /// What that means for this field.
    pub what: &'static str,
    /// Which class of 45 CFR 164.514(b)(2)(i) it may hold, by letter, or why it may stay.
    pub because: &'static str,
}

const fn rule_of(action: Action, what: &'static str, because: &'static str) -> Rule {
    Rule { action, what, because }
}

/// What becomes of a field. Exhaustive: no `_` arm, so that a new field does not compile until it is decided.
#[must_use]
pub fn rule(field: Field) -> Rule {
    use Action::{Clean, Date, Keep, Remove, Replace};
    match field {
        Field::SubjectIdentifier => rule_of(Replace, "one pseudonym in place of all", "(G) (H) (I) (J) (R)"),
        Field::SubjectName => rule_of(Remove, "", "(A)"),
        Field::BirthDate => rule_of(
            Date,
            "shifted with the patient's other dates, or the year alone; removed at 90 and above, and where the \
             recording's date is not known",
            "(C)",
        ),
        Field::Sex => rule_of(Clean, "a word of the source's own is removed", "no class"),
        Field::Age => rule_of(Clean, "90 a for all of 90 and above; only units of time", "(C)"),
        Field::Height | Field::Weight | Field::BloodPressure => {
            rule_of(Clean, "only in units of UCUM", "no class")
        }
        Field::Race | Field::Medication | Field::History | Field::Indication => {
            rule_of(Remove, "", "free text and the source's own codes")
        }
        Field::RecordingIdentifier | Field::OrderNumber | Field::SequenceNumber => {
            rule_of(Remove, "", "(J) (R)")
        }
        Field::StartDate => rule_of(Date, "shifted with the patient's other dates, or the year alone", "(C)"),
        Field::StartTime | Field::StartFraction | Field::StartOffset => {
            rule_of(Date, "kept where dates are shifted, removed where only the year stays", "(C)")
        }
        Field::Operator | Field::Referring | Field::Requesting | Field::Confirming => {
            rule_of(Remove, "", "(A) (R)")
        }
        Field::Institution
        | Field::Department
        | Field::Room
        | Field::AnalysingInstitution
        | Field::AnalysingDepartment => rule_of(Remove, "", "(B)"),
        Field::Recorder | Field::Analyser => rule_of(Remove, "", "(M), free text"),
        Field::HighPass | Field::LowPass | Field::Notch | Field::Mains => {
            rule_of(Keep, "", "a number of technique")
        }
        Field::FilterWords | Field::Placement | Field::Urgency => {
            rule_of(Remove, "", "free text and the source's own codes")
        }
        Field::Remark => rule_of(Replace, "one remark that states the method", "free text"),
        Field::Waveform => {
            rule_of(Clean, "a name of the source's own becomes `waveform 1` and so on", "free text")
        }
        Field::WaveformStart | Field::Rate | Field::Length | Field::LeadOrder => {
            rule_of(Keep, "under the new name where a waveform has one", "a number of technique")
        }
        Field::Lead => rule_of(
            Clean,
            "leads of the standard and usual names stay; another name becomes `signal 1` and so on",
            "free text",
        ),
        Field::Label => rule_of(Remove, "", "free text"),
        Field::SignalUnit => rule_of(Clean, "a unit that is not of UCUM becomes `unit`", "free text"),
        Field::Voltage | Field::Missing | Field::Derived | Field::Skew => {
            rule_of(Keep, "under the new name where a signal or waveform has one", "the samples themselves")
        }
        Field::Mark => rule_of(
            Clean,
            "place, lead and kind stay; labels and rhythm texts of the WFDB annotation codes stay, others and codes go",
            "free text",
        ),
        Field::Measurement => {
            rule_of(Clean, "measurements under the source's own name or unit are removed", "free text")
        }
        Field::MeasurementFormula => rule_of(Clean, "only formulas of the literature", "free text"),
        Field::Statement | Field::StatementStatus | Field::StatementAuthor | Field::StatementTime => {
            rule_of(Remove, "the whole statement", "(A) (C), free text")
        }
        Field::Extra => rule_of(Remove, "", "any class"),
    }
}

/// The table in Markdown, as schemas/deidentification.md shows it.
#[must_use]
pub fn rules_table() -> String {
    let mut table = String::from("| field | action | what that means | class, or why |\n|---|---|---|---|\n");
    for field in Field::ALL {
        let Rule { action, what, because } = rule(*field);
        // Writing to a String cannot fail.
        let _ = writeln!(table, "| {field} | {} | {what} | {because} |", action.name());
    }
    table
}
