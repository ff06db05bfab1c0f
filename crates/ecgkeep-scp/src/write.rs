//! From a recording to a record of version 2, part by part in the order in which it is read.

use ecgkeep_format::{Error, File, Kind, OptionSpec, Options, Place, Result, plain_name};
use ecgkeep_recording::{Exact, MarkKind, Rate, Recording, Signal, Waveform, WaveformKind};

use crate::beats::{Beats, Complex, write_beats};
use crate::constants::{SECTION_HEADER_BYTES, clause, system};
use crate::extras::{Extras, version_address};
use crate::global::{Clock, write_global};
use crate::header::write_header;
use crate::huffman::write_default_table;
use crate::lead_values::write_lead_values;
use crate::leads::{LeadRow, write_leads};
use crate::record::{Part, write_record};
use crate::scaling::{Scaled, scale};
use crate::signals::{Coding, best_huffman_coding, raw_coding, write_signals};
use crate::statements::{CODES, TEXTS, write_statements};
use crate::text::{CharacterSet, TooNarrow};

/// How the samples are stored.
pub(crate) const COMPRESSION: OptionSpec = OptionSpec {
    name: "compression",
    values: &["auto", "huffman", "raw"],
    default: "auto",
    help: "how samples are stored, always without loss; auto is the smaller of Huffman coded differences and plain \
           16-bit numbers",
};

/// The rhythm as it will be written.
struct Rhythm<'a> {
    rows: Vec<LeadRow>,
    signals: Vec<&'a Signal>,
    interval_us: u16,
    /// The waveform whose marks are written.
    first: &'a Waveform,
}

/// The reference beat as it will be written.
struct Beat {
    interval_us: u16,
    length_ms: u16,
    fiducial: u16,
    samples: Scaled,
}

/// Writes one recording as one file.
/// # Errors
/// [`Kind::Refused`] where SCP-ECG cannot hold the samples or the rate, [`Kind::Malformed`] for a bad `stem`.
pub(crate) fn encode(recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>> {
    let [recording] = recordings else {
        return Err(refused("file", format!("{} recordings: an SCP-ECG record holds one", recordings.len()))
            .clause(clause::RECORD));
    };
    let name = format!("{stem}.scp");
    plain_name(&name)?;
    let rhythm = rhythm(recording)?;
    let samples = scale(&rhythm.signals)?;
    let beat = recording.waveforms.iter().find_map(|waveform| beat(waveform, &rhythm.rows));
    let (coding, beat_coding) = coding(&samples, beat.as_ref(), options.get(&COMPRESSION))?;
    let mut parts = text_sections(recording, beat.is_some());
    if coding.is_huffman {
        parts.push(Part::new(2, write_default_table()));
    }
    parts.push(Part::new(3, write_leads(&rhythm.rows)));
    let beats = beats(&rhythm, beat.as_ref());
    if beat.is_some() || !beats.complexes.is_empty() {
        parts.push(Part::new(4, write_beats(&beats)));
    }
    if let Some((beat, coding)) = beat.zip(beat_coding) {
        let body = write_signals(beat.samples.step_nv, beat.interval_us, coding, &beat.samples.leads);
        parts.push(Part::new(5, body));
    }
    let body = write_signals(samples.step_nv, rhythm.interval_us, coding, &samples.leads);
    parts.push(Part::new(6, body));
    let extras = Extras::of(recording);
    let first = rhythm.rows.first().map_or(1, |row| row.first);
    let clock = Clock { interval_us: rhythm.interval_us.into(), first: i64::from(first) - 1 };
    let measured = [
        (7, write_global(recording, &rhythm.first.marks, clock)),
        (10, write_lead_values(&recording.measurements, &extras)),
    ];
    parts.extend(measured.into_iter().filter_map(|(number, body)| Some(Part::new(number, body?))));
    for (number, body) in extras.sections() {
        let version = extras.number(&version_address(number));
        let part = Part::new(number, body.to_vec());
        parts.push(Part { version: version.unwrap_or(part.version), ..part });
    }
    parts.sort_by_key(|part| part.number);
    Ok(vec![File { name, bytes: write_record(&parts)? }])
}

fn refused(part: &str, what: impl Into<String>) -> Error {
    Error::new(Kind::Refused, what).at(Place::default().part(part))
}

/// Sections 1, 8 and 11 in the narrowest character set that holds all their texts.
fn text_sections(recording: &Recording, has_beat: bool) -> Vec<Part> {
    let parts = |set| -> std::result::Result<Vec<Part>, TooNarrow> {
        let mut parts = vec![Part::new(1, write_header(recording, set, has_beat)?)];
        for number in [TEXTS, CODES] {
            let body = write_statements(number, &recording.statements, set)?;
            parts.extend(body.map(|body| Part::new(number, body)));
        }
        Ok(parts)
    };
    let written = CharacterSet::WRITTEN.into_iter().find_map(|set| parts(set).ok());
    written.expect("the last character set, UTF-8, holds every text")
}

/// The voltage signals of every rhythm waveform on one time axis.
fn rhythm(recording: &Recording) -> Result<Rhythm<'_>> {
    let mut rows = Vec::new();
    let mut signals = Vec::new();
    let mut first: Option<&Waveform> = None;
    let mut last_sample = 0;
    for waveform in recording.rhythm() {
        let voltages: Vec<&Signal> = waveform.signals().iter().filter(|signal| signal.is_voltage()).collect();
        if voltages.is_empty() || waveform.length() == 0 {
            continue;
        }
        let rate = first.get_or_insert(waveform).rate();
        if rate != waveform.rate() {
            let text =
                format!("rhythm at {rate} and {} samples per second: SCP-ECG has one rate", waveform.rate());
            return Err(refused("waveforms", text).clause(clause::RHYTHM));
        }
        let (begin, end) = sample_range(waveform)?;
        last_sample = last_sample.max(end);
        rows.extend(voltages.iter().map(|signal| LeadRow {
            lead: signal.lead.clone(),
            first: begin,
            last: end,
        }));
        signals.extend(voltages);
    }
    let Some(first) = first else {
        let text = "no rhythm in volts, which an SCP-ECG record must have";
        return Err(refused("waveforms", text)
            .clause(clause::RHYTHM)
            .remedy("keep the recording in its own format"));
    };
    if rows.len() > usize::from(u8::MAX) {
        let text = format!("{} leads, SCP-ECG holds at most 255", rows.len());
        return Err(refused("waveforms", text).clause(clause::LEADS));
    }
    Ok(Rhythm { rows, signals, interval_us: interval_us(first.rate(), last_sample)?, first })
}

