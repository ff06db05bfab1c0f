//! Bytes to recordings.

use ecgkeep_format::{Error, Kind, Limits, Match, Note, Place, Read, Result, Source, Weight};
use ecgkeep_recording::Recording;
use serde::de::DeserializeSeed;
use serde_json::error::Category;

use crate::constants::{
    ABOUT, BYTE_ORDER_MARK, RECORDINGS_MEMBER, SCHEMA, SCHEMA_FAMILY, SCHEMA_MEMBER, SCHEMA_SHOWN,
};
use crate::document::Seen;
use crate::scan::scan;

/// Certain where the document begins with the name of a shape of ours, whatever its version.
pub fn probe(name: &str, head: &[u8]) -> Match {
    let head = head.strip_prefix(BYTE_ORDER_MARK).unwrap_or(head);
    let schema = ["{", "\"", SCHEMA_MEMBER, "\"", ":", "\"", SCHEMA_FAMILY];
    let recordings = ["{", "\"", RECORDINGS_MEMBER, "\"", ":", "["];
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
    if begins_with(head, &schema) {
        Match::Certain
    } else if begins_with(head, &recordings) {
        Match::Likely
    } else if ABOUT.endings.iter().any(|own| own.eq_ignore_ascii_case(ending)) {
        Match::ByName
    } else {
        Match::No
    }
}

fn begins_with(mut bytes: &[u8], parts: &[&str]) -> bool {
    parts.iter().all(|part| {
        bytes = bytes.trim_ascii_start();
        bytes.strip_prefix(part.as_bytes()).map(|rest| bytes = rest).is_some()
    })
}

pub fn read(source: &dyn Source, limits: &Limits) -> Result<Read> {
    let file = source.main();
    let bytes = source.bytes(file, limits.file_bytes)?;
    let mut notes = Vec::new();
    let mut depart = |what: &str| {
        notes.push(Note {
            clause: Some("RFC 8259, 8.1"),
            ..Note::new(Weight::Departure, Place::file(file).byte(0), what)
        });
    };
    let text = match bytes.strip_prefix(BYTE_ORDER_MARK) {
        Some(text) => {
            depart("begins with a byte order mark, which is passed over");
            text
        }
        None => &bytes[..],
    };
    let skipped = bytes.len() - text.len();
    scan(file, &bytes, limits)?;
    let mut seen = Seen::default();
    let mut parser = serde_json::Deserializer::from_slice(text);
    if let Err(error) = (&mut seen).deserialize(&mut parser).and_then(|()| parser.end()) {
        let byte = (skipped + byte_of(text, &error)) as u64;
        let place = Place::file(file).line(error.line() as u64).byte(byte);
        return Err(explain(&error, &seen).at(place));
    }
    if seen.schema_late {
        let what = format!("the member {SCHEMA_MEMBER} stands behind {RECORDINGS_MEMBER}");
        notes.push(Note::new(Weight::Departure, Place::file(file), what));
    }
    for (index, recording) in seen.recordings.iter().enumerate() {
        within_limits(recording, limits)
            .map_err(|error| error.at(Place::file(file)).within(format!("recording {}", index + 1)))?;
    }
    Ok(Read { recordings: seen.recordings, notes })
}

/// The parser's error with our kinds.
fn explain(error: &serde_json::Error, seen: &Seen) -> Error {
    if let Some(schema) = &seen.other_schema {
        let shown: String = schema.chars().take(SCHEMA_SHOWN).collect();
        let what = format!("the shape is {shown:?}, this version of ecgkeep reads {SCHEMA:?}");
        let remedy = if schema.starts_with(SCHEMA_FAMILY) {
            "use the version of ecgkeep that wrote it, or a later one"
        } else {
            "this document holds something else than recordings; give the recording itself"
        };
        return Error::new(Kind::Unsupported, what).remedy(remedy);
    }
    let whole = error.to_string();
    let what = whole.rsplit_once(" at line ").map_or(whole.as_str(), |(what, _)| what);
    let kind = if error.classify() == Category::Eof { Kind::Truncated } else { Kind::Malformed };
    Error::new(kind, what)
}

/// The last byte that the parser had read: it counts columns in bytes, from 1.
fn byte_of(text: &[u8], error: &serde_json::Error) -> usize {
    let lines_before = error.line().saturating_sub(1);
    let ends = text.iter().enumerate().filter(|(_, byte)| **byte == b'\n');
    let start = match lines_before {
        0 => 0,
        lines => ends.map(|(at, _)| at + 1).nth(lines - 1).unwrap_or(text.len()),
    };
    (start + error.column().saturating_sub(1)).min(text.len())
}

fn within_limits(recording: &Recording, limits: &Limits) -> Result<()> {
    let waveforms = &recording.waveforms;
    let signals: usize = waveforms.iter().map(|waveform| waveform.signals().len()).sum();
    let marks: usize = waveforms.iter().map(|waveform| waveform.marks.len()).sum();
    let samples: u64 =
        waveforms.iter().map(|waveform| (waveform.length() * waveform.signals().len()) as u64).sum();
    let beyond = |what: String| Err(Error::new(Kind::Limit, what));
    if signals > limits.signals {
        return beyond(format!("{signals} signals, the limit is {}", limits.signals));
    }
    if marks > limits.marks {
        return beyond(format!("{marks} marks, the limit is {}", limits.marks));
    }
    if samples > limits.samples {
        return beyond(format!("{samples} samples, the limit is {}", limits.samples));
    }
    Ok(())
}
