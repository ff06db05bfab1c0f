//! Records of several segments (header(5)): each segment is a record of one; the signals run on from one to the
//! next. Segments of a fixed layout hold the same signals; those of a variable one are matched by description
//! with a layout header in front, and what a segment lacks is missing.

use std::collections::BTreeSet;

use ecgkeep_format::{Error, Kind, Note, Place, Result, Weight, plain_name};
use ecgkeep_recording::{Exact, Extra, ExtraValue, Signal, Span, Step, Waveform};

use crate::constants::{ID, NO_FILE, SEGMENT_LINE};
use crate::header::{Header, SegmentLine};
use crate::keys::LeadLines;
use crate::line::{CORRECT_IT, Line, shown};
use crate::marks::Setting;
use crate::read::{check_name, extras, signals};
use crate::scale::common_divisor;
use crate::signal_files::Files;
use crate::waveforms::{Rated, waveforms};

/// One segment as its own files hold it.
struct Segment {
    frames: u64,
    /// Empty for a null segment.
    signals: Vec<Option<Rated>>,
}

/// Reads the segments of the record whose header this is.
pub(crate) fn read(
    file: &str,
    header: &Header,
    files: &mut Files,
    kept: &mut Vec<Extra>,
    notes: &mut Vec<Note>,
) -> Result<(Vec<Waveform>, Setting)> {
    check_lengths(file, header)?;
    let is_variable = header.segments.first().is_some_and(|(_, segment)| segment.frames == 0);
    let mut told = BTreeSet::new();
    let mut own_extras: Option<Vec<Extra>> = None;
    let mut layout: Option<Vec<Rated>> = None;
    let mut segments = Vec::with_capacity(header.segments.len());
    let mut samples = 0u64;
    for (index, (number, segment)) in header.segments.iter().enumerate() {
        let place = Place::file(file).line(*number).part(format!("segment {}", index + 1));
        let line = Line { place, clause: SEGMENT_LINE, text: "" };
        if segment.name == NO_FILE {
            segments.push(Segment { frames: segment.frames, signals: Vec::new() });
            continue;
        }
        let (name, inner) = read_header(&line, header, segment, files, notes)?;
        let (frames, stored) = files.signals(&name, &inner, notes)?;
        let leads: Vec<LeadLines> = inner.signals.iter().map(|_| LeadLines::default()).collect();
        let read = signals(&name, &inner, stored, &leads, notes)?;
        if told.insert(segment.name.clone()) {
            keep_comments(&segment.name, &inner, kept);
            let found = extras(&inner);
            match &own_extras {
                None => own_extras = Some(found),
                Some(first) if *first != found => {
                    line.note(Weight::NotTaken, notes, "ADC fields that are not those of the first segment");
                }
                Some(_) => {}
            }
        }
        samples += read.iter().map(|(signal, _)| signal.samples.len() as u64).sum::<u64>();
        files.check_count(Some(samples), line.place.clone(), &format!("{samples} samples so far"))?;
        match &mut layout {
            None => {
                if read.len() != header.record.signals {
                    let text =
                        format!("{} signals where the record has {}", read.len(), header.record.signals);
                    return Err(line.malformed(text));
                }
                layout = Some(read.iter().map(|(signal, count)| (without_samples(signal), *count)).collect());
                let signals = if is_variable { Vec::new() } else { read.into_iter().map(Some).collect() };
                segments.push(Segment { frames: frames as u64, signals });
            }
            Some(known) => {
                let signals = arrange(&line, known, read, is_variable, notes)?;
                segments.push(Segment { frames: frames as u64, signals });
            }
        }
    }
    kept.extend(own_extras.unwrap_or_default());
    let layout = layout.unwrap_or_default();
    join(file, header, layout, segments, files, notes)
}

/// header(5): the lengths of the segments sum to the record's; only the layout has length 0, and it comes first.
fn check_lengths(file: &str, header: &Header) -> Result<()> {
    let place = |line: u64| Place::file(file).line(line);
    let wrong =
        |place: Place, what: String| Error::malformed(place, what).clause(SEGMENT_LINE).remedy(CORRECT_IT);
    let mut sum = 0u64;
    for (index, (line, segment)) in header.segments.iter().enumerate() {
        if segment.frames == 0 && index > 0 {
            return Err(wrong(place(*line), "a segment of length 0 that is not the first".to_owned()));
        }
        let next = sum.checked_add(segment.frames);
        sum =
            next.ok_or_else(|| wrong(place(*line), "the lengths of the segments are too large".to_owned()))?;
    }
    match header.record.frames {
        Some(frames) if frames != sum => {
            Err(wrong(Place::file(file), format!("{frames} samples are stated, the segments have {sum}")))
        }
        _ => Ok(()),
    }
}

