//! Arguments whose words completions and help offer.

use std::ffi::OsStr;

use clap::builder::{PossibleValue, StringValueParser, TypedValueParser};
use clap::{Arg, Command, Error};

/// Offers words and takes any: what is wrong with one is said where it is used.
#[derive(Clone)]
pub struct Offered(pub fn() -> Vec<&'static str>);

impl TypedValueParser for Offered {
    type Value = String;

    fn parse_ref(&self, command: &Command, arg: Option<&Arg>, value: &OsStr) -> Result<String, Error> {
        StringValueParser::new().parse_ref(command, arg, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new((self.0)().into_iter().map(PossibleValue::new)))
    }
}

/// The ids of all formats.
pub fn formats() -> Vec<&'static str> {
    ecgkeep::FORMATS.iter().map(|format| format.about().id).collect()
}

/// The codes of all findings.
pub fn codes() -> Vec<&'static str> {
    ecgkeep::checks::RULES.iter().map(|rule| rule.code).collect()
}
