//! One line of the journal (schemas/archive.md, "Journal").

use std::fmt::Write as _;
use std::str::FromStr;

use ecgkeep_format::{Error, Kind, Place, Result};
use serde::Deserialize;

use crate::word::{Code, Digest, Key, Moment};

/// A line is at most this long, without its line feed.
pub const LONGEST_LINE: usize = 1024;

/// A line of the journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its index, from 0.
    pub index: u64,
    /// When the committer took it; never earlier than the line before.
    pub at: Moment,
    /// What happened.
    pub event: Event,
    /// To what, by whom, why.
    pub about: About,
}

/// The members of a line besides index, time and event; each event has its own ([`Event::members`]).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct About {
    /// Key of the recording.
    pub key: Option<Key>,
    /// Revision, from 1.
    pub revision: Option<u32>,
    /// SHA-256 of the whole file the event is about.
    pub sha256: Option<Digest>,
    /// Its length in bytes.
    pub bytes: Option<u64>,
    /// Who.
    pub by: Option<Code>,
    /// Who authorised it, or under which authority (`for`).
    pub authority: Option<Code>,
    /// A reason.
    pub why: Option<Code>,
    /// Who receives it.
    pub to: Option<Code>,
    /// The rule of the schedule.
    pub rule: Option<Code>,
    /// Index of an earlier line that this one is about.
    pub of: Option<u64>,
}

/// A member of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Member {
    /// `k`
    Key,
    /// `r`
    Revision,
    /// `r`, unless it is about a quarantined source
    MaybeRevision,
    /// `z`
    Sha256,
    /// `n`
    Bytes,
    /// `by`
    By,
    /// `for`
    Authority,
    /// `why`
    Why,
    /// `to`
    To,
    /// `rule`
    Rule,
    /// `of`
    Of,
    /// `of`, where there is one
    MaybeOf,
}

macro_rules! events {
    ($($event:ident $word:literal $premis:expr, $doc:literal: $($member:ident)*;)*) => {
        /// What a line says.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[non_exhaustive]
        pub enum Event { $(#[doc = $doc] $event),* }

        const EVENTS: &[(Event, &str, Option<&str>, &[Member])] =
            &[$((Event::$event, $word, $premis, &[$(Member::$member),*])),*];
    };
}

events! {
    Made "made" Some("creation"), "The archive was made; always line 0.": Sha256 Bytes By;
    Filed "filed" Some("ingestion end"), "Revision 1 is filed.": Key Revision Sha256 Bytes By;
    Corrected "corrected" Some("metadata modification"), "A later revision is filed.":
        Key Revision Sha256 Bytes By Authority Why Of;
    Quarantined "quarantined" Some("quarantine"), "An unreadable source is kept.": Key Sha256 Bytes By Why;
    Read "read" Some("ingestion end"), "A quarantined source was read after all.": Key By Of;
    Viewed "viewed" Some("dissemination"), "A copy or a page was handed to the person who asked.":
        Key Revision By Why;
    Exported "exported" Some("dissemination"), "A copy was written for handing over.":
        Key Revision Sha256 Bytes By To;
    Deidentified "deidentified" Some("dissemination"), "A copy without identity was written for somebody.":
        Key Revision By Why To;
    Acknowledged "acknowledged" Some("dissemination"), "The receiver answered.":
        Key Revision Sha256 Bytes By MaybeOf;
    Retracted "retracted" Some("dissemination"), "An export of a superseded revision is to be taken back.":
        Key Revision By To Of;
    Held "held" None, "Not to be destroyed.": Key By Authority;
    Released "released" None, "A hold ends.": Key By Authority Of;
    Key "key" None, "A public key was admitted.": Sha256 Bytes By;
    Schedule "schedule" None, "A retention schedule was adopted.": Sha256 Bytes By Authority;
    Destroying "destroying" Some("deletion"), "Destruction begins.": Key Sha256 Bytes By Rule;
    Destroyed "destroyed" Some("deaccession"), "Destruction is complete.": Key Sha256 Bytes By Rule Of;
    Repaired "repaired" Some("replication"), "A damaged bundle was replaced by an identical copy.":
        Key MaybeRevision Sha256 Bytes By Of;
}

impl Event {
    /// All of them, in the order of the page.
    pub fn all() -> impl Iterator<Item = Event> {
        EVENTS.iter().map(|(event, ..)| *event)
    }

    /// The word in the journal.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.row().1
    }

    /// The event type of PREMIS (id.loc.gov/vocabulary/preservation/eventType); `None` for what is local to us.
    #[must_use]
    pub fn premis(self) -> Option<&'static str> {
        self.row().2
    }

    /// The members a line of this event has, no more and no fewer.
    #[must_use]
    pub fn members(self) -> &'static [Member] {
        self.row().3
    }

    fn row(self) -> &'static (Event, &'static str, Option<&'static str>, &'static [Member]) {
        EVENTS.iter().find(|row| row.0 == self).expect("the table is made together with the enum")
    }
}