/// The header of a segment, checked against the record's.
fn read_header(
    line: &Line,
    record: &Header,
    segment: &SegmentLine,
    files: &mut Files,
    notes: &mut Vec<Note>,
) -> Result<(String, Header)> {
    let name = format!("{}.hea", segment.name);
    plain_name(&name).map_err(|error| error.at(line.place.clone()).clause(SEGMENT_LINE))?;
    if segment.name == record.record.name {
        return Err(line.malformed("the record names itself as a segment"));
    }
    let bytes = files.bytes(&name)?;
    let inner = Header::read(&name, &bytes, files.limits, notes)?;
    check_name(&name, &inner.record, notes);
    if inner.record.segments.is_some() {
        return Err(line.malformed("a segment that has segments itself"));
    }
    if inner.record.rate != record.record.rate {
        let (own, of) = (inner.record.rate, record.record.rate);
        return Err(line.malformed(format!("the sampling rate of the segment is {own}, of the record {of}")));
    }
    if inner.record.frames.unwrap_or(0) != segment.frames {
        let own = inner.record.frames.unwrap_or(0);
        let text = format!("{} samples are stated, the segment's own header has {own}", segment.frames);
        return Err(line.malformed(text));
    }
    Ok((name, inner))
}

/// Comments of a segment, kept word for word.
fn keep_comments(name: &str, header: &Header, kept: &mut Vec<Extra>) {
    for (comment, number) in header.comments.iter().zip(1..) {
        let value = match String::from_utf8(comment.bytes.clone()) {
            Ok(text) => ExtraValue::Text(text),
            Err(error) => ExtraValue::Bytes(error.into_bytes()),
        };
        let address = format!("segment {name}, comment {number}");
        kept.push(Extra { format: ID.to_owned(), address, value });
    }
}

fn without_samples(signal: &Signal) -> Signal {
    Signal { samples: Vec::new(), missing: Vec::new(), ..signal.clone() }
}

/// What a description is matched by: the source's own spelling.
fn spelling(signal: &Signal) -> String {
    signal.label.clone().unwrap_or_else(|| signal.lead.name())
}

/// A segment's signals in the order of the layout.
fn arrange(
    line: &Line,
    layout: &mut Vec<Rated>,
    read: Vec<Rated>,
    is_variable: bool,
    notes: &mut Vec<Note>,
) -> Result<Vec<Option<Rated>>> {
    let mut names: Vec<String> = layout.iter().map(|(signal, _)| spelling(signal)).collect();
    if !is_variable {
        let found: Vec<String> = read.iter().map(|(signal, _)| spelling(signal)).collect();
        if found != names {
            let (names, found) = (names.join(", "), found.join(", "));
            return Err(line.malformed(format!("a segment with the signals {found} in a record of {names}")));
        }
    }
    let mut arranged: Vec<Option<Rated>> = layout.iter().map(|_| None).collect();
    for (position, (signal, count)) in read.into_iter().enumerate() {
        let name = spelling(&signal);
        let is_free = |slot: &usize| arranged[*slot].is_none() && names[*slot] == name;
        let slot = if is_variable { (0..names.len()).find(is_free) } else { Some(position) };
        match slot {
            Some(slot) if layout[slot].1 != count => {
                let text = format!("{name} has {count} samples per frame, {} before", layout[slot].1);
                return Err(line.malformed(text));
            }
            Some(slot) => arranged[slot] = Some((signal, count)),
            None => {
                let text = format!("the signal {} is not in the layout and was put behind it", shown(&name));
                line.departure(notes, text);
                layout.push((without_samples(&signal), count));
                names.push(name);
                arranged.push(Some((signal, count)));
            }
        }
    }
    Ok(arranged)
}

/// The segments one after the other; as waveforms of their own where their scales have no common one.
fn join(
    file: &str,
    header: &Header,
    layout: Vec<Rated>,
    mut segments: Vec<Segment>,
    files: &Files,
    notes: &mut Vec<Note>,
) -> Result<(Vec<Waveform>, Setting)> {
    let rate = header.record.rate;
    let frames = segments.iter().fold(0u64, |sum, segment| sum.saturating_add(segment.frames));
    let frame: usize = layout.iter().map(|(_, count)| count).sum();
    let scales: Vec<Option<Common>> = (0..layout.len())
        .map(|slot| {
            let pieces = segments.iter().filter_map(|segment| segment.signals.get(slot)?.as_ref());
            Common::of(pieces.map(|(signal, _)| signal), &layout[slot].0)
        })
        .collect();
    let what = format!("{frames} frames of {frame} samples");
    files.check_count((frame as u64).checked_mul(frames), Place::file(file), &what)?;
    let Ok(frames) = usize::try_from(frames) else {
        let text = format!("{what}, more than this machine can address");
        return Err(Error::new(Kind::Limit, text).at(Place::file(file)));
    };
    let Some(scales) = scales.into_iter().collect::<Option<Vec<Common>>>() else {
        let text =
            "the scale changes between segments and has no common one: each became a waveform of its own";
        notes.push(Note::new(Weight::Departure, Place::file(file), text));
        return apart(file, rate, segments, notes);
    };
    let mut joined = Vec::with_capacity(layout.len());
    for (slot, ((signal, count), scale)) in layout.into_iter().zip(scales).enumerate() {
        let mut whole = Signal { samples: Vec::with_capacity(frames * count), ..signal };
        if scale.changes {
            let text =
                format!("the scale of {} changes between segments; a common one was taken", whole.lead);
            notes.push(Note::new(Weight::Departure, Place::file(file), text));
        }
        scale.give(&mut whole);
        for segment in &mut segments {
            let start = whole.samples.len();
            let length = usize::try_from(segment.frames).unwrap_or(frames) * count;
            let piece = segment.signals.get_mut(slot).and_then(Option::take);
            match piece.and_then(|(piece, _)| scale.convert(piece)) {
                Some(piece) => {
                    whole.samples.extend_from_slice(&piece.samples);
                    whole.missing.extend(
                        piece.missing.iter().map(|s| Span { start: start + s.start, end: start + s.end }),
                    );
                    whole.skew = whole.skew.or(piece.skew);
                }
                None => {
                    whole.samples.resize(start + length, 0);
                    whole.missing.push(Span { start, end: start + length });
                }
            }
        }
        let missing = std::mem::take(&mut whole.missing);
        joined.push((whole.with_missing(missing), count));
    }
    waveforms(file, rate, joined, &[], notes)
}

