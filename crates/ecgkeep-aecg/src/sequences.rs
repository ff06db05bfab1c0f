//! One sequence set: its time sequence (GLIST_TS, GLIST_PQ) and one sequence for each lead (SLIST_PQ, SLIST_INT).
//!
//! A value is origin + scale x digit, an instant head + increment x position, all exact decimals.

use ecgkeep_format::{Error, Kind, Limits, Result};
use ecgkeep_recording::{CivilTime, Code, Exact, Lead, Rate, Signal, SignalUnit, Step, Waveform};

use crate::constants::{
    ACT_CODE, BILLION, LEAD, MDC, PARTITION_2, TIME_ABSOLUTE, TIME_RELATIVE, TIMES, VOLTAGES,
};
use crate::digits::{Digits, power_of_ten};
use crate::document::Node;
use crate::emit::Emitter;
use crate::notes::Notes;
use crate::time::{self, Stamp};
use crate::values::{self, decimal};

/// Where a set's first sample lies in time.
#[derive(Clone, Copy)]
pub(crate) enum Head {
    /// In calendar time.
    Absolute(CivilTime),
    /// So many seconds after the beginning of the series' `effectiveTime`.
    Relative(Exact),
}

/// One set as it was read.
pub(crate) struct Set {
    pub(crate) head: Head,
    pub(crate) rate: Rate,
    pub(crate) signals: Vec<Signal>,
}

/// The interval in which a series was recorded, as far as it states it.
#[derive(Clone, Copy, Default)]
pub(crate) struct Extent {
    pub(crate) low: Option<CivilTime>,
    pub(crate) high: Option<CivilTime>,
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
            times = Some(read_times(value, is_absolute, extent, rate_stated, notes)?);
            continue;
        }
        let (lead, label) =
            read_lead(code, notes).ok_or_else(|| code.malformed("a sequence without a code"))?;
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
        None => times_of_extent(set, extent, first.samples.len(), notes)?,
    };
    Ok(Some(Set { head, rate, signals }))
}

/// Writes one set of a waveform whose first sample lies at `head`.
pub(crate) fn write(out: &mut Emitter<'_>, waveform: &Waveform, head: &Head) {
    out.required("sequenceSet", |out| {
        out.required("component", |out| {
            out.required("sequence", |out| write_times(out, head, waveform.rate()));
        });
        for (index, signal) in waveform.signals().iter().enumerate() {
            let again = waveform.signals()[..index].iter().any(|own| own.lead == signal.lead);
            out.required("component", |out| {
                out.required("sequence", |out| {
                    write_lead(out, &signal.lead, signal.label.as_deref(), again);
                    write_signal(out, signal);
                });
            });
        }
    });
}

/// The type that `xsi:type` names, without its prefix; noted where it is missing.
fn stated_type<'d>(value: Node<'d>, notes: &Notes) -> &'d str {
    match value.attribute("type") {
        Some(name) => name.rsplit(':').next().unwrap_or(name),
        None => {
            notes.departure(value, "a value without xsi:type: its type follows from what it holds");
            ""
        }
    }
}

fn read_times(
    value: Node<'_>,
    is_absolute: bool,
    extent: &Extent,
    rate_stated: Option<Exact>,
    notes: &Notes,
) -> Result<(Head, Rate)> {
    stated_type(value, notes);
    let unsupported =
        |what: &str| Error::new(Kind::Unsupported, what).at(value.place()).clause("HL7 V3 data types, GLIST");
    if value.peek("period").is_some() {
        return Err(unsupported("a time sequence with a period"));
    }
    if value.peek("denominator").is_some_and(|text| text.trim() != "1") {
        return Err(unsupported("a time sequence with a denominator"));
    }
    value.attribute("denominator");
    if value.find("digits").is_some() {
        return read_listed_times(value, is_absolute);
    }
    let Some(increment) = value.child("increment") else {
        return Err(value.malformed("a time sequence without an increment"));
    };
    let text = increment.attribute("value").unwrap_or_default();
    let interval = read_seconds(increment)?;
    let malformed = || increment.malformed(format!("the increment {text:?} is not above zero"));
    let rate = Exact::ONE.over(interval).and_then(Rate::new).ok_or_else(malformed)?;
    let head = match value.child("head") {
        Some(head) if is_absolute => Head::Absolute(
            read_stamp(head, notes)?.ok_or_else(|| head.malformed("the time sequence has no head"))?,
        ),
        Some(head) => Head::Relative(read_seconds(head)?),
        None => {
            notes
                .departure(value, "a time sequence without a head: it begins with the series' effectiveTime");
            match extent.low {
                Some(low) if is_absolute => Head::Absolute(low),
                _ => Head::Relative(Exact::ZERO),
            }
        }
    };
    Ok((head, exact_rate(rate, rate_stated, increment, text, notes)))
}

