//! Samples that stand out alone: where they are, and which of them recur with the beats.

use std::ops::Range;

use ecgkeep_recording::Span;

use crate::Place;
use crate::beats::Beats;
use crate::constants::{
    SPIKE_AFTER_BEAT_SECONDS, SPIKE_BEFORE_BEAT_SECONDS, SPIKE_GAP_SECONDS, SPIKE_NOISE_TIMES,
    SPIKE_OFFSETS_APART_SECONDS, SPIKE_RATE_HZ_AT_LEAST, SPIKE_SHOULDER_SECONDS, SPIKES_TOGETHER_SECONDS,
};
use crate::noise::Noise;
use crate::statistics::median;
use crate::strip::{Strip, samples};

/// The spikes of one strip.
pub(crate) struct Spikes {
    /// Those that recur at the same distance from the beats, in order of time.
    pub with_beats: Vec<Spike>,
    /// The others, but for those within a QRS complex, in order of time.
    pub alone: Vec<Spike>,
    /// How long before the QRS reference points the first ones stand, in the middle, in milliseconds.
    pub before_beat_ms: f64,
}

/// Spikes of several leads at one moment.
pub(crate) struct Spike {
    /// The sample.
    pub at: usize,
    /// How far the largest stands out, in microvolts.
    pub uv: f64,
    /// Indices of the leads that have it.
    leads: Vec<usize>,
}

impl Spikes {
    /// # Errors
    /// Why none can be told, in words.
    pub fn find(
        strip: &Strip,
        noise: &[Noise],
        beats: Option<&Beats>,
        least_uv: f64,
    ) -> Result<Spikes, String> {
        if strip.is_too_long() {
            return Err("the recording is longer than any resting strip".to_owned());
        }
        if strip.tracings.is_empty() || strip.length() == 0 {
            return Err("there is no lead with samples of known voltage".to_owned());
        }
        if strip.rate_hz < SPIKE_RATE_HZ_AT_LEAST {
            return Err(format!("{} samples per second are too few to tell one", strip.rate_hz));
        }
        let beats = beats.map(|beats| beats.at.as_slice()).unwrap_or_default();
        let (with_beats, alone) = apart(find(strip, noise, least_uv), beats, strip.rate_hz);
        let window = window(strip.rate_hz);
        let offsets = with_beats.iter().filter_map(|spike| offset(spike.at, beats, &window));
        let mut before: Vec<f64> = offsets
            .map(|offset| 1000.0 * f64::from(i32::try_from(offset).unwrap_or(i32::MAX)) / strip.rate_hz)
            .collect();
        Ok(Spikes { with_beats, alone, before_beat_ms: median(&mut before) })
    }
}

/// The largest of some spikes.
pub(crate) fn largest(spikes: &[Spike]) -> Option<&Spike> {
    spikes.iter().max_by(|a, b| a.uv.total_cmp(&b.uv))
}

/// The leads that have some of the spikes, each with the samples of those.
pub(crate) fn places(strip: &Strip, spikes: &[Spike]) -> Vec<Place> {
    let of = |lead: usize| {
        let own = spikes.iter().filter(|spike| spike.leads.contains(&lead));
        own.map(|spike| Span { start: spike.at, end: spike.at + 1 }).collect::<Vec<_>>()
    };
    let leads = strip.tracings.iter().enumerate().map(|(lead, tracing)| (tracing, of(lead)));
    let with_spikes = leads.filter(|(_, spans)| !spans.is_empty());
    with_spikes.map(|(tracing, spans)| strip.place(tracing).within(spans)).collect()
}