/// Each segment as waveforms of its own.
fn apart(
    file: &str,
    rate: Exact,
    segments: Vec<Segment>,
    notes: &mut Vec<Note>,
) -> Result<(Vec<Waveform>, Setting)> {
    let mut made = Vec::new();
    let mut setting: Option<Setting> = None;
    let mut before = 0i64;
    for segment in segments {
        let start = Exact::whole(before).over(rate).unwrap_or_default();
        let signals: Vec<Rated> = segment.signals.into_iter().flatten().collect();
        if !signals.is_empty() {
            let (own, mut found) = waveforms(file, rate, signals, &[], notes)?;
            for (mut waveform, timing) in own.into_iter().zip(&mut found.waves) {
                waveform.start = start;
                timing.before = before.saturating_mul(i64::try_from(timing.per_frame).unwrap_or(i64::MAX));
                made.push(waveform);
            }
            // annotations are counted from the start of the record: they go to the first segment's waveforms
            setting.get_or_insert(found);
        }
        before = before.saturating_add(i64::try_from(segment.frames).unwrap_or(i64::MAX));
    }
    Ok((made, setting.unwrap_or_default()))
}

/// A step and an offset of which those of all pieces of a signal are whole multiples.
#[derive(Clone, Debug)]
struct Common {
    step: Exact,
    offset: Exact,
    unit: ecgkeep_recording::SignalUnit,
    changes: bool,
}

impl Common {
    /// `None` where the pieces have no common unit or scale, or a count would not fit 32 bits.
    fn of<'a>(pieces: impl Iterator<Item = &'a Signal> + Clone, layout: &Signal) -> Option<Common> {
        let first = pieces.clone().next().unwrap_or(layout);
        let mut common = Common {
            step: first.step.nanovolts(),
            offset: first.offset,
            unit: first.unit.clone(),
            changes: false,
        };
        for piece in pieces.clone() {
            if piece.unit != common.unit {
                return None;
            }
            let (step, apart) = (piece.step.nanovolts(), piece.offset.minus(common.offset)?);
            if step != first.step.nanovolts() || !apart.is_zero() {
                common.changes = true;
                common.step = common_divisor(common_divisor(common.step, step)?, apart)?;
            }
        }
        let fits = pieces.clone().all(|piece| {
            let (Some(factor), Some(shift)) = (common.factor(piece), common.shift(piece)) else {
                return false;
            };
            let count = |count: i32| i64::from(count).checked_mul(factor)?.checked_add(shift);
            let fits = |value: Option<&i32>| {
                value.is_none_or(|value| count(*value).is_some_and(|count| i32::try_from(count).is_ok()))
            };
            fits(piece.samples.iter().min()) && fits(piece.samples.iter().max())
        });
        fits.then_some(common)
    }

    fn factor(&self, piece: &Signal) -> Option<i64> {
        piece.step.nanovolts().over(self.step)?.to_whole()
    }

    fn shift(&self, piece: &Signal) -> Option<i64> {
        piece.offset.minus(self.offset)?.over(self.step)?.to_whole()
    }

    fn give(&self, signal: &mut Signal) {
        if let Some(step) = Step::new(self.step) {
            signal.step = step;
        }
        (signal.offset, signal.unit) = (self.offset, self.unit.clone());
    }

    /// A piece on the common scale; its missing samples stay 0.
    fn convert(&self, mut piece: Signal) -> Option<Signal> {
        if self.changes {
            let (factor, shift) = (self.factor(&piece)?, self.shift(&piece)?);
            for sample in &mut piece.samples {
                *sample = i32::try_from(i64::from(*sample) * factor + shift).ok()?;
            }
        }
        Some(piece)
    }
}
