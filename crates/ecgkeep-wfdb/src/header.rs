//! A header file: the record line, the signal lines, and the comments around them (header(5)).

use std::borrow::Cow;

use ecgkeep_format::{Error, Kind, Limits, Note, Place, Result, Weight};

use crate::constants::{
    INFO_STRINGS, LINE_BYTES, MOST_COMMENTS, MOST_SEGMENTS, RECORD_LINE, SEGMENT_LINE, SIGNAL_LINE,
};
use crate::line::{CORRECT_IT, Line, shown, word};
use crate::record_line::{RecordLine, count};
use crate::signal_line::SignalLine;

/// A header file, read.
#[derive(Debug, Default)]
pub(crate) struct Header {
    /// The record line.
    pub(crate) record: RecordLine,
    /// The signals, each with the line it stands on.
    pub(crate) signals: Vec<(u64, SignalLine)>,
    /// The segments of a record of several, each with the line it stands on.
    pub(crate) segments: Vec<(u64, SegmentLine)>,
    /// The comment lines, in order.
    pub(crate) comments: Vec<Comment>,
}

/// What a header says of one segment: `name frames` (header(5)).
#[derive(Debug)]
pub(crate) struct SegmentLine {
    /// The segment's record name; `~` for a stretch without samples.
    pub(crate) name: String,
    /// Its frames; 0 for the layout.
    pub(crate) frames: u64,
}

/// Where a comment stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Where {
    /// Above the record line.
    AboveRecord,
    /// Above this signal line, counted from 1.
    AboveSignal(usize),
    /// Below the last signal line: an info string.
    Below,
}

/// A comment line, word for word.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Comment {
    /// Line number, counted from 1.
    pub(crate) line: u64,
    /// Where it stands.
    pub(crate) place: Where,
    /// The line without its line ending, from its first character on.
    pub(crate) bytes: Vec<u8>,
}

impl Header {
    /// Reads a header file.
    /// # Errors
    /// [`Kind::Malformed`] with line and field, [`Kind::Unsupported`], [`Kind::Limit`].
    pub(crate) fn read(file: &str, bytes: &[u8], limits: &Limits, notes: &mut Vec<Note>) -> Result<Header> {
        let mut header = Header::default();
        let mut record: Option<RecordLine> = None;
        if bytes.last().is_some_and(|last| !matches!(last, b'\n' | b'\r')) {
            let text = "the last line has no end: the header may have been cut";
            notes.push(Note::new(Weight::Departure, Place::file(file), text));
        }
        for (number, bytes) in numbered_lines(bytes) {
            if is_blank(bytes) {
                continue;
            }
            let place = Place::file(file).line(number);
            if is_comment(bytes) {
                if header.comments.len() >= MOST_COMMENTS {
                    let text = format!("more comment lines than the limit of {MOST_COMMENTS}");
                    return Err(Error::new(Kind::Limit, text).at(place));
                }
                if bytes.len() > limits.text_bytes {
                    let text = format!("a line longer than the limit of {} bytes", limits.text_bytes);
                    return Err(Error::new(Kind::Limit, text).at(place));
                }
                let place = match &record {
                    None => Where::AboveRecord,
                    Some(record) if header.parts() < parts_due(record) => {
                        Where::AboveSignal(header.parts() + 1)
                    }
                    Some(_) => Where::Below,
                };
                header.comments.push(Comment { line: number, place, bytes: bytes.to_owned() });
                continue;
            }
            let text = decode(bytes);
            let clause = record.as_ref().map_or(RECORD_LINE, clause_below);
            let line = Line { place, clause, text: &text };
            if !bytes.is_ascii() {
                line.departure(notes, "the line holds characters that are not ASCII");
            }
            if bytes.len() + 1 > LINE_BYTES {
                line.departure(notes, format!("the line is longer than {LINE_BYTES} characters"));
            }
            match &record {
                None => record = Some(read_record(&line, limits, notes)?),
                Some(record) if header.parts() < parts_due(record) => {
                    let part = if record.segments.is_some() { "segment" } else { "signal" };
                    let part = format!("{part} {}", header.parts() + 1);
                    let line = Line { place: line.place.part(part), ..line };
                    match record.segments {
                        Some(_) => header.segments.push((number, SegmentLine::read(&line)?)),
                        None => header.signals.push((number, SignalLine::read(&line, notes)?)),
                    }
                }
                Some(_) => {
                    let text = format!("a line after the last one due was ignored: {}", shown(line.text));
                    line.note(Weight::Departure, notes, text);
                }
            }
        }
        let lines = numbered_lines(bytes).last().map_or(1, |(number, _)| number);
        let end = || Place::file(file).line(lines);
        let Some(record) = record else {
            return Err(Error::malformed(end(), "the header holds no record line").clause(RECORD_LINE));
        };
        if header.parts() < parts_due(&record) {
            let parts = if record.segments.is_some() { "segment" } else { "signal" };
            let text =
                format!("{} {parts}s are stated, {} {parts} lines given", parts_due(&record), header.parts());
            return Err(Error::malformed(end(), text).clause(clause_below(&record)).remedy(CORRECT_IT));
        }
        header.record = record;
        Ok(header)
    }

