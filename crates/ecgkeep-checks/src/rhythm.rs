//! Heart rate and RR intervals, where a recording brings no measurements of its own.

use ecgkeep_recording::{Quantity, Recording, Span, WaveformKind};
use serde::Serialize;

use crate::beats::Beats;
use crate::rounded::quantity;
use crate::statistics::count;
use crate::strip::{Strip, fullest};

/// What goes with the figures wherever they are shown.
const CAUTION: &str = "automatic and unconfirmed, to be over-read by a qualified clinician";

/// Beats found on the recording, and what follows from their times alone. Intervals within the beat and axes are
/// not measured.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RhythmFigures {
    /// The index in [`Recording::waveforms`] of the waveform they were found on.
    pub waveform: usize,
    /// Sample numbers of the QRS complexes in that waveform, ascending; at least three.
    pub beats: Vec<usize>,
    /// 60 s by the mean RR interval, `/min`, whole.
    pub heart_rate: Quantity,
    /// Mean of the RR intervals, `ms`, whole.
    pub rr_mean: Quantity,
    /// Shortest RR interval, `ms`, whole.
    pub rr_shortest: Quantity,
    /// Longest RR interval, `ms`, whole.
    pub rr_longest: Quantity,
    /// What must be printed with them.
    pub caution: &'static str,
}

/// Fewer beats give no figures (project choice).
const BEATS_AT_LEAST: usize = 3;

/// Finds the beats on the waveform with most of the twelve leads. `None` where fewer than three are found, in
/// long-term recordings, and where a gap of the samples lies between the beats.
#[must_use]
pub fn rhythm(recording: &Recording) -> Option<RhythmFigures> {
    let waveforms = recording.waveforms.iter().enumerate();
    let (indices, strips): (Vec<usize>, Vec<Strip>) = waveforms
        .filter(|(_, waveform)| waveform.kind == WaveformKind::Rhythm)
        .map(|(index, waveform)| (index, Strip::of(waveform)))
        .unzip();
    let main = fullest(&strips)?;
    let strip = &strips[main];
    let beats = Beats::find(strip).ok()?.at;
    if beats.len() < BEATS_AT_LEAST || has_gap(strip, &beats) {
        return None;
    }
    let intervals = || beats.windows(2).map(|pair| 1000.0 * strip.at_seconds(pair[1] - pair[0]));
    let mean = intervals().sum::<f64>() / count(beats.len() - 1);
    Some(RhythmFigures {
        waveform: indices[main],
        heart_rate: quantity(60_000.0 / mean, 0, "/min")?,
        rr_mean: quantity(mean, 0, "ms")?,
        rr_shortest: quantity(intervals().fold(f64::INFINITY, f64::min), 0, "ms")?,
        rr_longest: quantity(intervals().fold(0.0, f64::max), 0, "ms")?,
        beats,
        caution: CAUTION,
    })
}

/// Whether every lead has missing samples between the first and the last beat, so that a beat may be missed.
fn has_gap(strip: &Strip, beats: &[usize]) -> bool {
    let (first, last) = (beats[0], beats[beats.len() - 1]);
    let between = |span: &Span| span.start < last && span.end > first;
    strip.tracings.iter().all(|tracing| tracing.signal.missing.iter().any(between))
}
