//! Signals sampled together.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize};

use crate::{Exact, Lead, Mark};

/// Samples per second; above zero, exact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct Rate(Exact);

impl Rate {
    /// `None` for zero or less.
    #[must_use]
    pub fn new(per_second: Exact) -> Option<Rate> {
        (per_second > Exact::ZERO).then_some(Rate(per_second))
    }

    /// Samples per second.
    #[must_use]
    pub fn per_second(self) -> Exact {
        self.0
    }

    /// Seconds from one sample to the next.
    #[must_use]
    pub fn interval(self) -> Exact {
        Exact::ONE.over(self.0).unwrap_or(Exact::ZERO)
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl<'de> Deserialize<'de> for Rate {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Rate, D::Error> {
        let rate = Exact::deserialize(deserializer)?;
        Rate::new(rate).ok_or_else(|| serde::de::Error::custom("a sampling rate of zero or less"))
    }
}

/// Nanovolts (or 10^-9 of another unit) per count; not zero, exact, negative where the source inverts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
pub struct Step(Exact);

impl Step {
    /// `None` for zero.
    #[must_use]
    pub fn new(nanovolts: Exact) -> Option<Step> {
        (!nanovolts.is_zero()).then_some(Step(nanovolts))
    }

    /// Nanovolts (or 10^-9 of the other unit) per count.
    #[must_use]
    pub fn nanovolts(self) -> Exact {
        self.0
    }
}

impl Default for Step {
    /// One nanovolt per count.
    fn default() -> Step {
        Step(Exact::ONE)
    }
}

impl<'de> Deserialize<'de> for Step {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Step, D::Error> {
        let step = Exact::deserialize(deserializer)?;
        Step::new(step).ok_or_else(|| serde::de::Error::custom("a step of zero"))
    }
}

/// What the samples of a [`Signal`] measure.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum SignalUnit {
    /// Voltage; the step is in nanovolts per count.
    #[default]
    Volt,
    /// Another unit under its own name; the step is in 10^-9 of it per count. Never drawn or checked as a lead.
    Other(String),
    /// The source gives no scale; the step is 10^9 (one count is one count). Never drawn or checked as a lead.
    Uncalibrated,
}

/// A half-open range of sample numbers, `start` included, `end` not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Span {
    /// The first sample.
    pub start: usize,
    /// The first sample after it.
    pub end: usize,
}

impl Span {
    /// The number of samples.
    #[must_use]
    pub fn len(self) -> usize {
        self.end.saturating_sub(self.start)
    }

    /// Whether there is no sample in it.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.len() == 0
    }
}

/// One signal: a lead, or another quantity recorded beside the leads.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Signal {
    /// Which lead.
    pub lead: Lead,
    /// The source's label where it spells the lead otherwise than [`Lead::name`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub label: Option<String>,
    /// What the samples measure.
    #[serde(default)]
    pub unit: SignalUnit,
    /// Nanovolts (or 10^-9 of the other unit) per count.
    pub step: Step,
    /// What count 0 stands for, in the unit of `step`.
    #[serde(default)]
    pub offset: Exact,
    /// Where the source has no sample; sorted, disjoint, not empty. The samples there hold 0.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<Span>,
    /// Whether the source says that the lead was computed from others.
    #[serde(default)]
    pub derived: bool,
    /// Seconds by which the source says that the signal was shifted; the reader has already aligned it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub skew: Option<Exact>,
    /// Counts, oldest first. Voltage = `offset` + count x `step`.
    pub samples: Vec<i32>,
}

impl Signal {
    /// A voltage signal without offset, gaps or skew.
    #[must_use]
    pub fn new(lead: Lead, step: Step, samples: Vec<i32>) -> Signal {
        Signal {
            lead,
            label: None,
            unit: SignalUnit::Volt,
            step,
            offset: Exact::ZERO,
            missing: Vec::new(),
            derived: false,
            skew: None,
            samples,
        }
    }

    /// The signal with the samples in `missing` set to 0 and the ranges sorted and joined.
    #[must_use]
    pub fn with_missing(mut self, mut missing: Vec<Span>) -> Signal {
        missing.retain(|span| !span.is_empty() && span.start < self.samples.len());
        missing.sort_unstable();
        self.missing.clear();
        for mut span in missing {
            span.end = span.end.min(self.samples.len());
            self.samples[span.start..span.end].fill(0);
            match self.missing.last_mut() {
                Some(last) if span.start <= last.end => last.end = last.end.max(span.end),
                _ => self.missing.push(span),
            }
        }
        self
    }

