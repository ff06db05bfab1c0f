//! Which waveforms share a record, and where each stands in it.
//!
//! A record has one rate of frames and one length. A waveform that starts later or ends sooner than the record has
//! missing samples there, so that every reader sees it where it was recorded; lines of ours say what is only padding.

use std::borrow::Cow;

use ecgkeep_recording::{Exact, Mark, Recording, Signal, Waveform, WaveformKind};

use crate::constants::{MOST_PADDING, MOST_SHARED_PER_FRAME, Packing};
use crate::keys::WaveLines;
use crate::marks::{Setting, Timing};
use crate::record_line::plain;
use crate::scale::common_divisor;
use crate::waveforms::{kind_to_text, members_by_rate};

/// The waveforms of a record.
#[derive(Default)]
pub(crate) struct Plan<'a> {
    placed: Vec<Placed<'a>>,
    /// Frames of the record.
    pub(crate) frames: usize,
    /// Frames per second; zero without waveforms.
    pub(crate) rate: Exact,
}

/// A waveform in a record.
struct Placed<'a> {
    waveform: &'a Waveform,
    /// Its samples in a frame.
    per_frame: usize,
    /// Missing samples in front of it.
    before: usize,
}

impl<'a> Plan<'a> {
    /// The first rhythm, or the first waveform, and all that fit beside it.
    pub(crate) fn of(recording: &'a Recording) -> Plan<'a> {
        let Some(first) = recording.rhythm().next().or(recording.waveforms.first()) else {
            return Plan::default();
        };
        let mut shared = vec![first];
        let mut plan = Plan::arrange(&shared).unwrap_or_default();
        for waveform in recording.waveforms.iter().filter(|waveform| !std::ptr::eq(*waveform, first)) {
            // a beat that stands for others was recorded at no time of its own
            let is_beat = matches!(waveform.kind, WaveformKind::RepresentativeBeat { .. });
            if is_beat && (waveform.start != first.start || waveform.seconds() != first.seconds()) {
                continue;
            }
            shared.push(waveform);
            shared
                .sort_by_key(|shared| recording.waveforms.iter().position(|own| std::ptr::eq(own, *shared)));
            match Plan::arrange(&shared) {
                Some(wider) => plan = wider,
                None => shared.retain(|shared| !std::ptr::eq(*shared, waveform)),
            }
        }
        plan
    }

    /// The waveforms from the recording's start on, or from that of the first of them; `None` where they fall on no
    /// common grid, or the record would be mostly padding.
    fn arrange(waveforms: &[&'a Waveform]) -> Option<Plan<'a>> {
        let earliest = waveforms.iter().map(|waveform| waveform.start).min()?;
        let from_start = Plan::arrange_from(waveforms, earliest.min(Exact::ZERO));
        from_start.or_else(|| Plan::arrange_from(waveforms, earliest))
    }

    fn arrange_from(waveforms: &[&'a Waveform], origin: Exact) -> Option<Plan<'a>> {
        let rates = waveforms.iter().map(|waveform| waveform.rate().per_second());
        let rate = rates.map(Some).reduce(|a, b| common_divisor(a?, b?))??;
        let mut plan = Plan { placed: Vec::with_capacity(waveforms.len()), frames: 0, rate };
        for waveform in waveforms {
            let own_rate = waveform.rate().per_second();
            let per_frame = usize::try_from(own_rate.over(rate)?.to_whole()?).ok()?;
            let before = waveform.start.minus(origin)?.times(own_rate)?.to_whole()?;
            let before = usize::try_from(before).ok()?;
            let end = before.checked_add(waveform.length())?;
            plan.frames = plan.frames.max(end.div_ceil(per_frame));
            if per_frame > MOST_SHARED_PER_FRAME {
                return None;
            }
            plan.placed.push(Placed { waveform, per_frame, before });
        }
        let samples = |length: fn(&Plan, &Placed) -> Option<usize>| {
            let each = |placed| length(&plan, placed)?.checked_mul(placed.waveform.signals().len());
            plan.placed.iter().map(each).try_fold(0usize, |sum, count| sum.checked_add(count?))
        };
        let own = samples(|_, placed| Some(placed.waveform.length()))?;
        let all = samples(|plan, placed| plan.frames.checked_mul(placed.per_frame))?;
        (all <= own.saturating_mul(MOST_PADDING.0).saturating_add(MOST_PADDING.1)).then_some(plan)
    }

    /// The signals, in the order of the header.
    pub(crate) fn signals(&self) -> impl Iterator<Item = &'a Signal> {
        self.placed.iter().flat_map(|placed| placed.waveform.signals())
    }

    /// Samples per frame, one entry per signal.
    pub(crate) fn per_frame(&self) -> Vec<usize> {
        let each = |placed: &Placed| vec![placed.per_frame; placed.waveform.signals().len()];
        self.placed.iter().flat_map(each).collect()
    }

    /// The marks, each with the number of its waveform.
    pub(crate) fn marks(&self) -> Vec<(usize, &'a Mark)> {
        let each =
            |(wave, placed): (usize, &Placed<'a>)| placed.waveform.marks.iter().map(move |mark| (wave, mark));
        self.placed.iter().enumerate().flat_map(each).collect()
    }

    /// What the annotations refer to.
    pub(crate) fn setting(&self) -> Setting {
        let leads = self.placed.iter().enumerate().flat_map(|(wave, placed)| {
            placed.waveform.signals().iter().map(move |signal| (wave, signal.lead.clone()))
        });
        let timing = |placed: &Placed| Timing {
            per_frame: placed.per_frame,
            rate: placed.waveform.rate().per_second(),
            before: i64::try_from(placed.before).unwrap_or(i64::MAX),
        };
        Setting { signals: leads.collect(), waves: self.placed.iter().map(timing).collect() }
    }

    /// The signals' samples as they are stored: invalid codes where samples are missing.
    pub(crate) fn stored(&self, packing: &Packing) -> Vec<Cow<'a, [i32]>> {
        let invalid = packing.invalid.unwrap_or(0);
        let each = |placed: &Placed<'a>| {
            let (before, length) = (placed.before, self.frames * placed.per_frame);
            let pad = move |signal: &'a Signal| {
                let own = signal.samples.as_slice();
                if signal.missing.is_empty() && length == own.len() {
                    return Cow::Borrowed(own);
                }
                let mut samples = vec![invalid; length];
                samples[before..before + own.len()].copy_from_slice(own);
                for span in &signal.missing {
                    samples[before + span.start..before + span.end].fill(invalid);
                }
                Cow::Owned(samples)
            };
            placed.waveform.signals().iter().map(pad).collect::<Vec<_>>()
        };
        self.placed.iter().flat_map(each).collect()
    }

    /// Lines for what the reader would not find out by itself of the waveforms.
    pub(crate) fn wave_lines(&self) -> Vec<WaveLines> {
        let mut next = 0;
        let mut ranges: Vec<Vec<usize>> = Vec::with_capacity(self.placed.len());
        for placed in &self.placed {
            let end = next + placed.waveform.signals().len();
            ranges.push((next..end).collect());
            next = end;
        }
        let is_plain = ranges == members_by_rate(&self.per_frame());
        let lines: Vec<WaveLines> =
            self.placed.iter().zip(&ranges).map(|(placed, range)| self.lines(placed, range)).collect();
        let says_nothing =
            |lines: &WaveLines| WaveLines { leads: None, ..lines.clone() } == WaveLines::default();
        if is_plain && lines.iter().all(says_nothing) { Vec::new() } else { lines }
    }

    fn lines(&self, placed: &Placed, range: &[usize]) -> WaveLines {
        let Placed { waveform, per_frame, before } = placed;
        let whole = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
        let read =
            plain(self.rate).parse::<Exact>().ok().and_then(|rate| rate.times(whole(*per_frame).into()));
        let rate = waveform.rate().per_second();
        let is_padded = waveform.length() != self.frames * per_frame;
        WaveLines {
            leads: range.first().zip(range.last()).map(|(first, last)| format!("{}-{}", first + 1, last + 1)),
            kind: (waveform.kind != WaveformKind::Rhythm).then(|| kind_to_text(&waveform.kind)),
            start: (!waveform.start.is_zero()).then_some(waveform.start),
            rate: (read != Some(rate)).then_some(rate),
            before: is_padded.then(|| whole(*before)),
            samples: is_padded.then(|| whole(waveform.length())),
        }
    }
}
