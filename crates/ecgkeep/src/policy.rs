//! A policy from a file.

use std::path::Path;

use ecgkeep_checks::{Policy, PolicyFault};
use ecgkeep_format::{Error, Kind, Place, Result};
use toml::de::DeTable;

/// The shipped policy as TOML, every entry with its meaning and value: what a policy file may name.
#[must_use]
pub fn shipped_policy() -> String {
    // Numbers, texts and lists always serialise.
    let values = toml::to_string(&Policy::default()).unwrap_or_default();
    let mut text = HEAD.to_owned();
    for line in values.lines() {
        let name = line.split(' ').next().unwrap_or_default();
        if let Some(term) = Policy::TERMS.iter().find(|term| term.name == name) {
            text.push_str(&comment(term.about));
        }
        text.push_str(line);
        text.push('\n');
    }
    text
}

const HEAD: &str = "# A policy of ecgkeep: thresholds and switches of the technical checks. A file names only what differs from
# the shipped policy below, and a name and version of its own. \"Project choice\" marks a number for which no published
# limit was found: someone at the place of use must own it. Technical checks only, not a diagnosis.
";

/// The text in comment lines of at most 118 characters, after an empty line.
fn comment(text: &str) -> String {
    let mut lines = String::from("\n#");
    let mut width = 1;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if width + 1 + length > 118 {
            lines.push_str("\n#");
            width = 1;
        }
        lines.push(' ');
        lines.push_str(word);
        width += 1 + length;
    }
    lines.push('\n');
    lines
}

/// Reads a policy from a TOML file; what it does not name keeps the value of the shipped policy.
/// # Errors
/// [`Kind::Io`], or [`Kind::Malformed`] with the line: for what is no TOML or no entry of a policy, for a value that
/// no rule can be judged by, and for a policy that differs from the shipped one under its name.
pub fn policy_from(path: &Path) -> Result<Policy> {
    let name = path.display().to_string();
    let failed =
        |error: std::io::Error| Error::new(Kind::Io, "cannot read").at(Place::file(&name)).because(error);
    let text = std::fs::read_to_string(path).map_err(failed)?;
    let at = |line: Option<u64>| Place { line, ..Place::file(&name) };
    let policy: Policy = toml::from_str(&text).map_err(|error| {
        let line = error.span().map(|span| line_at(&text, span.start));
        Error::malformed(at(line), format!("not a policy: {}", error.message()))
            .remedy("`ecgkeep explain --shipped-policy` shows every entry with its unit")
    })?;
    match policy.faults().into_iter().next() {
        Some(fault) => Err(Error::malformed(at(line_of(&text, &fault)), fault.text).remedy(fault.remedy)),
        None => Ok(policy),
    }
}

/// The line of the entry that a fault concerns, the last of them where there are several; `None` where the file names
/// none of them.
fn line_of(text: &str, fault: &PolicyFault) -> Option<u64> {
    let table = DeTable::parse(text).ok()?;
    let named = table.get_ref().iter().filter(|(key, _)| fault.terms.contains(&key.get_ref().as_ref()));
    named.map(|(key, _)| line_at(text, key.span().start)).max()
}

/// The line that holds a byte, counted from 1.
fn line_at(text: &str, byte: usize) -> u64 {
    let before = text.as_bytes().iter().take(byte);
    1 + before.filter(|byte| **byte == b'\n').count() as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Policy> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("policy.toml");
        std::fs::write(&path, text).expect("can be written");
        policy_from(&path)
    }

    #[test]
    fn the_shipped_policy_reads_back_as_it_is() {
        let text = shipped_policy();
        assert_eq!(toml::from_str::<Policy>(&text).expect("a policy"), Policy::default());
        assert!(text.lines().all(|line| line.chars().count() <= 118 || !line.starts_with('#')), "{text}");
        let commented = text.lines().filter(|line| line.starts_with("# ")).count();
        assert!(commented >= Policy::TERMS.len());
        assert_eq!(read(&text).expect("a policy"), Policy::default());
    }

    #[test]
    fn a_value_that_no_rule_can_be_judged_by_is_refused_with_its_line_and_a_remedy() {
        for (text, line, words) in [
            ("name = \"ours\"\n\nflat_seconds_at_most = -1", 3, "flat_seconds_at_most is -1"),
            ("name = \"ours\"\n'hum_uv_warn' = nan", 2, "hum_uv_warn is NaN"),
            ("name = \"ours\"\nhum_uv_warn = inf", 2, "hum_uv_warn is inf"),
            (
                "name = \"ours\"\nhum_uv_note = 90\n# louder\nhum_uv_warn = 80",
                4,
                "hum_uv_note is 90 and hum_uv_warn is 80",
            ),
            ("hum_uv_warn = 80\nname = \"resting-adult\"", 2, "bears the name of the shipped one"),
            ("name = \"ours\"\noff = [\"no-such-rule\"]", 2, "no-such-rule, which is no rule"),
            ("name = \"ours\"\nhum = 80", 2, "unknown field `hum`"),
            ("name = \"ours\"\nidentifiers_at_least = -1", 2, "not a policy"),
            ("name = \"ours\"\nidentifiers_at_least = 4", 2, "a number from 0 to 3"),
        ] {
            let error = read(text).expect_err(text);
            assert_eq!((error.kind(), error.place().line), (Kind::Malformed, Some(line)), "{error}");
            assert!(error.to_string().contains(words), "{error}");
            assert!(error.what_to_do().is_some(), "{error}");
        }
        // The name is not in the file: no line can be named.
        let error = read("hum_uv_warn = 80").expect_err("the shipped name");
        assert_eq!(error.place().line, None);
    }
}