/// The first and last sample of a waveform, counted from 1 at the recording's start.
fn sample_range(waveform: &Waveform) -> Result<(u32, u32)> {
    let begin =
        waveform.start.times(waveform.rate().per_second()).and_then(nearest_whole).unwrap_or(0).max(0);
    let end = i64::try_from(waveform.length()).ok().and_then(|length| begin.checked_add(length));
    let range = u32::try_from(begin + 1).ok().zip(end.and_then(|end| u32::try_from(end).ok()));
    range.ok_or_else(|| refused("waveforms", "more samples than SCP-ECG can number").clause(clause::LEADS))
}

fn nearest_whole(value: Exact) -> Option<i64> {
    value.to_decimal(0)?.0.parse().ok()
}

/// The sampling interval in whole microseconds. One that has to be rounded is taken only where it moves the last
/// sample by no more than half an interval.
fn interval_us(rate: Rate, samples: u32) -> Result<u16> {
    let no_interval = |what: &str| {
        refused("sampling rate", format!("{rate} samples per second: {what}"))
            .clause(clause::RHYTHM)
            .remedy("keep the recording in its own format, or resample it where the rate may change")
    };
    let exact = rate.interval().times(Exact::whole(1_000_000));
    let exact = exact.ok_or_else(|| no_interval("the interval is too long a fraction"))?;
    let whole = nearest_whole(exact).and_then(|interval| u16::try_from(interval).ok()).filter(|own| *own > 0);
    let whole = whole.ok_or_else(|| no_interval("the interval is not between 1 and 65535 microseconds"))?;
    let moved =
        Exact::whole(whole.into()).minus(exact).and_then(|apart| apart.times(Exact::whole(samples.into())));
    let half = exact.over(Exact::whole(2));
    match moved.zip(half) {
        Some((moved, half)) if moved.magnitude() <= half => Ok(whole),
        _ => Err(no_interval(
            "no whole number of microseconds, and rounding it would move the end by more than half a sample",
        )),
    }
}

