//! One sequence set: its time sequence (GLIST_TS, GLIST_PQ) and one sequence for each lead (SLIST_PQ, SLIST_INT).
//!
//! A value is origin + scale x digit, an instant head + increment x position, all exact decimals.

use ecgkeep_format::{Error, Kind, Limits, Result};
use ecgkeep_recording::{Exact, Lead, Rate, Signal, SignalUnit, Step, Waveform};

use crate::constants::{BILLION, TIME_ABSOLUTE, TIME_RELATIVE, VOLTAGES};
use crate::digits::{Digits, power_of_ten};
use crate::emit::Emitter;
use crate::leads;
use crate::node::Node;
use crate::notes::Notes;
use crate::timeline::{self, Extent, Head};
use crate::values::{self, decimal};

/// One set as it was read.
pub(crate) struct Set {
    pub(crate) head: Head,
    pub(crate) rate: Rate,
    pub(crate) signals: Vec<Signal>,
}

/// Reads one set; `None` where it holds no lead.
/// # Errors
/// [`Kind::Malformed`] for what cannot be read without guessing: a missing unit, a word among the digits, unequal
/// lengths, a lead twice. [`Kind::Unsupported`] for time sequences with gaps or periods. [`Kind::Limit`].
pub(crate) fn read(
    set: Node<'_>,
    extent: &Extent,
    rate_stated: Option<Exact>,
    limits: &Limits,
    notes: &Notes,
) -> Result<Option<Set>> {
    let mut times = None;
    let mut signals: Vec<Signal> = Vec::new();
    for component in set.waiting("component") {
        let Some(sequence) = component.child("sequence") else { continue };
        component.take();
        let Some(code) = sequence.child("code") else {
            return Err(sequence.malformed("a sequence without a code"));
        };
        let Some(value) = sequence.child("value") else {
            return Err(sequence.malformed("a sequence without a value"));
        };
        let name = code.peek("code").unwrap_or_default();
        let is_absolute = name.eq_ignore_ascii_case(TIME_ABSOLUTE);
        if is_absolute || name.eq_ignore_ascii_case(TIME_RELATIVE) {
            if times.is_some() {
                return Err(sequence.malformed("a second time sequence in one set"));
            }
            values::coded(code);
            times = Some(timeline::read(value, is_absolute, extent, rate_stated, notes)?);
            continue;
        }
        let (lead, label) =
            leads::read(code, notes).ok_or_else(|| code.malformed("a sequence without a code"))?;
        let signal = read_signal(value, lead.clone(), label, notes)
            .map_err(|error| error.within(format!("lead {lead}")))?;
        if !matches!(lead, Lead::Other(_)) && signals.iter().any(|own| own.lead == lead) {
            return Err(sequence.malformed(format!("lead {lead} stands twice in one set")));
        }
        if let Some(first) = signals.first().filter(|first| first.samples.len() != signal.samples.len()) {
            let (length, expected, other) = (signal.samples.len(), first.samples.len(), &first.lead);
            let what = format!("lead {lead} has {length} samples, lead {other} has {expected}");
            return Err(value
                .malformed(what)
                .remedy("ask for the file again: which samples are missing cannot be known"));
        }
        signals.push(signal);
        if signals.len() > limits.signals {
            let what = format!("more than {} leads in one set", limits.signals);
            return Err(Error::new(Kind::Limit, what).at(set.place()));
        }
    }
    let Some(first) = signals.first() else { return Ok(None) };
    let (head, rate) = match times {
        Some(times) => times,
        None => timeline::of_extent(set, extent, first.samples.len(), notes)?,
    };
    Ok(Some(Set { head, rate, signals }))
}

/// Writes one set of a waveform whose first sample lies at `head`.
pub(crate) fn write(out: &mut Emitter<'_>, waveform: &Waveform, head: &Head) {
    out.required("sequenceSet", |out| {
        out.required("component", |out| {
            out.required("sequence", |out| timeline::write(out, head, waveform.rate()));
        });
        for (index, signal) in waveform.signals().iter().enumerate() {
            let again = waveform.signals()[..index].iter().any(|own| own.lead == signal.lead);
            out.required("component", |out| {
                out.required("sequence", |out| {
                    leads::write(out, &signal.lead, signal.label.as_deref(), again);
                    write_signal(out, signal);
                });
            });
        }
    });
}

/// The type that `xsi:type` names, without its prefix; noted where it is missing.
pub(crate) fn stated_type<'d>(value: Node<'d>, notes: &Notes) -> &'d str {
    match value.attribute("type") {
        Some(name) => name.rsplit(':').next().unwrap_or(name),
        None => {
            notes.departure(value, "a value without xsi:type: its type follows from what it holds");
            ""
        }
    }
}

/// The numbers of a list.
/// # Errors
/// [`Kind::Malformed`] with the position of what is no number.
pub(crate) fn read_digits(value: Node<'_>) -> Result<Digits> {
    let Some(node) = value.child("digits") else { return Err(value.malformed("no digits")) };
    let digits = node.digits().unwrap_or_default();
    if let Some(bad) = &digits.bad {
        let what = format!("the digit at position {} (from 0) {}: {:?}", bad.index, bad.why, bad.found);
        return Err(node.malformed(what).remedy("ask for the file again: no sample is guessed"));
    }
    if digits.samples.is_empty() {
        return Err(node.malformed("the list of digits is empty"));
    }
    Ok(digits)
}