impl FromStr for Event {
    type Err = Error;

    fn from_str(word: &str) -> Result<Event> {
        let row = EVENTS.iter().find(|row| row.1 == word);
        row.map(|row| row.0)
            .ok_or_else(|| Error::new(Kind::Malformed, "an event that this version does not know"))
    }
}

impl About {
    /// Refuses what has not exactly the members of the event.
    /// # Errors
    /// [`Kind::Internal`].
    pub fn fits(&self, event: Event) -> Result<()> {
        let About { key, revision, sha256, bytes, by, authority, why, to, rule, of } = self;
        let given = [
            (Member::Key, key.is_some()),
            (Member::Revision, revision.is_some()),
            (Member::Sha256, sha256.is_some()),
            (Member::Bytes, bytes.is_some()),
            (Member::By, by.is_some()),
            (Member::Authority, authority.is_some()),
            (Member::Why, why.is_some()),
            (Member::To, to.is_some()),
            (Member::Rule, rule.is_some()),
            (Member::Of, of.is_some()),
        ];
        let members = event.members();
        let is_right = |(member, is_given): &(Member, bool)| {
            let is_free = match member {
                Member::Of => members.contains(&Member::MaybeOf),
                Member::Revision => members.contains(&Member::MaybeRevision),
                _ => false,
            };
            is_free || *is_given == members.contains(member)
        };
        match given.iter().find(|pair| !is_right(pair)) {
            None => Ok(()),
            Some((member, is_given)) => {
                let has = if *is_given { "has" } else { "lacks" };
                Err(Error::new(Kind::Internal, format!("a line of event {} {has} {member:?}", event.word())))
            }
        }
    }
}

