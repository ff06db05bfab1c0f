//! Inputs from a list, and a part of them for one of several processes.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};
use std::str::FromStr;

use ecgkeep_format::{Error, Kind, Place, Result};
use serde::Deserialize;

use crate::input::Found;

/// One line of a list that is JSON.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    index: Option<u64>,
    path: PathBuf,
    sha256: Option<String>,
}

/// The inputs of a list: one path a line, or one JSON object a line (a line that begins with `{`; shape:
/// schemas/manifest.schema.json). Empty lines are passed over. Paths are relative to the present folder, and
/// mirrored as they stand there. `name` is for errors.
/// # Errors
/// [`Kind::Malformed`] with the line for JSON of another shape, [`Kind::Usage`] for an index that stands twice.
pub fn parse_manifest(name: &str, text: &str) -> Result<Vec<Found>> {
    let (mut found, mut seen) = (Vec::new(), BTreeMap::new());
    for (text, line) in text.lines().zip(1u64..) {
        let place = || Place::file(name).line(line);
        if text.trim().is_empty() {
            continue;
        }
        let read: Line = if text.trim_start().starts_with('{') {
            serde_json::from_str(text).map_err(|error| {
                Error::malformed(place(), "not an input").because(error).remedy(
                    "write {\"path\": \"...\"}, with \"index\" (a number) and \"sha256\" (of the file) as you like",
                )
            })?
        } else {
            Line { index: None, path: PathBuf::from(text), sha256: None }
        };
        let number = read.index.unwrap_or(found.len() as u64 + 1);
        if let Some(before) = seen.insert(number, line) {
            return Err(
                Error::new(Kind::Usage, format!("index {number} stands on line {before}, too")).at(place())
            );
        }
        let is_digest = |text: &String| text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
        if read.sha256.as_ref().is_some_and(|digest| !is_digest(digest)) {
            return Err(Error::malformed(place(), "sha256 is not 64 hexadecimal digits"));
        }
        let below = plain_parts(&read.path);
        let sha256 = read.sha256.map(|digest| digest.to_ascii_lowercase());
        found.push(Found { path: read.path, below, number, sha256 });
    }
    Ok(found)
}

/// The folders and the name of a path, without root, `.` and `..`.
fn plain_parts(path: &Path) -> PathBuf {
    path.components().filter(|part| matches!(part, Component::Normal(_))).collect()
}

/// One of several equal parts of the inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    number: u64,
    of: u64,
}

impl Shard {
    /// Whether an input of this number belongs to it.
    #[must_use]
    pub fn holds(self, number: u64) -> bool {
        number % self.of == self.number % self.of
    }
}

impl std::fmt::Display for Shard {
    /// `3-of-8`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}-of-{}", self.number, self.of)
    }
}

impl FromStr for Shard {
    type Err = String;

    /// `3/8`, from `1/8` to `8/8`.
    fn from_str(text: &str) -> std::result::Result<Shard, String> {
        let (number, of) = text.split_once('/').unwrap_or_default();
        match (number.parse(), of.parse()) {
            (Ok(number @ 1..), Ok(of)) if number <= of => Ok(Shard { number, of }),
            _ => Err("write I/N, from 1/N to N/N".to_owned()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_lines_and_json_lines_name_inputs() {
        let digest = "AB".repeat(32);
        let text = format!(
            "ward/a.hea\n\n  \n/data/../b.scp\n{{\"index\": 7, \"path\": \"c.xml\", \"sha256\": \"{digest}\"}}\n"
        );
        let found = parse_manifest("list", &text).unwrap();
        let of = |at: usize| {
            let Found { path, below, number, sha256 } = &found[at];
            (path.display().to_string(), below.display().to_string(), *number, sha256.clone())
        };
        assert_eq!(of(0), ("ward/a.hea".into(), "ward/a.hea".into(), 1, None));
        assert_eq!(of(1), ("/data/../b.scp".into(), "data/b.scp".into(), 2, None));
        assert_eq!(of(2), ("c.xml".into(), "c.xml".into(), 7, Some("ab".repeat(32))));
    }

    #[test]
    fn a_wrong_line_is_named() {
        for (text, expected) in [
            ("a\n{\"file\": 1}", "list, line 2: not an input"),
            ("{\"index\":2,\"path\":\"a\"}\nb", "list, line 2: index 2 stands on line 1, too"),
            ("{\"path\":\"a\",\"sha256\":\"12\"}", "list, line 1: sha256 is not 64 hexadecimal digits"),
        ] {
            let error = parse_manifest("list", text).unwrap_err().to_string();
            assert!(error.starts_with(expected), "{error}");
        }
    }

    #[test]
    fn every_input_is_in_exactly_one_shard() {
        let shards: Vec<Shard> = (1..=3).map(|number| format!("{number}/3").parse().unwrap()).collect();
        for number in 0..20 {
            assert_eq!(shards.iter().filter(|shard| shard.holds(number)).count(), 1);
        }
        for wrong in ["0/3", "4/3", "1", "a/b", "1/0", "-1/2"] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
    }
}
