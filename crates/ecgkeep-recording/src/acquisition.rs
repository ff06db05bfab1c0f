//! When, where, by whom and with what a recording was made.

use serde::{Deserialize, Serialize};

use crate::{CivilTime, Coded, Exact, Identifier, Person};

/// What the source says of the making of the recording.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Acquisition {
    /// Identifiers of the recording itself and of the trial or site it was made for; `kind` says which.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub identifiers: Vec<Identifier>,
    /// When the first sample was taken.
    #[serde(skip_serializing_if = "CivilTime::is_empty")]
    pub start: CivilTime,
    /// Who recorded it: nurse, technician.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub operators: Vec<Person>,
    /// Referring physicians.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub referring: Vec<Person>,
    /// Who asked for the recording.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub requesting: Vec<Person>,
    /// Who confirmed it (over-read it).
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub confirming: Vec<Person>,
    /// The institution that recorded it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub institution: Option<String>,
    /// The department that recorded it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub department: Option<String>,
    /// Room or bed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub room: Option<String>,
    /// The institution that analysed it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub analysing_institution: Option<String>,
    /// The department that analysed it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub analysing_department: Option<String>,
    /// The recording device.
    #[serde(skip_serializing_if = "Device::is_empty")]
    pub recorder: Device,
    /// The analysing device.
    #[serde(skip_serializing_if = "Device::is_empty")]
    pub analyser: Device,
    /// Filters that the source declares to have applied.
    #[serde(skip_serializing_if = "Filters::is_empty")]
    pub filters: Filters,
    /// Mains frequency in hertz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mains_hz: Option<Exact>,
    /// Where the electrodes were placed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub placement: Option<Coded>,
    /// Urgency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub urgency: Option<Coded>,
    /// Order (accession) number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order_number: Option<String>,
    /// Sequence number of the recording.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sequence_number: Option<String>,
    /// Why the recording was asked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub indications: Vec<Coded>,
    /// Remarks, in the order of the source.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<String>,
}

/// A device, as far as the source names it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Device {
    /// Manufacturer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub manufacturer: Option<String>,
    /// Model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// Serial number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Software and its version.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub software: Option<String>,
    /// An identifier that the institution gave it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
}

impl Device {
    /// Whether nothing is stated.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Device::default()
    }
}

/// Filters that the source declares; the samples are as the source stores them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Filters {
    /// High-pass corner in hertz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub high_pass_hz: Option<Exact>,
    /// Low-pass corner in hertz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_pass_hz: Option<Exact>,
    /// Notch frequencies in hertz.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notch_hz: Vec<Exact>,
    /// What the source says of its filters in words.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub described: Vec<String>,
}

impl Filters {
    /// Whether nothing is stated.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Filters::default()
    }
}
