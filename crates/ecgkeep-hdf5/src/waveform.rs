//! A waveform: its samples `[lead, sample]`, where they are missing, and its marks.

use ecgkeep_format::{Error, Kind, Result};
use ecgkeep_recording::{Code, Exact, Mark, Signal, Span, Step, Waveform};
use hdf5::Group;
use hdf5::plist::dataset_create::Layout;
use ndarray::ArrayView1;

use crate::attributes::{put_flags, put_texts};
use crate::node::{Node, Reading};
use crate::rows;
use crate::scratch::COMPACT_ATTRIBUTES;
use crate::signals::{
    AXES, Axes, check_sample_type, chunk, put_exacts, sample_type, take_exacts, take_samples,
};
use crate::tables::{CodeRow, MarkRow, MissingRow};
use crate::values::{Kept, Values};
use crate::words;

const SAMPLES: &str = "samples";
const MISSING: &str = "missing";
const MARKS: &str = "marks";
const MARK_CODES: &str = "mark_codes";
/// The attributes of the samples besides those of [`Axes`].
const OWN_ATTRIBUTES: &[&str] =
    &["labels", "steps", "steps_exact", "zeros", "zeros_exact", "derived", "skews_s", "value"];

pub(crate) fn write(group: &Group, waveform: &Waveform, values: &mut Values) -> hdf5::Result<()> {
    let signals = waveform.signals();
    write_samples(group, waveform, values)?;
    let missing: Vec<MissingRow> = signals
        .iter()
        .zip(0..)
        .flat_map(|(signal, lead)| {
            let row = move |span: &Span| MissingRow { lead, start: count(span.start), end: count(span.end) };
            signal.missing.iter().map(row)
        })
        .collect();
    rows::write(group, MISSING, &missing)?;
    let mut codes = Vec::new();
    let marks: Vec<MarkRow> = waveform
        .marks
        .iter()
        .zip(0..)
        .map(|(mark, row)| {
            let Mark { sample, lead, kind, label, text, codes: own } = mark;
            codes.extend(own.iter().map(|code| code_row(row, code, values)));
            let (kind, name) = words::write(kind);
            MarkRow {
                sample: *sample,
                lead: values.cell(lead.as_ref().map(words::write_lead).as_deref()),
                kind,
                name: values.cell((!name.is_empty()).then_some(&name)),
                label: values.cell(label.as_deref()),
                text: values.cell(text.as_deref()),
            }
        })
        .collect();
    rows::write(group, MARKS, &marks)?;
    rows::write(group, MARK_CODES, &codes)
}

fn write_samples(group: &Group, waveform: &Waveform, values: &mut Values) -> hdf5::Result<()> {
    let signals = waveform.signals();
    let shape = [signals.len(), waveform.length()];
    let kind = sample_type(signals.iter());
    let builder = group
        .new_dataset_builder()
        .obj_track_times(false)
        .attr_phase_change(COMPACT_ATTRIBUTES, 0)
        .empty_as(&kind)
        .shape(shape);
    let dataset = match waveform.length() {
        0 => builder.layout(Layout::Contiguous).create(SAMPLES)?,
        _ => builder
            .chunk(chunk(&shape, kind.size()))
            .shuffle()
            .deflate(rows::DEFLATE_LEVEL)
            .fletcher32()
            .create(SAMPLES)?,
    };
    Axes::of(waveform).write(&dataset, |text| values.attribute(text))?;
    crate::attributes::put_text(&dataset, "value", VALUE)?;
    let steps: Vec<Exact> = signals.iter().map(|signal| signal.step.nanovolts()).collect();
    put_exacts(&dataset, "steps", &steps)?;
    let zeros: Vec<Exact> = signals.iter().map(|signal| signal.offset).collect();
    put_exacts(&dataset, "zeros", &zeros)?;
    if signals.iter().any(|signal| signal.label.is_some()) {
        let labels: Vec<String> = signals.iter().map(|signal| values.cell(signal.label.as_deref())).collect();
        put_texts(&dataset, "labels", &labels)?;
    }
    if signals.iter().any(|signal| signal.derived) {
        let derived: Vec<u8> = signals.iter().map(|signal| u8::from(signal.derived)).collect();
        put_flags(&dataset, "derived", &derived)?;
    }
    if signals.iter().any(|signal| signal.skew.is_some()) {
        let skews: Vec<String> = signals
            .iter()
            .map(|signal| values.cell(signal.skew.map(|skew| skew.to_string()).as_deref()))
            .collect();
        put_texts(&dataset, "skews_s", &skews)?;
    }
    if waveform.length() > 0 {
        for (lead, signal) in signals.iter().enumerate() {
            dataset.write_slice(ArrayView1::from(&signal.samples[..]), (lead, ..))?;
        }
    }
    Ok(())
}

/// What a researcher has to know to read the samples.
pub(crate) const VALUE: &str = "zeros + steps * count, in 1e-9 of units (nV where units is V)";

