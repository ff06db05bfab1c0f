//! Names, identifiers, codes and quantities: the small parts that several others share.

use serde::{Deserialize, Serialize};

use crate::Exact;

/// An identifier and who assigned it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Identifier {
    /// The identifier itself, word for word.
    pub value: String,
    /// Who assigned it: an organisation, or an OID.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assigner: Option<String>,
    /// What it identifies or is for, such as `medical record number`, `trial` or `site`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
}

/// A person's name, in the parts that the source keeps apart, or as one text.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct PersonName {
    /// The whole name where the source does not separate its parts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// Family name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub family: Option<String>,
    /// Second family name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub second_family: Option<String>,
    /// Given name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub given: Option<String>,
    /// Middle name or names.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub middle: Option<String>,
    /// Title before the name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prefix: Option<String>,
    /// Part after the name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub suffix: Option<String>,
}

impl PersonName {
    /// A name given as one text.
    #[must_use]
    pub fn from_text(text: impl Into<String>) -> PersonName {
        PersonName { text: Some(text.into()), ..PersonName::default() }
    }

    /// Whether no part is stated.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == PersonName::default()
    }

    /// The name on one line: the whole text, or prefix, given, middle, family and suffix.
    #[must_use]
    pub fn line(&self) -> String {
        if let Some(text) = &self.text {
            return text.clone();
        }
        let parts =
            [&self.prefix, &self.given, &self.middle, &self.family, &self.second_family, &self.suffix];
        parts.into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join(" ")
    }
}

/// A person with a part in the recording: the operator, a physician.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Person {
    /// The person's name.
    #[serde(skip_serializing_if = "PersonName::is_empty")]
    pub name: PersonName,
    /// A staff number or other identifier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<Identifier>,
}

impl Person {
    /// A person known by one text.
    #[must_use]
    pub fn named(text: impl Into<String>) -> Person {
        Person { name: PersonName::from_text(text), id: None }
    }

    /// The name on one line, with the identifier in brackets; the identifier alone where there is no name.
    #[must_use]
    pub fn line(&self) -> String {
        match (self.name.line(), &self.id) {
            (name, None) => name,
            (name, Some(id)) if name.is_empty() => id.value.clone(),
            (name, Some(id)) => format!("{name} ({})", id.value),
        }
    }
}

/// One code of a code system.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Code {
    /// The code system: an OID or a plain name such as `SCP-ECG`.
    pub system: String,
    /// The code, word for word.
    pub value: String,
    /// What the source says the code means.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub meaning: Option<String>,
}

/// A text, its codes, or both.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct Coded {
    /// The text, word for word.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// Codes that say the same.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub codes: Vec<Code>,
}

impl Coded {
    /// A text without codes.
    #[must_use]
    pub fn from_text(text: impl Into<String>) -> Coded {
        Coded { text: Some(text.into()), codes: Vec::new() }
    }

    /// Whether neither text nor code is stated.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Coded::default()
    }
}

/// A value with its unit.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Quantity {
    /// The value.
    pub value: Exact,
    /// The unit in UCUM case-sensitive form: `a` (year), `mo`, `wk`, `d`, `h`, `cm`, `kg`, `mm[Hg]`, `ms`, `uV`,
    /// `nV`, `deg`, `/min`, `Hz`. A unit that UCUM does not have is kept as the source spells it.
    pub unit: String,
}

impl Quantity {
    /// A value in a unit.
    #[must_use]
    pub fn new(value: impl Into<Exact>, unit: impl Into<String>) -> Quantity {
        Quantity { value: value.into(), unit: unit.into() }
    }
}

impl std::fmt::Display for Quantity {
    /// `72 /min`; a pure number (UCUM unit `1`) without its unit.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.unit.as_str() {
            "1" => f.pad(&self.value.to_string()),
            unit => f.pad(&format!("{} {unit}", self.value)),
        }
    }
}
