//! The person whose heart was recorded.

use serde::{Deserialize, Serialize};

use crate::{Coded, Identifier, PartialDate, PersonName, Quantity};

/// What the source says of the patient.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Subject {
    /// Identifiers, the one the source puts first in front.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub identifiers: Vec<Identifier>,
    /// The name.
    #[serde(skip_serializing_if = "PersonName::is_empty")]
    pub name: PersonName,
    /// Date of birth, to the precision given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub birth_date: Option<PartialDate>,
    /// Sex as recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sex: Option<Sex>,
    /// Age as stated; never computed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub age: Option<Quantity>,
    /// Height.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height: Option<Quantity>,
    /// Weight.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weight: Option<Quantity>,
    /// Race, as coded or worded by the source.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub race: Option<Coded>,
    /// Systolic blood pressure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub systolic: Option<Quantity>,
    /// Diastolic blood pressure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diastolic: Option<Quantity>,
    /// Medications.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub medications: Vec<Coded>,
    /// Medical history.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub history: Vec<Coded>,
}

/// Sex as a source records it.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
    /// Stated to be neither, or undifferentiated.
    Undifferentiated,
    /// The source says that it is not known (which is more than being silent).
    Unknown,
    /// The source's own word or code.
    Other(String),
}
