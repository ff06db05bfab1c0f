//! What the source measured and stated; ecgkeep adds nothing of its own here.

use serde::{Deserialize, Serialize};

use crate::{CivilTime, Code, Exact, Lead, Person};

/// One measurement of the source.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Measurement {
    /// What was measured.
    pub kind: MeasurementKind,
    /// The value.
    pub value: Exact,
    /// The unit, UCUM: `ms`, `deg`, `/min`, `uV`.
    pub unit: String,
    /// Over what it was measured.
    #[serde(default)]
    pub scope: Scope,
    /// The formula where one matters, such as `Bazett` for a QTc; `None` where the source does not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub formula: Option<String>,
}

impl Measurement {
    /// A global measurement without a formula.
    #[must_use]
    pub fn global(kind: MeasurementKind, value: impl Into<Exact>, unit: &str) -> Measurement {
        Measurement { kind, value: value.into(), unit: unit.to_owned(), scope: Scope::Global, formula: None }
    }
}

/// Over what a measurement was made.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Scope {
    /// All leads and beats.
    #[default]
    Global,
    /// One lead.
    Lead(Lead),
    /// One beat, counted from 0.
    Beat(u32),
    /// One class of beats, counted from 0.
    BeatClass(u32),
}

/// What a [`Measurement`] measures.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum MeasurementKind {
    /// Heart rate (ventricular rate).
    HeartRate,
    /// Atrial rate.
    AtrialRate,
    /// RR interval.
    RrInterval,
    /// PP interval.
    PpInterval,
    /// P wave duration.
    PDuration,
    /// PR interval.
    PrInterval,
    /// QRS duration.
    QrsDuration,
    /// QT interval.
    QtInterval,
    /// Rate-corrected QT interval.
    QtcInterval,
    /// Frontal axis of the P wave.
    PAxis,
    /// Frontal axis of the QRS complex.
    QrsAxis,
    /// Frontal axis of the T wave.
    TAxis,
    /// Q wave duration.
    QDuration,
    /// R wave duration.
    RDuration,
    /// S wave duration.
    SDuration,
    /// P wave amplitude.
    PAmplitude,
    /// Q wave amplitude.
    QAmplitude,
    /// R wave amplitude.
    RAmplitude,
    /// S wave amplitude.
    SAmplitude,
    /// T wave amplitude.
    TAmplitude,
    /// Voltage at the J point.
    JAmplitude,
    /// Anything else, under the source's own name.
    Other(String),
}

impl MeasurementKind {
    /// The name as cardiology prints it.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            MeasurementKind::HeartRate => "heart rate",
            MeasurementKind::AtrialRate => "atrial rate",
            MeasurementKind::RrInterval => "RR",
            MeasurementKind::PpInterval => "PP",
            MeasurementKind::PDuration => "P duration",
            MeasurementKind::PrInterval => "PR",
            MeasurementKind::QrsDuration => "QRS",
            MeasurementKind::QtInterval => "QT",
            MeasurementKind::QtcInterval => "QTc",
            MeasurementKind::PAxis => "P axis",
            MeasurementKind::QrsAxis => "QRS axis",
            MeasurementKind::TAxis => "T axis",
            MeasurementKind::QDuration => "Q duration",
            MeasurementKind::RDuration => "R duration",
            MeasurementKind::SDuration => "S duration",
            MeasurementKind::PAmplitude => "P amplitude",
            MeasurementKind::QAmplitude => "Q amplitude",
            MeasurementKind::RAmplitude => "R amplitude",
            MeasurementKind::SAmplitude => "S amplitude",
            MeasurementKind::TAmplitude => "T amplitude",
            MeasurementKind::JAmplitude => "J amplitude",
            MeasurementKind::Other(name) => name,
        }
    }
}

/// One statement of the source about the recording, by a program or a person.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Statement {
    /// The text, word for word.
    pub text: String,
    /// Codes that say the same.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub codes: Vec<Code>,
    /// Whether a person has confirmed it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub status: Option<StatementStatus>,
    /// Who made it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub author: Option<Person>,
    /// When it was made or confirmed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<CivilTime>,
}

/// How far a statement has been confirmed.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum StatementStatus {
    /// As the program made it; not over-read.
    Unconfirmed,
    /// Over-read, not confirmed.
    OverRead,
    /// Confirmed.
    Confirmed,
}
