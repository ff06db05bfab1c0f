//! A waveform: its samples `[lead, sample]`, where they are missing, and its marks.

use ecgkeep_format::{Error, Kind as Fault, Place, Result};
use ecgkeep_recording::{Code, Exact, Mark, Signal, Span, Step, Waveform};

use crate::attributes::Attributes;
use crate::file::Dataset;
use crate::node::{Node, Reading};
use crate::rows::Table;
use crate::signals::{AXES, Axes, samples};
use crate::tables::{CodeRow, MarkRow, MissingRow};
use crate::values::Kept;
use crate::words;

pub(crate) const SAMPLES: &str = "samples";
pub(crate) const MISSING: &str = "missing";
pub(crate) const MARKS: &str = "marks";
pub(crate) const MARK_CODES: &str = "mark_codes";
/// The attributes of the samples besides those of [`Axes`].
const OWN_ATTRIBUTES: &[&str] =
    &["labels", "steps", "steps_exact", "zeros", "zeros_exact", "derived", "skews_s"];

pub(crate) fn read<'a>(reading: &mut Reading, node: &Node<'a>, kept: &Kept<'a>) -> Result<Waveform> {
    let (axes, signals) = read_samples(reading, node, kept)?;
    let signals = read_missing(reading, node, signals)?;
    let mut waveform = Waveform::new(axes.rate, signals).map_err(|error| {
        Error::malformed(node.place.clone(), "its signals make no waveform").because(error)
    })?;
    waveform.kind = axes.kind;
    waveform.start = axes.start;
    waveform.marks = read_marks(reading, node, kept)?;
    for name in node.names().filter(|name| ![SAMPLES, MISSING, MARKS, MARK_CODES].contains(name)) {
        reading.not_taken(node.place.clone(), format!("{name} is no item of a waveform"));
    }
    Ok(waveform)
}

fn read_samples<'a>(reading: &mut Reading, node: &Node<'a>, kept: &Kept<'a>) -> Result<(Axes, Vec<Signal>)> {
    let object = node
        .item(SAMPLES)?
        .ok_or_else(|| Error::malformed(node.place.clone(), format!("has no {SAMPLES}")))?;
    let attributes = Attributes::of(&object)?;
    let stored = Dataset::of(object, 2)?;
    let place = stored.place.clone();
    let (leads, length) = (stored.shape[0], stored.shape[1]);
    check_leads(reading, leads, &place)?;
    reading.take_samples((leads as u64).saturating_mul(length as u64), &place)?;
    let axes =
        Axes::read(reading, &attributes, leads, |reading, text| kept.attribute(reading, &place, text))?;
    let steps = attributes.exact_list(reading, "steps", leads)?.ok_or_else(|| attributes.missing("steps"))?;
    let zeros = attributes.exact_list(reading, "zeros", leads)?.unwrap_or(vec![Exact::ZERO; leads]);
    let labels = attributes.text_list("labels", leads)?.unwrap_or(vec![String::new(); leads]);
    let skews = attributes.text_list("skews_s", leads)?.unwrap_or(vec![String::new(); leads]);
    let derived = attributes.number_list("derived", leads)?.unwrap_or(vec![0.0; leads]);
    let all = samples(&stored)?;
    let mut signals = Vec::with_capacity(leads);
    for (lead, (name, unit)) in axes.leads.iter().zip(&axes.units).enumerate() {
        let skew = kept.text(reading, &place, &skews[lead])?;
        let skew = skew.map(|skew| skew.parse().map_err(|_| attributes.malformed("skews_s", "is no number")));
        signals.push(Signal {
            lead: name.clone(),
            label: kept.text(reading, &place, &labels[lead])?,
            unit: unit.clone(),
            step: Step::new(steps[lead]).ok_or_else(|| attributes.malformed("steps", "holds a zero"))?,
            offset: zeros[lead],
            missing: Vec::new(),
            derived: derived[lead] != 0.0,
            skew: skew.transpose()?,
            samples: all[lead * length..(lead + 1) * length].to_vec(),
        });
    }
    let is_known = |name: &&str| AXES.contains(name) || OWN_ATTRIBUTES.contains(name);
    for name in attributes.names().filter(|name| !is_known(name)) {
        reading.not_taken(place.clone(), format!("{name} is no attribute of samples"));
    }
    Ok((axes, signals))
}