/// A number of samples as it stands in a row.
pub(crate) fn count(samples: usize) -> i64 {
    i64::try_from(samples).unwrap_or(i64::MAX)
}

/// A code of a row.
pub(crate) fn code_row(row: i64, code: &Code, values: &mut Values) -> CodeRow {
    let Code { system, value, meaning } = code;
    CodeRow {
        row,
        system: values.cell(Some(system)),
        value: values.cell(Some(value)),
        meaning: values.cell(meaning.as_deref()),
    }
}

pub(crate) fn read(reading: &mut Reading, node: &Node, kept: &Kept) -> Result<Waveform> {
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

fn read_samples(reading: &mut Reading, node: &Node, kept: &Kept) -> Result<(Axes, Vec<Signal>)> {
    let stored = node
        .dataset(reading, SAMPLES, 2)?
        .ok_or_else(|| Error::malformed(node.place.clone(), format!("has no {SAMPLES}")))?;
    let place = stored.place.clone();
    let (leads, length) = (stored.shape[0], stored.shape[1]);
    check_sample_type(&stored.kind, &place)?;
    if leads > reading.limits.signals {
        let text = format!("{leads} signals, the limit is {}", reading.limits.signals);
        return Err(Error::new(Kind::Limit, text).at(place));
    }
    reading.take_samples((leads as u64).saturating_mul(length as u64), &place)?;
    let attributes = stored.attributes()?;
    let axes = Axes::read(reading, &attributes, &place, leads, |reading, text| {
        kept.attribute(reading, &place, text)
    })?;
    let steps = take_exacts(reading, &attributes, &place, "steps", leads)?
        .ok_or_else(|| attributes.missing("steps"))?;
    let zeros =
        take_exacts(reading, &attributes, &place, "zeros", leads)?.unwrap_or(vec![Exact::ZERO; leads]);
    let labels = attributes.text_list("labels", leads)?.unwrap_or(vec![String::new(); leads]);
    let skews = attributes.text_list("skews_s", leads)?.unwrap_or(vec![String::new(); leads]);
    let derived = attributes.number_list("derived", leads)?.unwrap_or(vec![0.0; leads]);
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
            samples: if length == 0 { Vec::new() } else { take_samples(&stored, (lead, ..))? },
        });
    }
    let is_known = |name: &&String| AXES.contains(&name.as_str()) || OWN_ATTRIBUTES.contains(&name.as_str());
    for name in attributes.names.iter().filter(|name| !is_known(name)) {
        reading.not_taken(place.clone(), format!("{name} is no attribute of samples"));
    }
    Ok((axes, signals))
}

fn read_missing(reading: &Reading, node: &Node, mut signals: Vec<Signal>) -> Result<Vec<Signal>> {
    let Some(stored) = node.dataset(reading, MISSING, 1)? else { return Ok(signals) };
    rows::read(&stored, reading.limits.marks, |number, row: MissingRow| {
        let span = span(row.start, row.end);
        let signal = usize::try_from(row.lead).ok().and_then(|lead| signals.get_mut(lead));
        match (signal, span) {
            (Some(signal), Some(span)) => signal.missing.push(span),
            _ => {
                let text = format!("row {number} names no samples of a lead: {row:?}");
                return Err(Error::malformed(stored.place.clone(), text));
            }
        }
        Ok(())
    })?;
    Ok(signals)
}

/// A stretch of samples; `None` where it is none.
pub(crate) fn span(start: i64, end: i64) -> Option<Span> {
    let (start, end) = (usize::try_from(start).ok()?, usize::try_from(end).ok()?);
    (start < end).then_some(Span { start, end })
}

fn read_marks(reading: &Reading, node: &Node, kept: &Kept) -> Result<Vec<Mark>> {
    let mut marks: Vec<Mark> = Vec::new();
    let Some(stored) = node.dataset(reading, MARKS, 1)? else { return Ok(marks) };
    let place = &stored.place;
    rows::read(&stored, reading.limits.marks, |number, row: MarkRow| {
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
pub(crate) fn read_codes(
    reading: &Reading,
    node: &Node,
    name: &str,
    kept: &Kept,
    rows_there: usize,
) -> Result<Vec<(usize, Code)>> {
    let mut codes = Vec::new();
    let Some(stored) = node.dataset(reading, name, 1)? else { return Ok(codes) };
    let place = &stored.place;
    rows::read(&stored, reading.limits.marks, |number, row: CodeRow| {
        let of = usize::try_from(row.row).ok().filter(|of| *of < rows_there).ok_or_else(|| {
            Error::malformed(
                place.clone(),
                format!("row {number} belongs to row {}, which is not there", row.row),
            )
        })?;
        codes.push((
            of,
            Code {
                system: kept.text(reading, place, &row.system)?.unwrap_or_default(),
                value: kept.text(reading, place, &row.value)?.unwrap_or_default(),
                meaning: kept.text(reading, place, &row.meaning)?,
            },
        ));
        Ok(())
    })?;
    Ok(codes)
}