/// The rate that the series states beside the increment, where the increment is its interval rounded.
fn exact_rate(rate: Rate, stated: Option<Exact>, increment: Node<'_>, text: &str, notes: &Notes) -> Rate {
    let places = text.trim().split_once('.').map_or(0, |(_, fraction)| fraction.len());
    let per_second = TIMES.iter().find(|row| Some(row.0) == increment.peek("unit")).map_or(1, |row| row.1);
    let half_unit = u32::try_from(places)
        .ok()
        .and_then(|places| Exact::ratio(1, 2).ok()?.over(power_of_ten(places))?.over(per_second.into()));
    let agrees = |stated: Exact| {
        let apart = Exact::ONE.over(stated)?.minus(rate.interval())?.magnitude();
        Some(apart <= half_unit?)
    };
    match stated {
        Some(stated) if agrees(stated) == Some(true) => Rate::new(stated).unwrap_or(rate),
        Some(stated) => {
            notes.not_taken(
                increment,
                format!("the stated sampling rate {stated} Hz, which the increment contradicts"),
            );
            rate
        }
        None => rate,
    }
}

/// A time sequence that lists every instant, where the instants are evenly spaced.
fn read_listed_times(value: Node<'_>, is_absolute: bool) -> Result<(Head, Rate)> {
    let place = value.place();
    let unsupported = |what: &str| Error::new(Kind::Unsupported, what).at(place.clone());
    if is_absolute {
        return Err(unsupported("a list of absolute times"));
    }
    let (Some(origin), Some(scale)) = (value.child("origin"), value.child("scale")) else {
        return Err(value.malformed("a list of times without origin and scale"));
    };
    let (origin, scale) = (read_seconds(origin)?, read_seconds(scale)?);
    let digits = read_digits(value)?;
    let scale = scale.over(power_of_ten(digits.places));
    let steps = || digits.samples.windows(2).map(|pair| i64::from(pair[1]) - i64::from(pair[0]));
    let step = steps().next().unwrap_or(0);
    if step <= 0 || steps().any(|own| own != step) {
        return Err(unsupported("a list of times that are not evenly spaced"));
    }
    let head = scale.and_then(|scale| scale.times(digits.samples[0].into())?.plus(origin));
    let rate = scale.and_then(|scale| Exact::ONE.over(scale.times(step.into())?)).and_then(Rate::new);
    match (head, rate) {
        (Some(head), Some(rate)) => Ok((Head::Relative(head), rate)),
        _ => Err(value.malformed("times that are too long to be exact")),
    }
}

/// The interval of a set without a time sequence, from the series' `effectiveTime` and the number of samples.
fn times_of_extent(set: Node<'_>, extent: &Extent, samples: usize, notes: &Notes) -> Result<(Head, Rate)> {
    let (Some(low), Some(high)) = (extent.low, extent.high) else {
        return Err(set.malformed(
            "neither a time sequence nor an effectiveTime with low and high: the rate is unknown",
        ));
    };
    let rate = time::between(&low, &high)
        .and_then(|seconds| Exact::whole(i64::try_from(samples).ok()?).over(seconds))
        .and_then(Rate::new)
        .ok_or_else(|| {
            set.malformed("no time sequence, and low and high of the effectiveTime give no rate")
        })?;
    notes.departure(
        set,
        format!("no time sequence: the rate {rate} Hz is {samples} samples over the effectiveTime"),
    );
    Ok((Head::Absolute(low), rate))
}

fn write_times(out: &mut Emitter<'_>, head: &Head, rate: Rate) {
    let (name, kind) = match head {
        Head::Absolute(_) => (TIME_ABSOLUTE, "GLIST_TS"),
        Head::Relative(_) => (TIME_RELATIVE, "GLIST_PQ"),
    };
    values::write_code(out, ACT_CODE, name);
    out.with("value", &[("xsi:type", kind)], true, |out| {
        match head {
            Head::Absolute(start) => match time::write(start) {
                Some(text) => out.leaf("head", &[("value", &text)]),
                None => out.null("head"),
            },
            Head::Relative(seconds) => out.leaf("head", &[("value", &decimal(*seconds)), ("unit", "s")]),
        }
        out.leaf("increment", &[("value", &decimal(rate.interval())), ("unit", "s")]);
    });
}

