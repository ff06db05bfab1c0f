//! What a person looks for.

use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::PartialDate;
use serde::Deserialize;
use unicode_normalization::UnicodeNormalization as _;

/// Terms that a recording must fulfil, all of them; one that is `None` asks for nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Query {
    /// Key of the recording, or its first digits.
    pub key: Option<String>,
    /// An identifier of the patient, whole; upper and lower case are the same.
    pub identifier: Option<String>,
    /// Words that words of the patient's name begin with; case and accents do not matter.
    pub name: Option<String>,
    /// Birth date as recorded.
    pub born: Option<PartialDate>,
    /// The first day it may have been recorded on.
    pub from: Option<PartialDate>,
    /// The last day.
    pub to: Option<PartialDate>,
    /// Words that words of an operator's name or code begin with.
    pub operator: Option<String>,
    /// The code of a finding that FAILs or WARNs.
    pub finding: Option<String>,
    /// What the checks came to.
    pub verdict: Option<Verdict>,
    /// A SHA-256: of the bundle, of a source file, or the recording's fingerprint.
    pub digest: Option<String>,
    /// An order number, whole.
    pub order: Option<String>,
}

/// What the checks of a recording came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// At least one FAIL.
    Fail,
    /// No FAIL, at least one WARN.
    Warn,
    /// Neither.
    Clear,
}

impl Verdict {
    /// The word in the catalogue.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Fail => "fail",
            Verdict::Warn => "warn",
            Verdict::Clear => "clear",
        }
    }
}

impl Query {
    /// Reads a query from TOML or JSON text; `name` is for errors, which never repeat the text.
    /// # Errors
    /// [`Kind::Usage`].
    pub fn parse(name: &str, text: &str) -> Result<Query> {
        let wrong = |line: Option<u64>| {
            Error::new(Kind::Usage, "not a query: a name or a value that is not known")
                .at(Place { line, ..Place::file(name) })
                .remedy("lines such as identifier = \"...\"; names are those of the options of find")
        };
        if text.trim_start().starts_with('{') {
            return serde_json::from_str(text).map_err(|error| wrong(Some(error.line() as u64)));
        }
        toml::from_str(text).map_err(|error| {
            wrong(error.span().map(|at| 1 + text[..at.start.min(text.len())].matches('\n').count() as u64))
        })
    }

    /// Whether nothing is asked for.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Query::default()
    }

    /// The terms of `other` where this query has none.
    #[must_use]
    pub fn or(self, other: Query) -> Query {
        Query {
            key: self.key.or(other.key),
            identifier: self.identifier.or(other.identifier),
            name: self.name.or(other.name),
            born: self.born.or(other.born),
            from: self.from.or(other.from),
            to: self.to.or(other.to),
            operator: self.operator.or(other.operator),
            finding: self.finding.or(other.finding),
            verdict: self.verdict.or(other.verdict),
            digest: self.digest.or(other.digest),
            order: self.order.or(other.order),
        }
    }
}

/// A text as it is compared: compatibility forms and accents taken off (Unicode Standard Annex 15), lower case,
/// no white space at the edges.
#[must_use]
pub fn folded(text: &str) -> String {
    text.nfkd()
        .filter(|c| !unicode_normalization::char::is_combining_mark(*c))
        .flat_map(char::to_lowercase)
        .collect::<String>()
        .trim()
        .to_owned()
}

/// The words of a text, folded.
#[cfg(any(test, feature = "catalogue"))]
pub(crate) fn words(text: &str) -> Vec<String> {
    let text = folded(text);
    let words = text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    words.map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_and_accents_do_not_matter() {
        assert_eq!(folded(" Ångström "), "angstrom");
        assert_eq!(words("O'Rourke-Dvořák, Jana"), ["o", "rourke", "dvorak", "jana"]);
    }

    #[test]
    fn a_query_is_toml_or_json_and_a_wrong_one_is_not_repeated() {
        let toml =
            Query::parse("-", "identifier = \"LM-1\"\nfrom = \"2026-03\"\nverdict = \"fail\"").unwrap();
        assert_eq!(toml.verdict, Some(Verdict::Fail));
        let json = Query::parse("-", r#"{"identifier":"LM-1","from":"2026-03","verdict":"fail"}"#).unwrap();
        assert_eq!(toml, json);
        let error = Query::parse("q.toml", "\nnaem = \"Tallowfield\"").unwrap_err().to_string();
        assert!(error.starts_with("q.toml, line 2: not a query") && !error.contains("Tallow"), "{error}");
    }
}
