//! The filters that a reader may ask for: for the drawing only, never for the record.

use std::fmt;

use ecgkeep_recording::{Exact, Rate};

use crate::zero_phase::{Section, high_pass, low_pass, notch};

/// Filters for the drawing, each on request; the default is none. They act on a copy of the voltages: the samples of
/// the recording, its fingerprint and its checks stay as they are.
///
/// High-pass and low-pass are Butterworth filters of second order, the notch is one of second order, 2 Hz wide. All
/// run forwards and backwards (zero phase), both passes together 3 dB down at the frequency named. Each unbroken
/// stretch of a lead is filtered by itself, lengthened at its ends by its mirror image of up to 10 s.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DisplayFilters {
    /// Corner in hertz below which slow waves (wander of the baseline) are taken out.
    pub high_pass_hz: Option<Exact>,
    /// Corner in hertz above which fast waves (muscle) are taken out.
    pub low_pass_hz: Option<Exact>,
    /// The frequency in hertz that is taken out: that of the mains.
    pub notch_hz: Option<Exact>,
}

/// Width of the notch between its 3 dB points; project choice, as narrow as the mains wander.
const NOTCH_WIDTH_HZ: f64 = 2.0;
/// How far a stretch is mirrored at its ends, in seconds; project choice: longer than a high-pass of 0.1 Hz remembers.
const MIRRORED_SECONDS: Exact = Exact::whole(10);
/// Above this corner a high-pass may bend ST segments, even one of zero phase (AHA/ACC/HRS 2007, part I; from a
/// summary).
const ST_SAFE_HZ: f64 = 0.67;

impl DisplayFilters {
    /// Whether none is asked for.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == DisplayFilters::default()
    }

    /// What is wrong with what is asked for; `None` where it can be drawn.
    #[must_use]
    pub fn fault(&self) -> Option<String> {
        let all = [self.high_pass_hz, self.low_pass_hz, self.notch_hz];
        if let Some(hertz) = all.into_iter().flatten().find(|hertz| *hertz <= Exact::ZERO) {
            return Some(format!("a filter at {} Hz: it must lie above 0 Hz", number(hertz)));
        }
        let (high, low) = self.high_pass_hz.zip(self.low_pass_hz)?;
        (high >= low).then(|| {
            format!("high-pass {} Hz and low-pass {} Hz leave nothing to draw", number(high), number(low))
        })
    }

    /// The filters that samples at this rate can carry.
    pub(crate) fn sections(&self, rate: Rate) -> Vec<Section> {
        let per_second = rate.per_second().to_f64();
        let within = |hertz: Option<Exact>| hertz.filter(|hertz| is_within(*hertz, rate)).map(Exact::to_f64);
        let all = [
            within(self.high_pass_hz).map(|hertz| high_pass(hertz, per_second)),
            within(self.low_pass_hz).map(|hertz| low_pass(hertz, per_second)),
            within(self.notch_hz).map(|hertz| notch(hertz, NOTCH_WIDTH_HZ, per_second)),
        ];
        all.into_iter().flatten().collect()
    }

    /// Whether samples at this rate can carry all that is asked for: a frequency must lie below half of the rate.
    pub(crate) fn fit(&self, rate: Rate) -> bool {
        [self.high_pass_hz, self.low_pass_hz, self.notch_hz].into_iter().flatten().all(|f| is_within(f, rate))
    }

    /// Those that samples at one of these rates at least can carry.
    pub(crate) fn carried_by(&self, rates: &[Rate]) -> DisplayFilters {
        let is_carried = |hertz: &Exact| rates.iter().any(|rate| is_within(*hertz, *rate));
        DisplayFilters {
            high_pass_hz: self.high_pass_hz.filter(is_carried),
            low_pass_hz: self.low_pass_hz.filter(is_carried),
            notch_hz: self.notch_hz.filter(is_carried),
        }
    }

    /// Those that the others do not have.
    pub(crate) fn without(&self, others: &DisplayFilters) -> DisplayFilters {
        DisplayFilters {
            high_pass_hz: self.high_pass_hz.filter(|_| others.high_pass_hz.is_none()),
            low_pass_hz: self.low_pass_hz.filter(|_| others.low_pass_hz.is_none()),
            notch_hz: self.notch_hz.filter(|_| others.notch_hz.is_none()),
        }
    }

    /// Their frequencies: `high-pass 300 Hz, notch 700 Hz`.
    pub(crate) fn frequencies(&self) -> String {
        let all =
            [("high-pass", self.high_pass_hz), ("low-pass", self.low_pass_hz), ("notch", self.notch_hz)];
        let named = all.into_iter().filter_map(|(what, hertz)| Some(format!("{what} {} Hz", number(hertz?))));
        named.collect::<Vec<_>>().join(", ")
    }

    /// How many samples a stretch is mirrored by at most.
    pub(crate) fn mirrored(rate: Rate) -> usize {
        let samples = MIRRORED_SECONDS.times(rate.per_second()).map_or(0.0, Exact::to_f64);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a rate is above zero")]
        let samples = samples as usize;
        samples
    }

    /// `end` and what lies behind it as far as it reaches into the drawing.
    pub(crate) fn lengthened(&self, end: Exact) -> Exact {
        if self.is_empty() { end } else { end.plus(MIRRORED_SECONDS).unwrap_or(end) }
    }

    /// What filtering may hide, in words; empty where nothing is filtered.
    pub(crate) fn cautions(&self) -> String {
        let mut all = Vec::new();
        if self.low_pass_hz.is_some() {
            all.push("A low-pass lowers R waves and can hide Q waves, notches and pacing spikes.");
        }
        if self.notch_hz.is_some() {
            all.push("A notch can ring after a QRS complex and at the ends.");
        }
        if self.high_pass_hz.is_some_and(|hertz| hertz.to_f64() > ST_SAFE_HZ) {
            all.push("This high-pass can bend ST segments.");
        }
        all.join(" ")
    }
}

/// The frequency in full.
fn number(hertz: Exact) -> String {
    hertz.to_short_decimal().unwrap_or_else(|| hertz.to_string())
}

fn is_within(hertz: Exact, rate: Rate) -> bool {
    hertz > Exact::ZERO && hertz.times(Exact::whole(2)).is_some_and(|twice| twice < rate.per_second())
}

impl fmt::Display for DisplayFilters {
    /// `high-pass 0.5 Hz, low-pass 40 Hz, Butterworth order 2, both ways (zero phase)`; `none` where none is asked for.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_empty() {
            return f.write_str("none");
        }
        let mut parts = Vec::new();
        parts.extend(self.high_pass_hz.map(|hertz| format!("high-pass {} Hz", number(hertz))));
        parts.extend(self.low_pass_hz.map(|hertz| format!("low-pass {} Hz", number(hertz))));
        if !parts.is_empty() {
            parts.push("Butterworth order 2".to_owned());
        }
        if let Some(hertz) = self.notch_hz {
            parts.push(format!("notch {} Hz, {NOTCH_WIDTH_HZ} Hz wide, order 2", number(hertz)));
        }
        parts.push("both ways (zero phase)".to_owned());
        f.write_str(&parts.join(", "))
    }
}
