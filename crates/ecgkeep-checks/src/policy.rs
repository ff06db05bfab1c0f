//! The thresholds, all in one place.

use serde::{Deserialize, Serialize};

/// Thresholds and switches of the rules. The default is `resting-adult`; a policy file (TOML) states only what
/// differs from it.
///
/// "project choice" marks a number for which no published limit was found: someone at the place of use must own
/// it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Policy {
    /// The policy's name, printed with every answer.
    pub name: String,
    /// The policy's version, printed with every answer.
    pub version: String,
    /// Codes of rules that are not judged, such as `identity-operator`.
    pub off: Vec<String>,
    /// How many of identifier, name and birth date must be stated. Two: the two-identifier rule (Joint Commission
    /// NPSG.01.01.01; WHO Patient Identification 2007; from memory).
    pub identifiers_at_least: usize,
    /// Whether a patient without these identifiers may be recorded (emergency): then a WARN, marked UNIDENTIFIED.
    pub unidentified_allowed: bool,
    /// Words that stand for no name, identifier or operator, compared without regard to case (common practice, no
    /// source).
    pub placeholders: Vec<String>,
    /// Hours by which the acquisition may lie after now (clocks and time zones differ); project choice.
    pub future_hours_at_most: f64,
}

impl Default for Policy {
    fn default() -> Policy {
        Policy {
            name: "resting-adult".to_owned(),
            version: "1".to_owned(),
            off: Vec::new(),
            identifiers_at_least: 2,
            unidentified_allowed: false,
            placeholders: PLACEHOLDERS.iter().map(|word| (*word).to_owned()).collect(),
            future_hours_at_most: 24.0,
        }
    }
}

impl Policy {
    /// Whether the rule of this code is not to be judged.
    #[must_use]
    pub fn is_off(&self, code: &str) -> bool {
        self.off.iter().any(|off| off == code)
    }

    /// Codes in `off` that no rule has: a misspelling that would leave a rule on unnoticed.
    #[must_use]
    pub fn unknown_codes(&self) -> Vec<&str> {
        self.off.iter().map(String::as_str).filter(|code| crate::rule(code).is_none()).collect()
    }

    /// Whether a text states something: not empty, not only punctuation or zeros, not one of the placeholders.
    #[must_use]
    pub fn is_stated(&self, text: &str) -> bool {
        let text = text.trim();
        let is_filler = text.chars().all(|c| c == '0' || !c.is_alphanumeric());
        !is_filler && !self.placeholders.iter().any(|word| word.to_lowercase() == text.to_lowercase())
    }
}

/// Words found where a name was asked for (common practice, no source).
const PLACEHOLDERS: &[&str] = &[
    "unknown",
    "unk",
    "unnamed",
    "anonymous",
    "anonymized",
    "anonymised",
    "none",
    "n/a",
    "na",
    "nil",
    "null",
    "test",
    "test patient",
    "patient",
    "demo",
    "default",
    "operator",
    "user",
    "admin",
    "tbd",
    "x",
    "xx",
    "xxx",
    "xxxx",
    "xxxxx",
    "no name",
    "not known",
    "not stated",
    "unspecified",
    "undefined",
];
