//! Time sequences: GLIST_TS and GLIST_PQ (head + increment x position), and evenly spaced SLIST_PQ.

use ecgkeep_format::{Error, Kind, Result};
use ecgkeep_recording::{CivilTime, Exact, Rate};

use crate::constants::{ACT_CODE, TIME_ABSOLUTE, TIME_RELATIVE, TIMES};
use crate::digits::power_of_ten;
use crate::emit::Emitter;
use crate::node::Node;
use crate::notes::Notes;
use crate::sequences::{read_digits, stated_type};
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

/// The interval in which a series was recorded, as far as it states it.
#[derive(Clone, Copy, Default)]
pub(crate) struct Extent {
    pub(crate) low: Option<CivilTime>,
    pub(crate) high: Option<CivilTime>,
}

/// Reads a time sequence.
/// # Errors
/// [`Kind::Malformed`] for a missing unit or an increment that is not above zero, [`Kind::Unsupported`] for periods,
/// denominators and lists of times that are not evenly spaced.
pub(crate) fn read(
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
        return read_listed(value, is_absolute);
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
fn read_listed(value: Node<'_>, is_absolute: bool) -> Result<(Head, Rate)> {
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
pub(crate) fn of_extent(
    set: Node<'_>,
    extent: &Extent,
    samples: usize,
    notes: &Notes,
) -> Result<(Head, Rate)> {
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

/// Writes a time sequence.
pub(crate) fn write(out: &mut Emitter<'_>, head: &Head, rate: Rate) {
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