/// The spikes of all leads, those of one moment together, in order of time.
fn find(strip: &Strip, noise: &[Noise], least_uv: f64) -> Vec<Spike> {
    let mut found: Vec<(usize, f64, usize)> = Vec::new();
    let second = strip.samples(1.0);
    for (lead, (tracing, noise)) in strip.tracings.iter().zip(noise).enumerate() {
        // The last part of a second has no figure of its own.
        let sigma =
            |at: usize| noise.muscle_uv.get(at / second).or(noise.muscle_uv.last()).map_or(0.0, |uv| *uv);
        let all = spikes_of(&tracing.microvolts, strip.rate_hz, least_uv);
        let clear = all.into_iter().filter(|(at, uv)| *uv >= SPIKE_NOISE_TIMES * sigma(*at));
        found.extend(clear.map(|(at, uv)| (at, uv, lead)));
    }
    found.sort_by_key(|(at, _, _)| *at);
    let together = strip.samples(SPIKES_TOGETHER_SECONDS);
    let mut spikes: Vec<Spike> = Vec::new();
    for (at, uv, lead) in found {
        match spikes.last_mut() {
            Some(last) if at - last.at <= together => {
                if uv > last.uv {
                    (last.at, last.uv) = (at, uv);
                }
                if !last.leads.contains(&lead) {
                    last.leads.push(lead);
                }
            }
            _ => spikes.push(Spike { at, uv, leads: vec![lead] }),
        }
    }
    spikes
}

/// Samples of one lead that stand out, and by how many microvolts.
fn spikes_of(values: &[f64], rate_hz: f64, least_uv: f64) -> Vec<(usize, f64)> {
    let (gap, shoulder) =
        (samples(SPIKE_GAP_SECONDS, rate_hz), samples(SPIKE_SHOULDER_SECONDS, rate_hz).max(3));
    let reach = gap + shoulder;
    // At high rates some of the shoulders are enough.
    let every = shoulder.div_ceil(8);
    let mut found: Vec<(usize, f64)> = Vec::new();
    let Some(inner) = values.get(reach..values.len().saturating_sub(reach)) else { return found };
    let beside = values[shoulder - 1..].iter().zip(&values[reach + gap + 1..]);
    for (index, (value, (before, after))) in inner.iter().zip(beside).enumerate() {
        let stands_out = (value - before).abs() >= least_uv && (value - after).abs() >= least_uv;
        if !stands_out {
            continue;
        }
        let (at, value) = (reach + index, *value);
        let before = values[at - reach..at - gap].iter().step_by(every);
        let after = values[at + gap + 1..=at + reach].iter().step_by(every);
        let (low, high) =
            before.chain(after).fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(*value), high.max(*value))
            });
        let uv = (value - high).max(low - value);
        if uv < least_uv || uv < 2.0 * (high - low) {
            continue;
        }
        match found.last_mut() {
            Some(last) if at - last.0 <= gap => {
                if uv > last.1 {
                    *last = (at, uv);
                }
            }
            _ => found.push((at, uv)),
        }
    }
    found
}

/// Those that recur at the same distance from the beats, and those of the others that are no part of a QRS complex.
fn apart(spikes: Vec<Spike>, beats: &[usize], rate_hz: f64) -> (Vec<Spike>, Vec<Spike>) {
    let window = window(rate_hz);
    let offsets: Vec<Option<i64>> = spikes.iter().map(|spike| offset(spike.at, beats, &window)).collect();
    let near = i64::try_from(samples(SPIKE_OFFSETS_APART_SECONDS, rate_hz)).unwrap_or(i64::MAX);
    let recurs = |offset: &i64| {
        let alike = offsets.iter().flatten().filter(|other| (*other - offset).abs() <= near).count();
        alike >= 3 && 3 * alike >= beats.len()
    };
    let in_qrs = |spike: &Spike| beats.iter().any(|beat| beat.abs_diff(spike.at) < window.end);
    let (mut with_beats, mut others) = (Vec::new(), Vec::new());
    for (spike, offset) in spikes.into_iter().zip(&offsets) {
        if offset.as_ref().is_some_and(recurs) {
            with_beats.push(spike);
        } else if !in_qrs(&spike) {
            others.push(spike);
        }
    }
    (with_beats, others)
}

/// How many samples before and, plus one, after a beat a spike may belong to it.
fn window(rate_hz: f64) -> Range<usize> {
    samples(SPIKE_BEFORE_BEAT_SECONDS, rate_hz)..samples(SPIKE_AFTER_BEAT_SECONDS, rate_hz) + 1
}

/// Samples from the spike to the first beat that it may belong to: `window.start` before it at most, and fewer than
/// `window.end` after it.
fn offset(spike: usize, beats: &[usize], window: &Range<usize>) -> Option<i64> {
    let beat = beats.iter().find(|beat| **beat + window.end > spike && spike + window.start >= **beat)?;
    Some(i64::try_from(*beat).ok()? - i64::try_from(spike).ok()?)
}