    /// The header as bytes, its lines ended by line feeds.
    pub(crate) fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut put = |line: &[u8]| {
            bytes.extend_from_slice(line);
            bytes.push(b'\n');
        };
        let comments_at = |place: Where| self.comments.iter().filter(move |comment| comment.place == place);
        comments_at(Where::AboveRecord).for_each(|comment| put(&comment.bytes));
        put(self.record.to_text().as_bytes());
        for (index, (_, signal)) in self.signals.iter().enumerate() {
            comments_at(Where::AboveSignal(index + 1)).for_each(|comment| put(&comment.bytes));
            put(signal.to_text().as_bytes());
        }
        comments_at(Where::Below).for_each(|comment| put(&comment.bytes));
        bytes
    }
}

impl Header {
    /// Signal or segment lines read so far.
    fn parts(&self) -> usize {
        self.signals.len() + self.segments.len()
    }
}

/// Signal or segment lines that follow the record line.
fn parts_due(record: &RecordLine) -> usize {
    record.segments.unwrap_or(record.signals)
}

/// The clause of the lines below the record line.
fn clause_below(record: &RecordLine) -> &'static str {
    if record.segments.is_some() { SEGMENT_LINE } else { SIGNAL_LINE }
}

/// The record line, its counts within the limits.
fn read_record(line: &Line, limits: &Limits, notes: &mut Vec<Note>) -> Result<RecordLine> {
    let record = RecordLine::read(line, notes)?;
    let counts = [
        ("signals", record.signals, limits.signals),
        ("segments", record.segments.unwrap_or(0), MOST_SEGMENTS),
    ];
    for (what, count, limit) in counts {
        if count > limit {
            let text = format!("{count} {what}, more than the limit of {limit}");
            return Err(Error::new(Kind::Limit, text).at(line.place.clone()));
        }
    }
    Ok(record)
}

impl SegmentLine {
    fn read(line: &Line) -> Result<SegmentLine> {
        let (name, rest) = word(line.text).ok_or_else(|| line.malformed("the segment line is empty"))?;
        let Some((frames, _)) = word(rest) else {
            return Err(line.malformed("the segment line ends before the number of samples"));
        };
        Ok(SegmentLine { name: name.to_owned(), frames: count(line, "number of samples", frames)? })
    }
}

impl Comment {
    /// The line for notes.
    pub(crate) fn to_line<'a>(&self, file: &str, text: &'a str) -> Line<'a> {
        Line { place: Place::file(file).line(self.line), clause: INFO_STRINGS, text }
    }
}

/// Whether the first bytes of a file are those of a header: a record line and the line it announces.
pub(crate) fn looks_like_one(head: &[u8]) -> bool {
    let mut lines = numbered_lines(head)
        .map(|(_, bytes)| bytes)
        .filter(|bytes| !is_blank(bytes) && !is_comment(bytes))
        .map(decode);
    let Some(first) = lines.next() else { return false };
    let mut notes = Vec::new();
    let line = Line { place: Place::default(), clause: RECORD_LINE, text: &first };
    let Ok(record) = RecordLine::read(&line, &mut notes) else { return false };
    let Some(second) = lines.next() else { return false };
    let Some((name, rest)) = word(&second) else { return false };
    let Some((number, _)) = word(rest) else { return false };
    let digits = number.bytes().take_while(u8::is_ascii_digit).count();
    let rest_fits = number.len() == digits || number[digits..].starts_with(['x', ':', '+']);
    !record.name.is_empty() && !name.is_empty() && digits > 0 && rest_fits && record.signals > 0
}

/// Lines ended by LF, CR LF or a lone CR, counted from 1; a byte order mark in front is passed over.
fn numbered_lines(bytes: &[u8]) -> impl Iterator<Item = (u64, &[u8])> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let has_line_feeds = bytes.contains(&b'\n');
    let lines = bytes.split(move |byte| if has_line_feeds { *byte == b'\n' } else { *byte == b'\r' });
    (1..).zip(lines.map(|line| line.strip_suffix(b"\r").unwrap_or(line)))
}

fn is_blank(bytes: &[u8]) -> bool {
    bytes.iter().all(u8::is_ascii_whitespace)
}

/// header(5): the first printing character is a number sign.
fn is_comment(bytes: &[u8]) -> bool {
    bytes.trim_ascii_start().first() == Some(&b'#')
}

/// UTF-8, or where it is not that, ISO 8859-1.
fn decode(bytes: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(bytes.iter().map(|byte| char::from(*byte)).collect()),
    }
}