/// A time in seconds from a PQ in s, ms, us or ns.
pub(crate) fn read_seconds(node: Node<'_>) -> Result<Exact> {
    let text = node.attribute("value").unwrap_or_default();
    let value =
        values::number(text).ok_or_else(|| node.malformed(format!("{text:?} is no number of seconds")))?;
    let unit = node.attribute("unit").unwrap_or_default();
    let per_second = TIMES.iter().find(|row| row.0 == unit).map(|row| row.1);
    let per_second = match (per_second, value.is_zero()) {
        (Some(per_second), _) => per_second,
        (None, true) if unit.is_empty() => 1,
        _ => return Err(node.malformed(format!("the unit {unit:?} is none of s, ms, us, ns"))),
    };
    value.over(per_second.into()).ok_or_else(|| node.malformed("a time that is too long to be exact"))
}

/// A point in time from a TS; `None` where the source has none.
pub(crate) fn read_stamp(node: Node<'_>, notes: &Notes) -> Result<Option<CivilTime>> {
    values::silence(node);
    let Some(text) = node.attribute("value") else { return Ok(None) };
    match time::read(text) {
        Some(Stamp::Proper(time)) => Ok(Some(time)),
        Some(Stamp::Tolerated(time)) => {
            notes.departure(node, "a time that is not spelled YYYYMMDDhhmmss");
            Ok(Some(time))
        }
        Some(Stamp::Zeros) => {
            notes.departure(node, "a time of zeros: taken as not stated");
            Ok(None)
        }
        None => Err(node.malformed(format!("{text:?} is no point in time")).clause("HL7 V3 data types, TS")),
    }
}

/// Which lead a code names, and the source's own label of it.
pub(crate) fn read_lead(code: Node<'_>, notes: &Notes) -> Option<(Lead, Option<String>)> {
    let Some(name) = code.peek("code") else {
        let name = code.attribute("displayName")?.to_owned();
        let label = values::coded(code).text;
        if code.peek("nullFlavor") == Some("OTH") {
            code.attribute("nullFlavor");
        }
        return Some((Lead::Other(name), label));
    };
    let is_private = code.peek("codeSystem").is_some_and(|system| system != MDC);
    let squeezed: String = name.chars().filter(|c| !c.is_whitespace() && *c != '+').collect();
    let number = name.trim().parse::<u32>().ok().and_then(|code| code.checked_sub(PARTITION_2));
    let lead = match number.and_then(|number| u16::try_from(number).ok()) {
        Some(number) if !is_private => Lead::from_number(number),
        _ => match Lead::from_name(&squeezed) {
            Lead::Other(_) => Lead::Other(name.to_owned()),
            known => known,
        },
    };
    if number.is_none() && lead.reference_id().is_none_or(|reference| reference != name) {
        let what = if name.get(..LEAD.len()).is_some_and(|start| start.eq_ignore_ascii_case(LEAD)) {
            "a lead that is not spelled as its reference identifier"
        } else {
            "a lead that is not named by a reference identifier MDC_ECG_LEAD_"
        };
        notes.departure(code, what);
    }
    code.attribute("code");
    if !is_private {
        code.attribute("codeSystem");
        if code.peek("codeSystemName") == Some("MDC") {
            code.attribute("codeSystemName");
        }
    }
    // what the code is called adds nothing to a lead of the standard
    code.attribute("displayName");
    let label = code.child("originalText").map(|text| text.text().to_owned());
    Some((lead, label))
}

/// Writes a lead's code; a second signal of one lead is written by name, for a set holds each code once.
pub(crate) fn write_lead(out: &mut Emitter<'_>, lead: &Lead, label: Option<&str>, again: bool) {
    let value = match lead {
        Lead::Numbered(number) if Lead::from_number(*number) == *lead => {
            Some((PARTITION_2 + u32::from(*number)).to_string())
        }
        lead => lead.reference_id(),
    };
    let name = lead.name();
    let code = Code { system: MDC.to_owned(), value: value.clone().unwrap_or_default(), meaning: None };
    let attributes = match value {
        Some(_) if !again => values::code_attributes(&code),
        _ => vec![("nullFlavor", "OTH"), ("displayName", name.as_str())],
    };
    out.with("code", &attributes, true, |out| out.text("originalText", label));
}

fn read_digits(value: Node<'_>) -> Result<Digits> {
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
