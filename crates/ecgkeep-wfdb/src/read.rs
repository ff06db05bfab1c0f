//! A record's files to one recording.

use ecgkeep_format::{Error, Kind, Limits, Note, Place, Read, Result, Source, Weight, plain_name};
use ecgkeep_recording::{
    CivilTime, Exact, Extra, ExtraValue, Lead, Origin, Rate, Recording, Signal, TimeOfDay, Waveform,
    WaveformKind,
};

use crate::comments::Told;
use crate::constants::{ID, MAT4_HEADER, Packing, RECORD_LINE, SIGNAL_FILE, SIGNAL_LINE};
use crate::header::Header;
use crate::keys::{LeadLines, WaveLines};
use crate::line::{CORRECT_IT, Line, shown};
use crate::record_line::RecordLine;
use crate::samples::{Stored, decode};
use crate::scale::Scale;
use crate::signal_line::SignalLine;

/// Reads the record whose header is the source's main file.
pub(crate) fn read(source: &dyn Source, limits: &Limits) -> Result<Read> {
    let mut notes = Vec::new();
    let file = source.main();
    let bytes = source.bytes(file, limits.file_bytes)?;
    let header = Header::read(file, &bytes, limits, &mut notes)?;
    check_name(file, &header.record, &mut notes);
    if header.record.segments.is_some() {
        return Err(Error::new(Kind::Unsupported, "records of several segments are not read yet")
            .at(Place::file(file))
            .clause(RECORD_LINE));
    }
    let stored = read_signals(source, file, &header, limits, &mut notes)?;
    let mut told = Told::read(file, &header.comments, header.signals.len(), &mut notes);
    let waveforms = waveforms(file, &header, stored, &told.leads, &told.waves, &mut notes)?;
    told.acquisition.start = start(file, &header.record, &told, &mut notes);
    told.extras.extend(extras(&header));
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
fn check_name(file: &str, record: &RecordLine, notes: &mut Vec<Note>) {
    let stem = file.strip_suffix(".hea").unwrap_or(file);
    if record.name != stem {
        let text =
            format!("the record line names the record {}, the file is {}", shown(&record.name), shown(stem));
        let note = Note::new(Weight::Departure, Place::file(file), text);
        notes.push(Note { clause: Some(RECORD_LINE), ..note });
    }
}

/// Signals that share a file.
struct Group<'a> {
    /// Position of the first one in the header.
    first: usize,
    /// Where its line stands.
    place: Place,
    signals: Vec<&'a SignalLine>,
}

impl Group<'_> {
    fn file(&self) -> &str {
        &self.signals[0].file
    }

    fn packing(&self) -> &'static Packing {
        self.signals[0].packing
    }

    fn offset_bytes(&self) -> u64 {
        self.signals[0].offset_bytes
    }

    fn per_frame(&self) -> Vec<usize> {
        self.signals.iter().map(|signal| signal.per_frame).collect()
    }

    fn frame(&self) -> u64 {
        self.signals.iter().map(|signal| signal.per_frame as u64).sum()
    }
}

/// header(5): the lines of the signals of one file follow each other and agree on format and offset.
fn groups<'a>(file: &str, header: &'a Header) -> Result<Vec<Group<'a>>> {
    let mut groups: Vec<Group> = Vec::new();
    for (index, (line, signal)) in header.signals.iter().enumerate() {
        let place = Place::file(file).line(*line).part(format!("signal {}", index + 1));
        let wrong =
            |what: String| Error::malformed(place.clone(), what).clause(SIGNAL_LINE).remedy(CORRECT_IT);
        let shared = groups.iter().position(|group| group.file() == signal.file);
        match shared {
            None => groups.push(Group { first: index, place, signals: vec![signal] }),
            Some(at) if at + 1 != groups.len() => {
                let text =
                    format!("the signals of the file {} do not follow each other", shown(&signal.file));
                return Err(wrong(text));
            }
            Some(at) if groups[at].packing() != signal.packing => {
                let (a, b) = (groups[at].packing().number, signal.packing.number);
                return Err(wrong(format!("storage format {b} in a file whose first signal has format {a}")));
            }
            Some(at) if groups[at].offset_bytes() != signal.offset_bytes => {
                let (a, b) = (groups[at].offset_bytes(), signal.offset_bytes);
                return Err(wrong(format!("byte offset {b} in a file whose first signal has offset {a}")));
            }
            Some(at) => groups[at].signals.push(signal),
        }
    }
    Ok(groups)
}

