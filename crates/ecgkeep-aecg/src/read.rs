//! A document to one recording.

use ecgkeep_format::{Kind, Limits, Read, Result, Source};
use ecgkeep_recording::{CivilTime, Exact, Origin, Recording, Waveform, WaveformKind};

use crate::constants::{NAMESPACE, ROOT};
use crate::document::Document;
use crate::node::Node;
use crate::notes::Notes;
use crate::series::Piece;
use crate::timeline::Head;
use crate::{annotations, demographics, encoding, extras, series, time, timeline, values};

/// Reads the one recording of a document.
/// # Errors
/// [`Kind::Malformed`], [`Kind::Truncated`], [`Kind::Unsupported`], [`Kind::Limit`] or [`Kind::Io`], with line,
/// element path and, where samples are concerned, lead.
pub(crate) fn read(source: &dyn Source, limits: &Limits) -> Result<Read> {
    let file = source.main();
    let bytes = source.bytes(file, limits.file_bytes)?;
    let decoded = encoding::decode(file, &bytes)?;
    let document = Document::read(file, &decoded.text, limits)?;
    let notes = Notes::default();
    if let Some(departure) = decoded.departure {
        notes.departure(document.root(), departure);
    }
    let recording = read_recording(&document, limits, &notes)?;
    Ok(Read { recordings: vec![recording], notes: notes.into_list() })
}

fn read_recording(document: &Document<'_>, limits: &Limits, notes: &Notes) -> Result<Recording> {
    let root = document.root();
    if root.name() != ROOT {
        let what = format!("the root element is {}, not {ROOT}", root.name());
        return Err(root.malformed(what).remedy("this is no aECG document"));
    }
    match document.namespace.as_deref() {
        Some(NAMESPACE) => {}
        Some(other) => notes.departure(root, format!("the namespace is {other}, not {NAMESPACE}")),
        None => notes.departure(root, format!("no namespace, where {NAMESPACE} is expected")),
    }
    let (subject, mut acquisition) = demographics::read(root, notes);
    let pieces = series::read_all(root, &mut acquisition, limits, notes)?;
    if pieces.is_empty() {
        return Err(root
            .malformed("no series with samples")
            .remedy("a document without samples is no recording"));
    }
    let found = annotations::read_all(&pieces, &mut acquisition, limits, notes)?;
    let stated = read_effective_time(root, notes);
    acquisition.start = start_of(&pieces).or(stated).unwrap_or_default();
    check_effective_time(root, stated, &acquisition.start, notes);
    let mut waveforms = Vec::with_capacity(pieces.len());
    for (piece, marks) in pieces.into_iter().zip(found.marks) {
        let start = seconds_to(&piece, &acquisition.start, notes);
        let Piece { series, kind, set, .. } = piece;
        let made = Waveform::new(set.rate, set.signals);
        let mut waveform = made.map_err(|error| series.malformed(error.to_string()))?;
        (waveform.kind, waveform.start, waveform.marks) = (kind, start, marks);
        waveforms.push(waveform);
    }
    let record = acquisition.identifiers.first().map(|id| id.value.clone());
    Ok(Recording {
        subject,
        acquisition,
        waveforms,
        measurements: found.measurements,
        statements: found.statements,
        extras: extras::gather(document),
        origin: Origin { format: crate::ABOUT.id.to_owned(), version: None, record },
    })
}

/// When the first sample was taken: the earliest of the rhythm series, or of all where there is none.
fn start_of(pieces: &[Piece<'_>]) -> Option<CivilTime> {
    let first = |piece: &Piece<'_>| match piece.set.head {
        Head::Absolute(head) => Some(head),
        Head::Relative(_) => piece.extent.low,
    };
    let is_rhythm = |piece: &&Piece<'_>| piece.kind == WaveformKind::Rhythm;
    let has_rhythm = pieces.iter().any(|piece| is_rhythm(&piece));
    let starts = pieces.iter().filter(|piece| !has_rhythm || is_rhythm(piece)).filter_map(first);
    starts.reduce(|earliest, start| {
        let later = time::between(&earliest, &start).is_some_and(Exact::is_negative);
        if later { start } else { earliest }
    })
}

/// Seconds from the recording's start to the first sample of a set.
fn seconds_to(piece: &Piece<'_>, start: &CivilTime, notes: &Notes) -> Exact {
    let from = |time: &CivilTime| {
        if time == start {
            return Exact::ZERO;
        }
        time::between(start, time).unwrap_or_else(|| {
            let what =
                format!("the series begins at {time}, the recording at {start}: taken to begin together");
            notes.departure(piece.series, what);
            Exact::ZERO
        })
    };
    match piece.set.head {
        Head::Absolute(head) => from(&head),
        Head::Relative(seconds) => {
            let low = piece.extent.low.as_ref().map_or(Exact::ZERO, from);
            low.plus(seconds).unwrap_or(seconds)
        }
    }
}

/// The time that the document as a whole states; a spelling that is no time is left where it stands.
fn read_effective_time(root: Node<'_>, notes: &Notes) -> Option<CivilTime> {
    let interval = root.child("effectiveTime")?;
    values::silence(interval);
    let node = ["low", "center"].iter().find_map(|name| interval.find(name)).unwrap_or(interval);
    interval.child("high");
    match timeline::read_stamp(node, notes) {
        Ok(time) => {
            node.take();
            time
        }
        Err(error) if error.kind() == Kind::Malformed => {
            notes.departure(interval, format!("{}: kept as an extra item", error.what()));
            interval.release();
            None
        }
        Err(_) => None,
    }
}

fn check_effective_time(root: Node<'_>, stated: Option<CivilTime>, start: &CivilTime, notes: &Notes) {
    let Some(stated) = stated else { return };
    let (own, series) = (stated.to_string(), start.to_string());
    // the less precise of the two is where the other begins
    let agrees = series.starts_with(&own) || own.starts_with(&series);
    let apart = time::between(&stated, start).map(Exact::magnitude);
    if !agrees && apart.is_none_or(|apart| !apart.is_zero()) {
        notes.not_taken(root, format!("the document's effectiveTime {own}; the series begin at {series}"));
    }
}