    /// The voltage of one sample in nanovolts (or 10^-9 of the other unit): `None` where the sample is missing,
    /// out of range, or too long to be exact.
    #[must_use]
    pub fn nanovolts(&self, sample: usize) -> Option<Exact> {
        let count = *self.samples.get(sample)?;
        if self.is_missing(sample) {
            return None;
        }
        self.step.nanovolts().times(count.into())?.plus(self.offset)
    }

    /// Whether the source has no value for this sample.
    #[must_use]
    pub fn is_missing(&self, sample: usize) -> bool {
        let after = self.missing.partition_point(|span| span.end <= sample);
        self.missing.get(after).is_some_and(|span| span.start <= sample)
    }

    /// Microvolts as floating-point numbers, NaN where missing; for drawing and statistics, never for storing.
    #[must_use]
    pub fn microvolts(&self) -> Vec<f64> {
        let (step, offset) = (self.step.nanovolts().to_f64() / 1000.0, self.offset.to_f64() / 1000.0);
        let mut values: Vec<f64> =
            self.samples.iter().map(|count| f64::from(*count) * step + offset).collect();
        for span in &self.missing {
            values[span.start..span.end].fill(f64::NAN);
        }
        values
    }

    /// Whether the signal is a lead whose voltage is known.
    #[must_use]
    pub fn is_voltage(&self) -> bool {
        self.unit == SignalUnit::Volt
    }
}

/// What a [`Waveform`] shows.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
#[non_exhaustive]
pub enum WaveformKind {
    /// The recording as it ran.
    #[default]
    Rhythm,
    /// One beat that stands for a class of beats.
    RepresentativeBeat {
        /// The class, counted from 0.
        class: u32,
    },
    /// Anything else, under the source's own name.
    Other(String),
}

/// Signals sampled together: one rate, one length. Leads that start apart or run at another rate are another
/// waveform.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(try_from = "Parts")]
pub struct Waveform {
    /// What it shows.
    pub kind: WaveformKind,
    /// Seconds from the recording's start to the first sample.
    pub start: Exact,
    rate: Rate,
    /// Marks, in the order of the source.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub marks: Vec<Mark>,
    signals: Vec<Signal>,
}

/// Why signals do not make a [`Waveform`].
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum NotAWaveform {
    /// No signal at all.
    NoSignals,
    /// A signal is longer or shorter than the first one.
    UnequalLengths {
        /// The lead.
        lead: Lead,
        /// Its number of samples.
        samples: usize,
        /// The first signal's number of samples.
        expected: usize,
    },
    /// Missing ranges are empty, unsorted, overlapping, outside, or hold a count other than 0.
    BadMissing {
        /// The lead.
        lead: Lead,
    },
}

impl fmt::Display for NotAWaveform {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotAWaveform::NoSignals => f.write_str("a waveform without signals"),
            NotAWaveform::UnequalLengths { lead, samples, expected } => {
                write!(f, "lead {lead} has {samples} samples, the first signal {expected}")
            }
            NotAWaveform::BadMissing { lead } => {
                write!(
                    f,
                    "lead {lead}: missing ranges must be sorted, disjoint, inside the signal and hold 0"
                )
            }
        }
    }
}

impl std::error::Error for NotAWaveform {}

impl Waveform {
    /// A rhythm waveform that starts with the recording.
    /// # Errors
    /// [`NotAWaveform`] where the signals are none, unequal in length, or name missing ranges wrongly.
    pub fn new(rate: Rate, signals: Vec<Signal>) -> Result<Waveform, NotAWaveform> {
        let expected = signals.first().ok_or(NotAWaveform::NoSignals)?.samples.len();
        for signal in &signals {
            if signal.samples.len() != expected {
                return Err(NotAWaveform::UnequalLengths {
                    lead: signal.lead.clone(),
                    samples: signal.samples.len(),
                    expected,
                });
            }
            let sorted = signal.missing.is_sorted_by(|a, b| a.end <= b.start);
            let inside = signal.missing.iter().all(|span| {
                !span.is_empty()
                    && span.end <= expected
                    && signal.samples[span.start..span.end].iter().all(|count| *count == 0)
            });
            if !sorted || !inside {
                return Err(NotAWaveform::BadMissing { lead: signal.lead.clone() });
            }
        }
        Ok(Waveform { kind: WaveformKind::Rhythm, start: Exact::ZERO, rate, marks: Vec::new(), signals })
    }

