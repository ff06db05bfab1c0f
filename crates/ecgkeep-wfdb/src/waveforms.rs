//! Signals put together as waveforms, and what lines of ours say of these.

use ecgkeep_format::{Error, Note, Place, Result, Weight};
use ecgkeep_recording::{Exact, Rate, Signal, Span, Waveform, WaveformKind};

use crate::constants::RECORD_LINE;
use crate::keys::WaveLines;
use crate::marks::{Setting, Timing};

/// A signal and its samples in a frame.
pub(crate) type Rated = (Signal, usize);

/// Rates closer than this are one rate, written as a decimal of a 64-bit floating-point number.
const SAME_RATE: f64 = 1e-14;

/// The signals as waveforms: those with equally many samples in a frame belong together, unless `wave[n].leads`
/// says otherwise; and what annotations refer to. `rate` is in frames per second.
/// # Errors
/// [`ecgkeep_format::Kind::Malformed`] where a rate is too large to be held.
pub(crate) fn waveforms(
    file: &str,
    rate: Exact,
    signals: Vec<Rated>,
    waves: &[WaveLines],
    notes: &mut Vec<Note>,
) -> Result<(Vec<Waveform>, Setting)> {
    let per_frame: Vec<usize> = signals.iter().map(|(_, count)| *count).collect();
    let mut departure = |text: String| notes.push(Note::new(Weight::Departure, Place::file(file), text));
    let members = stated_members(waves, &per_frame).unwrap_or_else(|| {
        if waves.iter().any(|wave| wave.leads.is_some()) {
            let text =
                "the wave[n].leads lines do not divide the signals; signals of one rate were put together";
            departure(text.to_owned());
        }
        members_by_rate(&per_frame)
    });
    let leads = signals.iter().map(|(signal, _)| (0, signal.lead.clone())).collect();
    let mut setting = Setting { signals: leads, waves: Vec::with_capacity(members.len()) };
    let mut signals: Vec<Option<Signal>> = signals.into_iter().map(|(signal, _)| Some(signal)).collect();
    let mut made = Vec::with_capacity(members.len());
    for (index, members) in members.into_iter().enumerate() {
        members.iter().for_each(|member| setting.signals[*member].0 = index);
        let count = i64::try_from(per_frame[members[0]]).unwrap_or(i64::MAX);
        let mut own_rate = rate.times(count.into()).and_then(Rate::new).ok_or_else(|| {
            Error::malformed(Place::file(file), "the sampling rate is too large").clause(RECORD_LINE)
        })?;
        let wave = waves.get(index);
        if let Some(exact) = wave.and_then(|wave| wave.rate).and_then(Rate::new) {
            let (a, b) = (exact.per_second().to_f64(), own_rate.per_second().to_f64());
            if (a - b).abs() <= SAME_RATE * b {
                own_rate = exact;
            } else {
                let number = index + 1;
                departure(format!(
                    "wave[{number}].rate-hz is not the rate of the record line, which was taken"
                ));
            }
        }
        let per_frame = per_frame[members[0]];
        let mut members: Vec<Signal> =
            members.into_iter().filter_map(|member| signals[member].take()).collect();
        let mut before = 0;
        if let Some((first, count)) = wave.and_then(own_samples) {
            if members.iter().all(|signal| is_padding_but(signal, first, count)) {
                members.iter_mut().for_each(|signal| cut(signal, first, count));
                before = i64::try_from(first).unwrap_or(i64::MAX);
            } else {
                let number = index + 1;
                departure(format!(
                    "wave[{number}].before and .samples leave out samples that are not missing"
                ));
            }
        }
        setting.waves.push(Timing { per_frame, rate: own_rate.per_second(), before });
        let mut waveform = Waveform::new(own_rate, members).map_err(|error| {
            Error::malformed(Place::file(file), "the signals make no waveform").because(error)
        })?;
        waveform.kind =
            wave.and_then(|wave| wave.kind.as_deref()).map_or(WaveformKind::Rhythm, kind_from_text);
        waveform.start = wave.and_then(|wave| wave.start).unwrap_or_default();
        made.push(waveform);
    }
    Ok((made, setting))
}

/// The samples in front of a waveform and its own, where lines of ours say which are its own.
fn own_samples(wave: &WaveLines) -> Option<(usize, usize)> {
    Some((usize::try_from(wave.before.unwrap_or(0)).ok()?, usize::try_from(wave.samples?).ok()?))
}

/// Whether all but these samples are missing.
fn is_padding_but(signal: &Signal, first: usize, count: usize) -> bool {
    let length = signal.samples.len();
    let Some(end) = first.checked_add(count).filter(|end| *end <= length) else { return false };
    let is_missing = |from: usize, to: usize| {
        from == to || signal.missing.iter().any(|span| span.start <= from && to <= span.end)
    };
    is_missing(0, first) && is_missing(end, length)
}

/// Only these samples.
fn cut(signal: &mut Signal, first: usize, count: usize) {
    signal.samples.drain(..first);
    signal.samples.truncate(count);
    let moved = signal.missing.iter().map(|span| Span {
        start: span.start.saturating_sub(first).min(count),
        end: span.end.saturating_sub(first).min(count),
    });
    signal.missing = moved.filter(|span| !span.is_empty()).collect();
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

/// The kind of a waveform as a line spells it.
pub(crate) fn kind_to_text(kind: &WaveformKind) -> String {
    match kind {
        WaveformKind::Rhythm => "rhythm".to_owned(),
        WaveformKind::RepresentativeBeat { class } => format!("representative-beat {class}"),
        other => format!("other {other}"),
    }
}

/// The inverse of [`kind_to_text`].
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
