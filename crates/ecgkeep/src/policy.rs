//! A policy from a file.

use std::path::Path;

use ecgkeep_checks::Policy;
use ecgkeep_format::{Error, Kind, Place, Result};

/// The shipped policy as TOML, every threshold with its value: what a policy file may name.
#[must_use]
pub fn shipped_policy() -> String {
    // Numbers, texts and lists always serialise.
    toml::to_string(&Policy::default()).unwrap_or_default()
}

/// Reads a policy from a TOML file; what it does not name keeps the value of the shipped policy.
/// # Errors
/// [`Kind::Io`], or [`Kind::Malformed`] with the line, or for a code that is no rule.
pub fn policy_from(path: &Path) -> Result<Policy> {
    let name = path.display().to_string();
    let failed =
        |error: std::io::Error| Error::new(Kind::Io, "cannot read").at(Place::file(&name)).because(error);
    let text = std::fs::read_to_string(path).map_err(failed)?;
    let policy: Policy = toml::from_str(&text).map_err(|error| {
        let line =
            error.span().map(|span| 1 + text[..span.start.min(text.len())].matches('\n').count() as u64);
        Error::malformed(Place { line, ..Place::file(&name) }, format!("not a policy: {}", error.message()))
    })?;
    match policy.unknown_codes().first() {
        Some(code) => {
            Err(Error::malformed(Place::file(&name), format!("switches off {code}, which is no rule"))
                .remedy("`ecgkeep explain` lists the codes"))
        }
        None => Ok(policy),
    }
}
