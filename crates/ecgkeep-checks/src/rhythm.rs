//! Heart rate and RR intervals, where a recording brings no measurements of its own.

use ecgkeep_recording::{MeasurementKind, Quantity, Recording, Span};
use serde::Serialize;

use crate::beats::Beats;
use crate::rounded::quantity;
use crate::statistics::count;
use crate::strip::{Strip, fullest, strips};

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
    let strips = strips(recording);
    let strip = &strips[fullest(&strips)?];
    RhythmFigures::of(strip, &Beats::find(strip).ok()?)
}

/// Whether the source states a heart rate or an RR interval, so that none need be computed.
#[must_use]
pub fn states_rhythm(recording: &Recording) -> bool {
    let kinds = [MeasurementKind::HeartRate, MeasurementKind::RrInterval];
    recording.measurements.iter().any(|measurement| kinds.contains(&measurement.kind))
}

impl RhythmFigures {
    pub(crate) fn of(strip: &Strip, beats: &Beats) -> Option<RhythmFigures> {
        let at = &beats.at;
        if at.len() < BEATS_AT_LEAST || has_gap(strip, at) {
            return None;
        }
        let intervals = || at.windows(2).map(|pair| 1000.0 * strip.at_seconds(pair[1] - pair[0]));
        let mean = intervals().sum::<f64>() / count(at.len() - 1);
        Some(RhythmFigures {
            waveform: strip.index,
            heart_rate: quantity(60_000.0 / mean, 0, "/min")?,
            rr_mean: quantity(mean, 0, "ms")?,
            rr_shortest: quantity(intervals().fold(f64::INFINITY, f64::min), 0, "ms")?,
            rr_longest: quantity(intervals().fold(0.0, f64::max), 0, "ms")?,
            beats: at.clone(),
            caution: CAUTION,
        })
    }

    /// `65 /min, RR 923 ms (880 to 961 ms), 11 beats`; not to be shown without [`RhythmFigures::caution`].
    #[must_use]
    pub fn figures(&self) -> String {
        let RhythmFigures { beats, heart_rate, rr_mean, rr_shortest, rr_longest, .. } = self;
        format!("{heart_rate}, RR {rr_mean} ({} to {rr_longest}), {} beats", rr_shortest.value, beats.len())
    }

    /// `65 /min, RR 923 ms (880 to 961 ms), 11 beats: automatic and unconfirmed, to be over-read by a qualified
    /// clinician`.
    #[must_use]
    pub fn line(&self) -> String {
        format!("{}: {}", self.figures(), self.caution)
    }
}

/// Whether every lead has missing samples between the first and the last beat, so that a beat may be missed.
fn has_gap(strip: &Strip, beats: &[usize]) -> bool {
    let (first, last) = (beats[0], beats[beats.len() - 1]);
    let between = |span: &Span| span.start < last && span.end > first;
    strip.tracings.iter().all(|tracing| tracing.signal.missing.iter().any(between))
}
