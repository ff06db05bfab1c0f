//! The leads of one waveform as the rules see them.

use ecgkeep_recording::{Lead, Recording, Signal, Span, Waveform, WaveformKind};

use crate::Place;
use crate::constants::LONGEST_STRIP_SECONDS;

/// The voltage leads of one rhythm waveform; signals of another or no known unit are left out.
pub(crate) struct Strip<'a> {
    /// The index of the waveform in the recording.
    pub index: usize,
    pub waveform: &'a Waveform,
    pub rate_hz: f64,
    pub tracings: Vec<Tracing<'a>>,
}

/// One voltage lead.
pub(crate) struct Tracing<'a> {
    pub signal: &'a Signal,
    /// Microvolts per count, above zero.
    pub step_uv: f64,
    /// NaN where missing; empty where the waveform is longer than any strip, see [`Strip::is_too_long`].
    pub microvolts: Vec<f64>,
}

/// One for each rhythm waveform, in order.
pub(crate) fn strips(recording: &Recording) -> Vec<Strip<'_>> {
    let waveforms = recording.waveforms.iter().enumerate();
    waveforms
        .filter(|(_, waveform)| waveform.kind == WaveformKind::Rhythm)
        .map(|(index, waveform)| Strip::of(index, waveform))
        .collect()
}

impl<'a> Strip<'a> {
    fn of(index: usize, waveform: &'a Waveform) -> Strip<'a> {
        let too_long = waveform.seconds().to_f64() > LONGEST_STRIP_SECONDS;
        let tracing = |signal: &'a Signal| Tracing {
            signal,
            step_uv: signal.step.nanovolts().to_f64().abs() / 1000.0,
            microvolts: if too_long { Vec::new() } else { signal.microvolts() },
        };
        let tracings = waveform.signals().iter().filter(|signal| signal.is_voltage()).map(tracing).collect();
        Strip { index, waveform, rate_hz: waveform.rate().per_second().to_f64(), tracings }
    }

    /// Whether the waveform is a long-term recording, for which the rules on voltages are not made.
    pub fn is_too_long(&self) -> bool {
        self.seconds() > LONGEST_STRIP_SECONDS
    }

    pub fn leads(&self) -> impl Iterator<Item = &'a Lead> {
        self.waveform.signals().iter().filter(|signal| signal.is_voltage()).map(|signal| &signal.lead)
    }

    pub fn lead(&self, lead: &Lead) -> Option<&Tracing<'a>> {
        self.tracings.iter().find(|tracing| tracing.signal.lead == *lead)
    }

    /// All of one of its leads.
    pub fn place(&self, tracing: &Tracing) -> Place {
        Place { lead: tracing.signal.lead.clone(), waveform: Some(self.index), spans: Vec::new() }
    }

    /// Samples in each lead.
    pub fn length(&self) -> usize {
        self.waveform.length()
    }

    pub fn seconds(&self) -> f64 {
        self.waveform.seconds().to_f64()
    }

    /// The time of a sample in seconds from the first.
    #[expect(clippy::cast_precision_loss, reason = "sample numbers are far below 2^53")]
    pub fn at_seconds(&self, samples: usize) -> f64 {
        samples as f64 / self.rate_hz
    }

    /// The seconds that begin in the strip, in samples; the last may be shorter.
    pub fn seconds_begun(&self) -> impl Iterator<Item = Span> {
        let (second, length) = (samples(1.0, self.rate_hz), self.length());
        (0..length).step_by(second).map(move |start| Span { start, end: (start + second).min(length) })
    }

    /// The nearest number of samples to a duration, at least 1 and at most one more than the strip has.
    pub fn samples(&self, seconds: f64) -> usize {
        samples(seconds, self.rate_hz).min(self.length() + 1)
    }
}

/// The index of the strip with most of the twelve leads, the first among equals.
pub(crate) fn fullest(strips: &[Strip]) -> Option<usize> {
    let held = |strip: &Strip| Lead::TWELVE.iter().filter(|lead| strip.lead(lead).is_some()).count();
    (0..strips.len()).rev().max_by_key(|index| held(&strips[*index]))
}

/// The nearest number of samples to a duration, at least 1; a few of them can be added without overflow.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "saturates; NaN becomes 0, then 1"
)]
pub(crate) fn samples(seconds: f64, rate_hz: f64) -> usize {
    ((seconds * rate_hz).round() as usize).clamp(1, usize::MAX / 16)
}