/// Every signal's samples, in the order of the header, aligned.
fn read_signals(
    source: &dyn Source,
    file: &str,
    header: &Header,
    limits: &Limits,
    notes: &mut Vec<Note>,
) -> Result<Vec<Stored>> {
    let groups = groups(file, header)?;
    let mut files = Vec::with_capacity(groups.len());
    for group in &groups {
        plain_name(group.file()).map_err(|error| error.at(group.place.clone()).clause(SIGNAL_LINE))?;
        files.push(source.bytes(group.file(), limits.file_bytes)?);
    }
    let inferred = groups.iter().zip(&files).map(|(group, bytes)| {
        let bytes = (bytes.len() as u64).saturating_sub(group.offset_bytes());
        group.packing().samples_in(bytes) / group.frame()
    });
    let frames = match header.record.frames {
        Some(frames) => frames,
        None => inferred.min().unwrap_or(0),
    };
    let frame: u64 = groups.iter().map(Group::frame).sum();
    let total = frame.checked_mul(frames).filter(|total| *total <= limits.samples);
    let (Some(_), Ok(count)) = (total, usize::try_from(frames)) else {
        let text =
            format!("{frames} frames of {frame} samples, more than the limit of {} samples", limits.samples);
        return Err(Error::new(Kind::Limit, text).at(Place::file(file)));
    };
    let mut all = Vec::with_capacity(header.signals.len());
    for (group, bytes) in groups.iter().zip(&files) {
        let bytes = cut(group, bytes, frames, notes)?;
        let stored = decode(bytes, group.packing(), &group.per_frame(), count);
        for (index, (mut stored, signal)) in stored.into_iter().zip(&group.signals).enumerate() {
            let number = group.first + index;
            let place =
                Place::file(file).line(header.signals[number].0).part(format!("signal {}", number + 1));
            check_sums(&Line { place, clause: SIGNAL_LINE, text: "" }, signal, &stored, header, notes);
            let by = usize::try_from(signal.skew).unwrap_or(usize::MAX).saturating_mul(signal.per_frame);
            stored.shift(by);
            all.push(stored);
        }
    }
    Ok(all)
}

/// The bytes of a signal file that hold its frames.
fn cut<'a>(group: &Group, bytes: &'a [u8], frames: u64, notes: &mut Vec<Note>) -> Result<&'a [u8]> {
    let packing = group.packing();
    let place = || Place::file(group.file());
    let needed = frames.checked_mul(group.frame()).and_then(|samples| packing.bytes_for(samples));
    let needed = needed.and_then(|needed| needed.checked_add(group.offset_bytes())).unwrap_or(u64::MAX);
    let length = bytes.len() as u64;
    if length < needed {
        let text = format!(
            "needs {needed} bytes for {frames} frames in storage format {}, has {length}",
            packing.number
        );
        return Err(Error::new(Kind::Truncated, text)
            .at(place())
            .clause(SIGNAL_FILE)
            .remedy("get the whole file again, or correct the number of samples in the header"));
    }
    let further = packing.samples_in(length - group.offset_bytes()).saturating_sub(frames * group.frame());
    if further >= group.frame() + packing.unit.0 as u64 {
        let text = format!("holds at least {} frames more than the {frames} stated", further / group.frame());
        notes.push(Note::new(Weight::Departure, place(), text));
    }
    let start = usize::try_from(group.offset_bytes()).unwrap_or(bytes.len());
    check_mat4(group, &bytes[..start], frames, notes);
    Ok(&bytes[start..])
}