/// The representative beat of class 0 for the leads of the rhythm; `None` where the waveform is none, or does not
/// fit sections 4 and 5.
fn beat(waveform: &Waveform, rows: &[LeadRow]) -> Option<Beat> {
    let is_reference = waveform.kind == WaveformKind::RepresentativeBeat { class: 0 };
    if !is_reference || waveform.length() == 0 {
        return None;
    }
    let length = waveform.length();
    let interval_us = interval_us(waveform.rate(), u32::try_from(length).ok()?).ok()?;
    // the reader finds the number of samples by a division that drops the rest
    let length_ms = u16::try_from((length * usize::from(interval_us)).div_ceil(1000)).ok()?;
    if usize::from(length_ms) * 1000 / usize::from(interval_us) != length {
        return None;
    }
    let mut left: Vec<&Signal> = waveform.signals().iter().filter(|signal| signal.is_voltage()).collect();
    let mut of_row = Vec::with_capacity(rows.len());
    for row in rows {
        let at = left.iter().position(|signal| signal.lead == row.lead);
        of_row.push(at.map(|at| left.remove(at)));
    }
    let signals: Vec<&Signal> = of_row.iter().flatten().copied().collect();
    let mut scaled = scale(&signals).ok().filter(|_| !signals.is_empty())?;
    let mut leads = std::mem::take(&mut scaled.leads).into_iter();
    // a lead without a beat has no bytes
    scaled.leads = of_row.iter().map(|own| own.and_then(|_| leads.next()).unwrap_or_default()).collect();
    raw_coding(&scaled.leads)?;
    best_huffman_coding(&scaled.leads)?;
    let mut marks = waveform.marks.iter().filter(|mark| mark.kind == MarkKind::Beat && mark.lead.is_none());
    let fiducial =
        marks.find_map(|mark| u16::try_from(mark.sample.checked_add(1)?).ok().filter(|own| *own > 0));
    Some(Beat { interval_us, length_ms, fiducial: fiducial.unwrap_or(0), samples: scaled })
}

/// Section 4: the length of the reference beat, and the beats whose type SCP-ECG numbers.
fn beats(rhythm: &Rhythm, beat: Option<&Beat>) -> Beats {
    let first = rhythm.rows.first().map_or(1, |row| row.first);
    let complexes =
        rhythm.first.marks.iter().filter(|mark| mark.kind == MarkKind::Beat && mark.lead.is_none());
    let complexes = complexes.filter_map(|mark| {
        let kind = mark.codes.iter().find(|code| code.system == system::BEAT_TYPE)?.value.parse().ok()?;
        let fiducial = u32::try_from(mark.sample.checked_add(first.into())?).ok()?;
        Some(Complex { kind, begin: 0, fiducial, end: 0 })
    });
    Beats {
        length_ms: beat.map_or(0, |beat| beat.length_ms),
        fiducial: beat.map_or(0, |beat| beat.fiducial),
        complexes: complexes.take(usize::from(u16::MAX)).collect(),
        ..Beats::default()
    }
}

/// How sections 6 and 5 are coded: both with Huffman codes or neither.
fn coding(samples: &Scaled, beat: Option<&Beat>, compression: &str) -> Result<(Coding, Option<Coding>)> {
    let both = |of: fn(&[Vec<i16>]) -> Option<Coding>| {
        let own = of(&samples.leads)?;
        Some((own, beat.and_then(|beat| of(&beat.samples.leads))))
    };
    let bytes = |codings: &(Coding, Option<Coding>)| {
        let table = if codings.0.is_huffman { SECTION_HEADER_BYTES as u64 + 2 } else { 0 };
        codings.0.bytes + codings.1.map_or(0, |coding| coding.bytes) + table
    };
    let huffman = if compression == "raw" { None } else { both(best_huffman_coding) };
    let raw = if compression == "huffman" { None } else { both(raw_coding) };
    huffman.into_iter().chain(raw).min_by_key(bytes).ok_or_else(|| {
        refused("samples", "a lead takes more than 65535 bytes, which SCP-ECG cannot count")
            .clause(clause::RHYTHM)
            .remedy("keep the recording in its own format")
    })
}
