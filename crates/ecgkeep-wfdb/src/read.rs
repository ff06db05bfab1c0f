//! A record's files to one recording.

use ecgkeep_format::{Limits, Note, Place, Read, Result, Source, Weight};
use ecgkeep_recording::{CivilTime, Exact, Extra, ExtraValue, Lead, Origin, Recording, Signal, TimeOfDay};

use crate::annotators;
use crate::comments::Told;
use crate::constants::{ID, RECORD_LINE, SIGNAL_LINE};
use crate::header::Header;
use crate::keys::LeadLines;
use crate::line::{Line, shown};
use crate::record_line::RecordLine;
use crate::samples::Stored;
use crate::scale::Scale;
use crate::segments;
use crate::signal_files::Files;
use crate::signal_line::SignalLine;
use crate::waveforms::{Rated, waveforms};

/// Reads the record whose header is the source's main file.
pub(crate) fn read(source: &dyn Source, limits: &Limits) -> Result<Read> {
    let mut notes = Vec::new();
    let file = source.main();
    let bytes = source.bytes(file, limits.file_bytes)?;
    let header = Header::read(file, &bytes, limits, &mut notes)?;
    check_name(file, &header.record, &mut notes);
    let mut files = Files::new(source, limits);
    let mut told = Told::read(file, &header.comments, header.signals.len(), &mut notes);
    let (mut waveforms, setting) = if header.record.segments.is_some() {
        segments::read(file, &header, &mut files, &mut told.extras, &mut notes)?
    } else {
        let (_, stored) = files.signals(file, &header, &mut notes)?;
        told.extras.extend(extras(&header));
        let signals = signals(file, &header, stored, &told.leads, &mut notes)?;
        waveforms(file, header.record.rate, signals, &told.waves, &mut notes)?
    };
    annotators::read(file, &header, &files, &setting, &mut told, &mut waveforms, &mut notes)?;
    told.acquisition.start = start(file, &header.record, &told, &mut notes);
    let recording = Recording {
        subject: told.subject,
        acquisition: told.acquisition,
        waveforms,
        measurements: told.measurements,
        statements: told.statements,
        extras: told.extras,
        origin: Origin { format: ID.to_owned(), version: None, record: Some(header.record.name) },
    };
    Ok(Read { recordings: vec![recording], notes })
}

/// header(5): the record's name is that of its header file without `.hea`.
pub(crate) fn check_name(file: &str, record: &RecordLine, notes: &mut Vec<Note>) {
    let stem = file.strip_suffix(".hea").unwrap_or(file);
    if record.name != stem {
        let (name, stem) = (shown(&record.name), shown(stem));
        let text = format!("the record line names the record {name}, the file is {stem}");
        let note = Note::new(Weight::Departure, Place::file(file), text);
        notes.push(Note { clause: Some(RECORD_LINE), ..note });
    }
}

/// The signals of a header, each with its samples per frame.
pub(crate) fn signals(
    file: &str,
    header: &Header,
    stored: Vec<Stored>,
    leads: &[LeadLines],
    notes: &mut Vec<Note>,
) -> Result<Vec<Rated>> {
    let mut signals = Vec::with_capacity(stored.len());
    for (index, (stored, (number, line))) in stored.into_iter().zip(&header.signals).enumerate() {
        let place = Place::file(file).line(*number).part(format!("signal {}", index + 1));
        let place = Line { place, clause: SIGNAL_LINE, text: "" };
        let made = signal(&place, &header.record, line, stored, &leads[index], index, notes)?;
        signals.push((made, line.per_frame));
    }
    Ok(signals)
}

fn signal(
    place: &Line,
    record: &RecordLine,
    line: &SignalLine,
    stored: Stored,
    lines: &LeadLines,
    index: usize,
    notes: &mut Vec<Note>,
) -> Result<Signal> {
    let Scale { step, offset, unit } = Scale::read(place, line, lines, notes)?;
    let (lead, label) = lead(line.description.as_deref(), &record.name, index, lines);
    let skew = match i64::try_from(line.skew) {
        Ok(0) | Err(_) => lines.skew,
        Ok(frames) => Exact::whole(frames).over(record.rate),
    };
    let Stored { samples, missing, .. } = stored;
    Ok(Signal { lead, label, unit, step, offset, missing, derived: lines.derived, skew, samples })
}

