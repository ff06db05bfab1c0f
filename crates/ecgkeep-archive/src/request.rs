//! A request to destroy recordings: a text that two people sign.

use std::collections::HashSet;

use ecgkeep_format::{Error, Kind, Result};

use crate::note::Note;
use crate::word::{Code, Digest, Key};

/// The first line of a request.
const FIRST_LINE: &str = "ecgkeep-destruction/1";

/// What shall be destroyed, and under which rule of which adopted schedule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Request {
    /// The archive's origin.
    pub origin: String,
    /// The rule of the schedule.
    pub rule: Code,
    /// The schedule's digest.
    pub schedule: Digest,
    /// The recordings, each once.
    pub keys: Vec<Key>,
}

impl Request {
    /// The text to sign.
    #[must_use]
    pub fn note(&self) -> Note {
        let Request { origin, rule, schedule, keys } = self;
        let keys: String = keys.iter().map(|key| format!("{key}\n")).collect();
        let text = format!("{FIRST_LINE}\n{origin}\nrule {rule}\nschedule {schedule}\n{keys}");
        Note { text, signatures: Vec::new() }
    }

    /// Reads the text of a note.
    /// # Errors
    /// [`Kind::Malformed`].
    pub fn of(note: &Note) -> Result<Request> {
        let malformed =
            |what: &str| Error::new(Kind::Malformed, what).clause("schemas/archive.md, Destruction");
        let mut lines = note.text.lines();
        if lines.next() != Some(FIRST_LINE) {
            return Err(malformed("not a request to destroy: its first line is another"));
        }
        let origin = lines.next().unwrap_or_default().to_owned();
        let rule = lines.next().and_then(|line| line.strip_prefix("rule ")?.parse().ok());
        let schedule = lines.next().and_then(|line| line.strip_prefix("schedule ")?.parse().ok());
        let (Some(rule), Some(schedule)) = (rule, schedule) else {
            return Err(malformed("a request names a rule and the digest of a schedule"));
        };
        let keys: Vec<Key> = lines
            .map(|line| line.parse().ok())
            .collect::<Option<_>>()
            .ok_or_else(|| malformed("a request names its recordings by key, one a line"))?;
        let once: HashSet<&Key> = keys.iter().collect();
        if keys.is_empty() || once.len() < keys.len() {
            return Err(malformed("a request names at least one recording, and each once"));
        }
        Ok(Request { origin, rule, schedule, keys })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_request_has_one_text() {
        let key = |last: char| format!("3f9c0000000000000000000000000a0{last}").parse().unwrap();
        let request = Request {
            origin: "larkmoor.example/ecg".into(),
            rule: "adults-10-years".parse().unwrap(),
            schedule: Digest::of(b"schedule"),
            keys: vec![key('1'), key('2')],
        };
        assert_eq!(Request::of(&request.note()).unwrap(), request);
        let twice = Request { keys: vec![key('1'), key('1')], ..request.clone() };
        assert!(Request::of(&twice.note()).is_err());
        assert!(Request::of(&Request { keys: vec![], ..request }.note()).is_err());
    }
}