fn read_signal(value: Node<'_>, lead: Lead, label: Option<String>, notes: &Notes) -> Result<Signal> {
    let kind = stated_type(value, notes);
    if value.find("digits").is_none() {
        return Err(value.malformed(format!("a lead of type {kind:?} without digits")));
    }
    let part = |name: &'static str| {
        let node = value.child(name).ok_or_else(|| value.malformed(format!("no {name}")))?;
        let text = node.attribute("value").unwrap_or_default();
        let number = values::number(text)
            .ok_or_else(|| node.malformed(format!("the {name} {text:?} is no number")))?;
        Ok((node, number, node.attribute("unit").unwrap_or_default()))
    };
    let (origin_node, origin, origin_unit) = part("origin")?;
    let (scale_node, scale, scale_unit) = part("scale")?;
    let is_count = kind == "SLIST_INT" && scale_unit.is_empty() && origin_unit.is_empty();
    let (unit, factor) = if is_count {
        (SignalUnit::Uncalibrated, BILLION)
    } else {
        unit_of(scale_unit)
            .ok_or_else(|| scale_node.malformed("the scale has no unit").remedy("no unit is guessed"))?
    };
    let origin_factor = match unit_of(origin_unit) {
        Some((own, factor)) if own == unit => factor,
        None if origin.is_zero() || is_count => factor,
        None => return Err(origin_node.malformed("the origin has no unit").remedy("no unit is guessed")),
        Some(_) => {
            return Err(
                origin_node.malformed(format!("the origin is in {origin_unit}, the scale in {scale_unit}"))
            );
        }
    };
    if !matches!(unit, SignalUnit::Volt | SignalUnit::Uncalibrated) && !matches!(lead, Lead::Other(_)) {
        notes.departure(
            scale_node,
            format!("the unit {scale_unit:?} of lead {lead} is no voltage: kept, never drawn"),
        );
    }
    let digits = read_digits(value)?;
    if digits.odd_spelling {
        notes.departure(value, "whole numbers spelled as +5, 3.0 or 1E2");
    }
    if digits.places > 0 {
        notes.departure(value, "digits that are no whole numbers: kept exactly, by a finer scale");
    }
    let step = scale.times(factor).and_then(|step| step.over(power_of_ten(digits.places)));
    let offset = origin.times(origin_factor);
    let (Some(step), Some(offset)) = (step, offset) else {
        return Err(value.malformed("origin or scale is too long to be exact"));
    };
    let step = Step::new(step).ok_or_else(|| scale_node.malformed("the scale is zero"))?;
    Ok(Signal { label, unit, offset, ..Signal::new(lead, step, digits.samples) })
}

/// What a unit measures and how many 10^-9 of it one is (nanovolts for a voltage); `None` for no unit.
fn unit_of(unit: &str) -> Option<(SignalUnit, Exact)> {
    match VOLTAGES.iter().find(|row| row.0 == unit) {
        Some(row) => Some((SignalUnit::Volt, row.1.into())),
        None if unit.is_empty() => None,
        None => Some((SignalUnit::Other(unit.to_owned()), BILLION)),
    }
}

fn write_signal(out: &mut Emitter<'_>, signal: &Signal) {
    let (kind, unit, per_unit) = match &signal.unit {
        SignalUnit::Volt => ("SLIST_PQ", VOLTAGES[0].0, VOLTAGES[0].1.into()),
        SignalUnit::Other(name) => ("SLIST_PQ", name.as_str(), BILLION),
        _ => ("SLIST_INT", "", BILLION),
    };
    let stride = whole_stride(signal, per_unit);
    let in_unit = |value: Exact| value.over(per_unit).unwrap_or(value);
    let scale = signal.step.nanovolts().times(stride.into()).unwrap_or(signal.step.nanovolts());
    let (scale, origin) = (decimal(in_unit(scale)), decimal(in_unit(signal.offset)));
    let part = |out: &mut Emitter<'_>, name, value: &str| {
        if unit.is_empty() {
            out.leaf(name, &[("value", value)]);
        } else {
            out.leaf(name, &[("value", value), ("unit", unit)]);
        }
    };
    out.with("value", &[("xsi:type", kind)], true, |out| {
        part(out, "origin", &origin);
        part(out, "scale", &scale);
        out.required("digits", |out| {
            if signal.missing.is_empty() && stride == 1 {
                out.digits(signal.samples.iter().copied());
                return;
            }
            // a list has no token for a missing sample: what stands there is the count nearest to zero
            let zero = zero_count(signal);
            let samples = signal.samples.iter().enumerate();
            out.digits(
                samples.map(|(at, count)| if signal.is_missing(at) { zero / stride } else { count / stride }),
            );
        });
    });
}

/// The number that every count is divided by so that the scale becomes a decimal: 1 where it is one already, and
/// where some count cannot be divided.
fn whole_stride(signal: &Signal, per_unit: Exact) -> i32 {
    let Some(step) = signal.step.nanovolts().over(per_unit) else { return 1 };
    let mut rest = step.denominator();
    while rest % 2 == 0 {
        rest /= 2;
    }
    while rest % 5 == 0 {
        rest /= 5;
    }
    match i32::try_from(rest) {
        Ok(stride) if signal.samples.iter().all(|count| count % stride == 0) => stride,
        _ => 1,
    }
}

/// The count whose voltage is nearest to zero.
fn zero_count(signal: &Signal) -> i32 {
    let count = signal.offset.negated().over(signal.step.nanovolts()).and_then(values::nearest).unwrap_or(0);
    i32::try_from(count).unwrap_or(0)
}

/// Whether the scale of a signal survives as a decimal other than zero.
pub(crate) fn has_scale(signal: &Signal) -> bool {
    let step = signal.step.nanovolts();
    let per_unit = if signal.unit == SignalUnit::Volt { Exact::from(VOLTAGES[0].1) } else { BILLION };
    step.over(per_unit).is_some_and(|scale| !values::rounded(scale).is_zero())
}