/// The lead and the source's spelling of it where that is not the lead's name.
pub(crate) fn lead(
    description: Option<&str>,
    record: &str,
    index: usize,
    lines: &LeadLines,
) -> (Lead, Option<String>) {
    if let Some(name) = &lines.other_name {
        return (Lead::Other(name.clone()), lines.label.clone());
    }
    if let Some(lead) = &lines.name {
        return (lead.clone(), lines.label.clone());
    }
    match description {
        Some(text) => {
            let lead = Lead::from_name(text);
            let label = (lead.name() != text).then(|| text.to_owned());
            (lead, label)
        }
        // header(5): the description of a signal that has none
        None => (Lead::Other(format!("record {record}, signal {index}")), None),
    }
}

/// The start of the recording: the record line's own date and time, and what `acq.datetime` adds to them.
fn start(file: &str, record: &RecordLine, told: &Told, notes: &mut Vec<Note>) -> CivilTime {
    let mut start = told.datetime.unwrap_or_default();
    start.offset_minutes = start.offset_minutes.or(told.utc_offset);
    let mut disagree = |what: &str| {
        let text =
            format!("acq.datetime and the record line give different {what}s; the record line's was taken");
        let note = Note::new(Weight::Departure, Place::file(file), text);
        notes.push(Note { clause: Some(RECORD_LINE), ..note });
    };
    if let Some(date) = record.date {
        if start.date.is_some_and(|stated| !date.to_string().starts_with(&stated.to_string())) {
            disagree("date");
        }
        start.date = Some(date);
    }
    if let Some(time) = record.time {
        if start.time.is_some_and(|stated| !is_part_of(stated, time)) {
            disagree("time");
        }
        start.time = Some(time);
    }
    start
}

/// Whether one time of day says no more than the other and nothing else.
fn is_part_of(less: TimeOfDay, more: TimeOfDay) -> bool {
    less.hour() == more.hour()
        && less.minute().is_none_or(|minute| more.minute() == Some(minute))
        && less.second().is_none_or(|second| more.second() == Some(second))
        && less.fraction().is_none_or(|fraction| more.fraction() == Some(fraction))
}

/// The address of the counter frequency among the extras.
pub(crate) const COUNTER: &str = "counter frequency";
/// The address of the base counter value.
pub(crate) const BASE_COUNTER: &str = "base counter value";
/// The address of the signals' ADC resolutions.
pub(crate) const ADC_RESOLUTION: &str = "ADC resolution";
/// The address of the signals' ADC zeros.
pub(crate) const ADC_ZERO: &str = "ADC zero";

/// What the header says and the model does not name.
pub(crate) fn extras(header: &Header) -> Vec<Extra> {
    let per_signal = |field: fn(&SignalLine) -> i64| {
        let values: Vec<i64> = header.signals.iter().map(|(_, signal)| field(signal)).collect();
        numbers_to_text(&values)
    };
    let found = [
        (COUNTER, header.record.counter.clone()),
        (BASE_COUNTER, header.record.base_counter.clone()),
        (ADC_RESOLUTION, per_signal(|signal| signal.adc_resolution)),
        (ADC_ZERO, per_signal(|signal| signal.adc_zero)),
    ];
    let extra = |(address, value): (&str, Option<String>)| {
        let value = ExtraValue::Text(value?);
        Some(Extra { format: ID.to_owned(), address: address.to_owned(), value })
    };
    found.into_iter().filter_map(extra).collect()
}

/// One number where all are the same, else all of them; nothing where all are 0, which is "not stated".
pub(crate) fn numbers_to_text(values: &[i64]) -> Option<String> {
    let first = values.first()?;
    if values.iter().any(|value| value != first) {
        return Some(values.iter().map(i64::to_string).collect::<Vec<_>>().join(" "));
    }
    (*first != 0).then(|| first.to_string())
}
