//! Second ways of writing, where a format has them.

use std::collections::BTreeMap;

use crate::{Error, Kind, Result};

/// One option of a format's writer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OptionSpec {
    /// The name, lower case with hyphens.
    pub name: &'static str,
    /// The values it may take.
    pub values: &'static [&'static str],
    /// The value it has where none is given; one of `values`.
    pub default: &'static str,
    /// What it does, in one sentence.
    pub help: &'static str,
}

/// Chosen values, by name of the option.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Options(BTreeMap<String, String>);

impl Options {
    /// Chooses a value.
    #[must_use]
    pub fn with(mut self, name: impl Into<String>, value: impl Into<String>) -> Options {
        self.0.insert(name.into(), value.into());
        self
    }

    /// The value of an option: the chosen one or its default.
    #[must_use]
    pub fn get<'a>(&'a self, spec: &'a OptionSpec) -> &'a str {
        self.0.get(spec.name).map_or(spec.default, String::as_str)
    }

    /// Whether every chosen option is one of `specs` with one of its values.
    /// # Errors
    /// [`Kind::Usage`] that names the option and what it may be.
    pub fn check(&self, format: &str, specs: &[OptionSpec]) -> Result<()> {
        for (name, value) in &self.0 {
            let Some(spec) = specs.iter().find(|spec| spec.name == name) else {
                let names: Vec<&str> = specs.iter().map(|spec| spec.name).collect();
                let known = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
                return Err(Error::new(Kind::Usage, format!("{format} has no option {name}"))
                    .remedy(format!("options of {format}: {known}")));
            };
            if !spec.values.contains(&value.as_str()) {
                return Err(Error::new(Kind::Usage, format!("option {name} of {format} cannot be {value}"))
                    .remedy(format!("use one of {}", spec.values.join(", "))));
            }
        }
        Ok(())
    }
}