/// A preamble of 24 bytes is the head of a MAT v4 file: a 16-bit matrix `val` of signals x samples, low byte first.
/// The header drives the reading; a matrix that says otherwise is noted.
fn check_mat4(group: &Group, preamble: &[u8], frames: u64, notes: &mut Vec<Note>) {
    let is_mat = preamble.len() == MAT4_HEADER && group.file().ends_with(".mat");
    if !is_mat {
        return;
    }
    let number =
        |at: usize| preamble[at..at + 4].iter().rev().fold(0u64, |value, byte| value << 8 | u64::from(*byte));
    let says = [number(0), number(4), number(8), number(12), number(16)];
    if says != [30, group.frame(), frames, 0, 4] || &preamble[20..] != b"val\0" {
        let text = format!(
            "its MAT v4 head says {says:?}, the header's frames need [30, {}, {frames}, 0, 4]",
            group.frame()
        );
        notes.push(Note::new(Weight::Departure, Place::file(group.file()), text));
    }
}

/// header(5): checksum (where the length is known) and initial value, over the samples as stored.
fn check_sums(line: &Line, signal: &SignalLine, stored: &Stored, header: &Header, notes: &mut Vec<Note>) {
    let sum = i64::from(stored.sum);
    if let Some(stated) = signal.checksum.filter(|_| header.record.frames.is_some())
        && stated.rem_euclid(1 << 16) != sum
    {
        let text = format!("the checksum is stated as {stated}, the samples sum to {sum} modulo 65536");
        line.note(Weight::Damage, notes, text);
    }
    if let (Some(stated), Some(first)) = (signal.initial, stored.first)
        && stated != i64::from(first)
    {
        line.departure(
            notes,
            format!("the initial value is stated as {stated}, the first sample is {first}"),
        );
    }
}

/// The signals as waveforms: those with equally many samples in a frame belong together, unless lines of ours
/// say otherwise.
fn waveforms(
    file: &str,
    header: &Header,
    stored: Vec<Stored>,
    leads: &[LeadLines],
    waves: &[WaveLines],
    notes: &mut Vec<Note>,
) -> Result<Vec<Waveform>> {
    let per_frame: Vec<usize> = header.signals.iter().map(|(_, signal)| signal.per_frame).collect();
    let members = match stated_members(waves, &per_frame) {
        Some(members) => members,
        None => {
            if waves.iter().any(|wave| wave.leads.is_some()) {
                let text = "the wave[n].leads lines do not divide the signals; signals of one rate were put together";
                notes.push(Note::new(Weight::Departure, Place::file(file), text));
            }
            members_by_rate(&per_frame)
        }
    };
    let mut signals: Vec<Option<Signal>> = Vec::with_capacity(stored.len());
    for (index, stored) in stored.into_iter().enumerate() {
        let (number, line) = &header.signals[index];
        let place = Place::file(file).line(*number).part(format!("signal {}", index + 1));
        let place = Line { place, clause: SIGNAL_LINE, text: "" };
        signals.push(Some(signal(&place, &header.record, line, stored, &leads[index], index, notes)?));
    }
    let mut made = Vec::with_capacity(members.len());
    for (index, members) in members.into_iter().enumerate() {
        let count = Exact::whole(per_frame[members[0]].try_into().unwrap_or(1));
        let rate = header.record.rate.times(count).and_then(Rate::new);
        let mut rate = rate.ok_or_else(|| {
            Error::malformed(Place::file(file), "the sampling rate is too large").clause(RECORD_LINE)
        })?;
        let wave = waves.get(index);
        if let Some(exact) = wave.and_then(|wave| wave.rate).and_then(Rate::new) {
            let (a, b) = (exact.per_second().to_f64(), rate.per_second().to_f64());
            if (a - b).abs() <= 1e-14 * b {
                rate = exact;
            } else {
                let text = format!(
                    "wave[{}].rate-hz is not the rate of the record line, which was taken",
                    index + 1
                );
                notes.push(Note::new(Weight::Departure, Place::file(file), text));
            }
        }
        let members = members.into_iter().filter_map(|member| signals[member].take()).collect();
        let mut waveform = Waveform::new(rate, members).map_err(|error| {
            Error::malformed(Place::file(file), "the signals make no waveform").because(error)
        })?;
        let kind = wave.and_then(|wave| wave.kind.as_deref()).map_or(WaveformKind::Rhythm, kind_from_text);
        waveform.kind = kind;
        waveform.start = wave.and_then(|wave| wave.start).unwrap_or_default();
        made.push(waveform);
    }
    Ok(made)
}