impl Line {
    /// The line without its line feed: one JSON object, no blanks, members in the order of the page.
    #[must_use]
    pub fn text(&self) -> String {
        let Line { index, at, event, about } = self;
        let About { key, revision, sha256, bytes, by, authority, why, to, rule, of } = about;
        let mut text = format!(r#"{{"i":{index},"t":"{at}","e":"{}""#, event.word());
        // Every word is of an alphabet that JSON does not escape.
        word_to(&mut text, "k", key.as_ref());
        number_to(&mut text, "r", revision.map(u64::from));
        word_to(&mut text, "z", sha256.as_ref());
        number_to(&mut text, "n", *bytes);
        word_to(&mut text, "by", by.as_ref());
        word_to(&mut text, "for", authority.as_ref());
        word_to(&mut text, "why", why.as_ref());
        word_to(&mut text, "to", to.as_ref());
        word_to(&mut text, "rule", rule.as_ref());
        number_to(&mut text, "of", *of);
        text.push('}');
        text
    }

    /// Reads a line, given without its line feed, that is written exactly as [`Line::text`] writes it.
    /// # Errors
    /// [`Kind::Malformed`]; the line is not repeated.
    pub fn parse(text: &[u8]) -> Result<Line> {
        let malformed = |what: &str| Error::new(Kind::Malformed, what);
        if text.len() > LONGEST_LINE {
            return Err(malformed("a line of the journal is longer than 1,024 bytes"));
        }
        let written: Written =
            serde_json::from_slice(text).map_err(|_| malformed("not a line of a journal"))?;
        let line = written.line()?;
        line.about.fits(line.event).map_err(|error| malformed(error.what()))?;
        if line.text().as_bytes() != text {
            return Err(malformed("a line of the journal is not written in the one way there is"));
        }
        Ok(line)
    }

    /// [`Line::parse`] with the place an error is at.
    pub(crate) fn parse_at(text: &[u8], index: u64, segment: &str) -> Result<Line> {
        let at = || Place::file(segment.to_owned()).part(format!("line {index} of the journal"));
        let line = Line::parse(text).map_err(|error| error.at(at()))?;
        if line.index == index {
            return Ok(line);
        }
        Err(Error::malformed(at(), format!("says that it is line {}", line.index)))
    }
}

fn word_to(text: &mut String, name: &str, value: Option<&impl std::fmt::Display>) {
    if let Some(value) = value {
        write!(text, r#","{name}":"{value}""#).expect("a string takes everything");
    }
}

fn number_to(text: &mut String, name: &str, value: Option<u64>) {
    if let Some(value) = value {
        write!(text, r#","{name}":{value}"#).expect("a string takes everything");
    }
}

/// A line as JSON has it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written<'a> {
    i: u64,
    t: &'a str,
    e: &'a str,
    k: Option<&'a str>,
    r: Option<u32>,
    z: Option<&'a str>,
    n: Option<u64>,
    by: Option<&'a str>,
    #[serde(rename = "for")]
    authority: Option<&'a str>,
    why: Option<&'a str>,
    to: Option<&'a str>,
    rule: Option<&'a str>,
    of: Option<u64>,
}

impl Written<'_> {
    fn line(self) -> Result<Line> {
        let about = About {
            key: word(self.k)?,
            revision: self.r,
            sha256: word(self.z)?,
            bytes: self.n,
            by: word(self.by)?,
            authority: word(self.authority)?,
            why: word(self.why)?,
            to: word(self.to)?,
            rule: word(self.rule)?,
            of: self.of,
        };
        let at = self.t.parse().map_err(of_line)?;
        Ok(Line { index: self.i, at, event: self.e.parse()?, about })
    }
}

fn word<T: FromStr<Err = Error>>(text: Option<&str>) -> Result<Option<T>> {
    text.map(|text| text.parse().map_err(of_line)).transpose()
}

/// A wrong word in a line is the line's fault, not the caller's.
fn of_line(error: Error) -> Error {
    Error::new(Kind::Malformed, error.what())
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILED: &str = concat!(
        r#"{"i":7,"t":"2026-03-02T09:30:00Z","e":"filed","k":"3f9c0000000000000000000000000a01","r":1,"#,
        r#""z":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","n":0,"by":"night-shift"}"#
    );

    #[test]
    fn a_line_is_written_in_one_way() {
        let line = Line::parse(FILED.as_bytes()).unwrap();
        assert_eq!((line.index, line.event, line.about.revision), (7, Event::Filed, Some(1)));
        assert_eq!(line.text(), FILED);
        for wrong in [
            FILED.replace(":7,", ": 7,"),
            FILED.replace(r#""n":0,"#, ""),
            FILED.replace(r#""n":0,"#, r#""n":0,"of":3,"#),
            FILED.replace(r#""n":0,"by":"night-shift""#, r#""by":"night-shift","n":0"#),
            FILED.replace("filed", "stored"),
            FILED.replace("night-shift", "night shift"),
            FILED.replace("night-shift", r"night\u002dshift"),
            FILED.replace("\"r\":1", "\"r\":01"),
            format!("{FILED} "),
        ] {
            assert_eq!(Line::parse(wrong.as_bytes()).unwrap_err().kind(), Kind::Malformed, "{wrong}");
        }
    }

    #[test]
    fn every_event_is_written_and_read() {
        let code = |text: &str| text.parse::<Code>().ok();
        let full = About {
            key: "3f9c0000000000000000000000000a01".parse().ok(),
            revision: Some(2),
            sha256: Some(Digest::of(b"x")),
            bytes: Some(1),
            by: code("a"),
            authority: code("b"),
            why: code("c"),
            to: code("d"),
            rule: code("e"),
            of: Some(3),
        };
        for event in Event::all() {
            let has = |member| event.members().contains(&member);
            let about = About {
                key: full.key.filter(|_| has(Member::Key)),
                revision: full.revision.filter(|_| has(Member::Revision) || has(Member::MaybeRevision)),
                sha256: full.sha256.filter(|_| has(Member::Sha256)),
                bytes: full.bytes.filter(|_| has(Member::Bytes)),
                by: full.by.clone().filter(|_| has(Member::By)),
                authority: full.authority.clone().filter(|_| has(Member::Authority)),
                why: full.why.clone().filter(|_| has(Member::Why)),
                to: full.to.clone().filter(|_| has(Member::To)),
                rule: full.rule.clone().filter(|_| has(Member::Rule)),
                of: full.of.filter(|_| has(Member::Of) || has(Member::MaybeOf)),
            };
            let line = Line { index: 9, at: "2026-03-02T09:30:00Z".parse().unwrap(), event, about };
            assert_eq!(Line::parse(line.text().as_bytes()).unwrap(), line, "{}", event.word());
            assert!(line.text().len() < LONGEST_LINE);
            if event != Event::Read {
                let other = Line { event: Event::Read, ..line };
                assert!(Line::parse(other.text().as_bytes()).is_err(), "{}", event.word());
            }
        }
    }

    /// The page is the contract: its table of events and ours are one.
    #[test]
    fn the_events_are_those_of_the_page() {
        let page = include_str!("../../../schemas/archive.md");
        for (event, word, premis, members) in EVENTS {
            let row = page.lines().find(|line| line.starts_with(&format!("| `{word}` | ")));
            let row = row.unwrap_or_else(|| panic!("the page does not know {event:?}"));
            let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
            assert_eq!(cells[3], premis.unwrap_or("(local)"), "{word}");
            let names: Vec<&str> = members.iter().map(|member| short(*member)).collect();
            assert_eq!(cells[2], names.join(" "), "{word}");
        }
    }

    fn short(member: Member) -> &'static str {
        match member {
            Member::Key => "k",
            Member::Revision | Member::MaybeRevision => "r",
            Member::Sha256 => "z",
            Member::Bytes => "n",
            Member::By => "by",
            Member::Authority => "for",
            Member::Why => "why",
            Member::To => "to",
            Member::Rule => "rule",
            Member::Of | Member::MaybeOf => "of",
        }
    }
}