/// Whether there are not too many leads.
/// # Errors
/// [`Fault::Limit`].
pub(crate) fn check_leads(reading: &Reading, leads: usize, place: &Place) -> Result<()> {
    if leads <= reading.limits.signals {
        return Ok(());
    }
    let text = format!("{leads} signals, the limit is {}", reading.limits.signals);
    Err(Error::new(Fault::Limit, text).at(place.clone()))
}

fn read_missing(reading: &mut Reading, node: &Node, mut signals: Vec<Signal>) -> Result<Vec<Signal>> {
    let Some(table) = Table::<MissingRow>::open(reading, node, MISSING)? else { return Ok(signals) };
    table.each(reading.limits.marks, |number, row| {
        let span = span(row.start, row.end);
        let signal = usize::try_from(row.lead).ok().and_then(|lead| signals.get_mut(lead));
        match (signal, span) {
            (Some(signal), Some(span)) => signal.missing.push(span),
            _ => return Err(no_samples(table.place(), number, row.lead, row.start, row.end)),
        }
        Ok(())
    })?;
    Ok(signals)
}

/// [`Fault::Malformed`] for a stretch that is none.
pub(crate) fn no_samples(place: &Place, number: usize, lead: i64, start: i64, end: i64) -> Error {
    let text = format!("row {number} names no samples: lead {lead}, samples {start} to before {end}");
    Error::malformed(place.clone(), text)
}

/// A stretch of samples; `None` where it is none.
pub(crate) fn span(start: i64, end: i64) -> Option<Span> {
    let (start, end) = (usize::try_from(start).ok()?, usize::try_from(end).ok()?);
    (start < end).then_some(Span { start, end })
}

fn read_marks<'a>(reading: &mut Reading, node: &Node<'a>, kept: &Kept<'a>) -> Result<Vec<Mark>> {
    let mut marks: Vec<Mark> = Vec::new();
    let Some(table) = Table::<MarkRow>::open(reading, node, MARKS)? else { return Ok(marks) };
    let place = table.place();
    table.each(reading.limits.marks, |number, row| {
        let MarkRow { sample, lead, kind, name, label, text } = row;
        let name = kept.text(reading, place, &name)?.unwrap_or_default();
        let known = words::read(&kind, &name);
        let kind = known.ok_or_else(|| {
            Error::malformed(place.clone(), format!("row {number} is of no known kind: {kind:?}, {name:?}"))
        })?;
        marks.push(Mark {
            sample,
            lead: kept.text(reading, place, &lead)?.map(|lead| words::read_lead(&lead)),
            kind,
            label: kept.text(reading, place, &label)?,
            text: kept.text(reading, place, &text)?,
            codes: Vec::new(),
        });
        Ok(())
    })?;
    for (row, code) in read_codes(reading, node, MARK_CODES, kept, marks.len())? {
        marks[row].codes.push(code);
    }
    Ok(marks)
}

/// The codes of another dataset's rows, of which there are so many, each with its row.
pub(crate) fn read_codes<'a>(
    reading: &mut Reading,
    node: &Node<'a>,
    name: &str,
    kept: &Kept<'a>,
    rows_there: usize,
) -> Result<Vec<(usize, Code)>> {
    let mut codes = Vec::new();
    let Some(table) = Table::<CodeRow>::open(reading, node, name)? else { return Ok(codes) };
    let place = table.place();
    table.each(reading.limits.marks, |number, row| {
        let of = usize::try_from(row.row).ok().filter(|of| *of < rows_there);
        let of = of.ok_or_else(|| {
            let what = format!("row {number} belongs to row {}, which is not there", row.row);
            Error::malformed(place.clone(), what)
        })?;
        let text = |cell: &str| kept.text(reading, place, cell);
        let (system, value) = (text(&row.system)?.unwrap_or_default(), text(&row.value)?.unwrap_or_default());
        codes.push((of, Code { system, value, meaning: text(&row.meaning)? }));
        Ok(())
    })?;
    Ok(codes)
}