    /// Samples per second.
    #[must_use]
    pub fn rate(&self) -> Rate {
        self.rate
    }

    /// The signals, in the order of the source; at least one, all of [`Waveform::length`] samples.
    #[must_use]
    pub fn signals(&self) -> &[Signal] {
        &self.signals
    }

    /// Samples in each signal.
    #[must_use]
    pub fn length(&self) -> usize {
        self.signals[0].samples.len()
    }

    /// Seconds from the first sample to one interval after the last.
    #[must_use]
    pub fn seconds(&self) -> Exact {
        i64::try_from(self.length())
            .ok()
            .and_then(|n| Exact::whole(n).times(self.rate.interval()))
            .unwrap_or(Exact::ZERO)
    }

    /// The first voltage signal of this lead.
    #[must_use]
    pub fn lead(&self, lead: &Lead) -> Option<&Signal> {
        self.signals.iter().find(|signal| signal.is_voltage() && signal.lead == *lead)
    }

    /// The signals, given up.
    #[must_use]
    pub fn into_signals(self) -> Vec<Signal> {
        self.signals
    }
}

/// Signals sampled together: one rate, one length. Leads that start apart are another waveform.
// As it stands in a text, before its rules are checked.
#[derive(Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct Parts {
    /// What it shows.
    #[serde(default)]
    kind: WaveformKind,
    /// Seconds from the recording's start to the first sample.
    #[serde(default)]
    start: Exact,
    /// Samples per second.
    rate: Rate,
    /// Marks, in the order of the source.
    #[serde(default)]
    marks: Vec<Mark>,
    /// The signals, in the order of the source: at least one, all of one length.
    signals: Vec<Signal>,
}

impl TryFrom<Parts> for Waveform {
    type Error = NotAWaveform;

    fn try_from(parts: Parts) -> Result<Waveform, NotAWaveform> {
        let waveform = Waveform::new(parts.rate, parts.signals)?;
        Ok(Waveform { kind: parts.kind, start: parts.start, marks: parts.marks, ..waveform })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn signal(samples: &[i32]) -> Signal {
        Signal::new(Lead::II, Step::default(), samples.to_vec())
    }

    fn rate() -> Rate {
        Rate::new(Exact::whole(500)).unwrap()
    }

    #[test]
    fn signals_of_a_waveform_have_one_length() {
        let error = Waveform::new(rate(), vec![signal(&[1, 2]), signal(&[1])]).unwrap_err();
        assert_eq!(error, NotAWaveform::UnequalLengths { lead: Lead::II, samples: 1, expected: 2 });
        assert_eq!(Waveform::new(rate(), vec![]), Err(NotAWaveform::NoSignals));
    }

    #[test]
    fn missing_samples_hold_zero_and_their_ranges_are_joined() {
        let gaps = vec![Span { start: 4, end: 9 }, Span { start: 1, end: 2 }, Span { start: 2, end: 3 }];
        let signal = signal(&[5; 6]).with_missing(gaps);
        assert_eq!(signal.samples, [5, 0, 0, 5, 0, 0]);
        assert_eq!(signal.missing, [Span { start: 1, end: 3 }, Span { start: 4, end: 6 }]);
        assert!(signal.is_missing(1) && !signal.is_missing(3) && signal.is_missing(5));
        assert!(signal.microvolts()[5].is_nan());
        let mut wrong = signal.clone();
        wrong.samples[1] = 7;
        let mut beyond = signal.clone();
        beyond.missing = vec![Span { start: 4, end: usize::MAX }];
        assert!(Waveform::new(rate(), vec![signal]).is_ok());
        for bad in [wrong, beyond] {
            assert_eq!(Waveform::new(rate(), vec![bad]), Err(NotAWaveform::BadMissing { lead: Lead::II }));
        }
    }

    #[test]
    fn a_voltage_is_offset_plus_count_times_step() {
        let mut signal = signal(&[-3]);
        signal.step = Step::new(Exact::ratio(1_000_000, 1716).unwrap()).unwrap();
        signal.offset = "0.5".parse().unwrap();
        assert_eq!(signal.nanovolts(0).unwrap().to_string(), "-499857/286");
        assert!((signal.microvolts()[0] + 1.747_751_748).abs() < 1e-9);
    }
}
