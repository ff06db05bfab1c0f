//! A waveform: its samples `[lead, sample]`, where they are missing, and its marks.

use ecgkeep_recording::{Code, Exact, Mark, Span, Waveform};
use hdf5::Group;
use ndarray::ArrayView1;

use crate::signals::Axes;
use crate::tables::{CodeRow, MarkRow, MissingRow};
use crate::waveform::{MARK_CODES, MARKS, MISSING, SAMPLES};
use crate::words;
use crate::write::put::{put_exacts, put_flags, put_texts};
use crate::write::rows;
use crate::write::signals::{sample_type, samples};
use crate::write::values::Values;

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
    let dataset = samples(group, SAMPLES, &kind, &shape)?;
    Axes::of(waveform).write(&dataset, |text| values.attribute(text))?;
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