/// Signals of one rate together, in the order in which the rates first appear.
pub(crate) fn members_by_rate(per_frame: &[usize]) -> Vec<Vec<usize>> {
    let mut members: Vec<(usize, Vec<usize>)> = Vec::new();
    for (index, count) in per_frame.iter().enumerate() {
        match members.iter_mut().find(|(known, _)| known == count) {
            Some((_, members)) => members.push(index),
            None => members.push((*count, vec![index])),
        }
    }
    members.into_iter().map(|(_, members)| members).collect()
}

/// The division that `wave[n].leads` states: consecutive ranges over all signals, one rate in each.
fn stated_members(waves: &[WaveLines], per_frame: &[usize]) -> Option<Vec<Vec<usize>>> {
    if waves.is_empty() {
        return None;
    }
    let mut members = Vec::with_capacity(waves.len());
    let mut next = 1;
    for wave in waves {
        let (first, last) = wave.leads.as_deref()?.split_once('-')?;
        let (first, last): (usize, usize) = (first.parse().ok()?, last.parse().ok()?);
        if first != next || last < first || last > per_frame.len() {
            return None;
        }
        let range: Vec<usize> = (first - 1..last).collect();
        if range.iter().any(|index| per_frame[*index] != per_frame[first - 1]) {
            return None;
        }
        members.push(range);
        next = last + 1;
    }
    (next == per_frame.len() + 1).then_some(members)
}

/// The inverse is [`crate::write::kind_to_text`].
fn kind_from_text(text: &str) -> WaveformKind {
    if let Some(class) = text.strip_prefix("representative-beat ").and_then(|class| class.parse().ok()) {
        return WaveformKind::RepresentativeBeat { class };
    }
    match text.strip_prefix("other ") {
        Some(name) => WaveformKind::Other(name.to_owned()),
        None if text == "rhythm" => WaveformKind::Rhythm,
        None => WaveformKind::Other(text.to_owned()),
    }
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
    Ok(Signal {
        lead,
        label,
        unit,
        step,
        offset,
        missing: stored.missing,
        derived: lines.derived,
        skew,
        samples: stored.samples,
    })
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
    let disagrees = |what: &str| {
        let text =
            format!("acq.datetime and the record line give different {what}s; the record line's was taken");
        Note { clause: Some(RECORD_LINE), ..Note::new(Weight::Departure, Place::file(file), text) }
    };
    if let Some(date) = record.date {
        let is_coarser = |own: &str, other: &str| own.starts_with(other);
        if start.date.is_some_and(|stated| !is_coarser(&date.to_string(), &stated.to_string())) {
            notes.push(disagrees("date"));
        }
        start.date = Some(date);
    }
    if let Some(time) = record.time {
        if start.time.is_some_and(|stated| !is_part_of(stated, time)) {
            notes.push(disagrees("time"));
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

/// Addresses of the header's fields that the model does not name.
pub(crate) const COUNTER: &str = "counter frequency";
pub(crate) const BASE_COUNTER: &str = "base counter value";
pub(crate) const ADC_RESOLUTION: &str = "ADC resolution";
pub(crate) const ADC_ZERO: &str = "ADC zero";

/// What the header says and the model does not name.
fn extras(header: &Header) -> Vec<Extra> {
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
