//! Equal recordings in one dataset `[recording, lead, sample]`, and tables beside it.

use ecgkeep_format::{Error, Kind, Result};
use ecgkeep_recording::{Code, Exact, Mark, Measurement, PersonName, Quantity, Recording, Signal, Waveform};
use hdf5::Group;
use hdf5::types::TypeDescriptor;
use ndarray::{ArrayView1, ArrayView2};

use crate::number;
use crate::signals::Axes;
use crate::stack::{
    DERIVED, IDENTITIES, MARKS, MEASUREMENTS, MISSING, RECORDINGS, SAMPLES, STACK, STATEMENT_CODES,
    STATEMENTS, STEPS, ZEROS, exact_name,
};
use crate::tables::{
    IdentityRow, MeasurementRow, StackedCodeRow, StackedMarkRow, StackedMeasurementRow, StackedMissingRow,
    StackedStatementRow, SubjectRow,
};
use crate::words;
use crate::write::recording::measurement_row;
use crate::write::rows::{self, by_width, fixed};
use crate::write::scratch::group_in;
use crate::write::signals::{sample_type, samples};
use crate::write::values::Values;
use crate::write::waveform::count;

/// What the root says of the layout to somebody who has nothing but the file.
pub(crate) const LAYOUT: &str = "stack/samples [recording, lead, sample], stack/steps and stack/zeros [recording, lead], and rows: \
     stack/recordings has one for each recording, the others name it. See schemas/hdf5-layout.md of ecgkeep.";
/// Signs of the longest label that is kept: codes of beats are shorter, names of persons are not.
const LABEL_SIGNS: usize = 3;

/// Whether recordings are equal enough to be stacked.
/// # Errors
/// [`Kind::Refused`] with the first one that is not, and what differs.
pub(crate) fn check(recordings: &[Recording]) -> Result<()> {
    let Some(first) = recordings.first() else { return Err(refused("no recording to stack".to_owned())) };
    (1..).zip(recordings).try_for_each(|(number, recording)| {
        equal(first, recording).map_err(|error| refused(format!("recording {number} {}", error.what())))
    })
}

/// Whether a recording is equal enough to the first to be stacked with it.
/// # Errors
/// [`Kind::Refused`] with what differs.
pub(crate) fn equal(first: &Recording, other: &Recording) -> Result<()> {
    let stacked = |recording: &Recording| match recording.waveforms.first() {
        Some(waveform) => Ok((Axes::of(waveform), waveform.length())),
        None => Err(refused("has no waveform to stack".to_owned())),
    };
    let (other, other_length) = stacked(other)?;
    let (axes, length) = stacked(first)?;
    let differs = |what: &str, a: String, b: String| {
        (a != b).then(|| format!("differs from the first in {what}: {b}, not {a}"))
    };
    let names = |axes: &Axes| axes.leads.iter().map(words::write_lead).collect::<Vec<_>>().join(", ");
    let units = |axes: &Axes| format!("{:?}", axes.units);
    let difference = differs("the number of samples", length.to_string(), other_length.to_string())
        .or_else(|| differs("the sampling rate", axes.rate.to_string(), other.rate.to_string()))
        .or_else(|| differs("the leads", names(&axes), names(&other)))
        .or_else(|| differs("the units", units(&axes), units(&other)))
        .or_else(|| differs("the start of the waveform", axes.start.to_string(), other.start.to_string()))
        .or_else(|| differs("the kind of the waveform", axes.kind.to_string(), other.kind.to_string()));
    difference.map_or(Ok(()), |difference| Err(refused(difference)))
}

fn refused(what: String) -> Error {
    Error::new(Kind::Refused, what)
        .remedy("leave out the option stack, or stack only recordings with the same leads, rate and length")
}

/// Writes recordings that [`check`] has found equal.
pub(crate) fn write(root: &Group, recordings: &[Recording], with_identity: bool) -> hdf5::Result<()> {
    let group = &group_in(root, STACK)?;
    let mut values = Values::default();
    let waveforms: Vec<&Waveform> =
        recordings.iter().filter_map(|recording| recording.waveforms.first()).collect();
    write_samples(group, &waveforms, &mut values)?;
    let of_each = |value: fn(&Signal) -> Exact| -> Vec<Exact> {
        waveforms.iter().flat_map(|waveform| waveform.signals().iter().map(value)).collect()
    };
    let shape = (waveforms.len(), waveforms.first().map_or(0, |waveform| waveform.signals().len()));
    write_exacts(group, STEPS, shape, &of_each(|signal| signal.step.nanovolts()))?;
    write_exacts(group, ZEROS, shape, &of_each(|signal| signal.offset))?;
    let derived: Vec<u8> = waveforms
        .iter()
        .flat_map(|waveform| waveform.signals().iter().map(|signal| u8::from(signal.derived)))
        .collect();
    if derived.contains(&1) {
        write_array(group, DERIVED, shape, &derived)?;
    }
    let subjects: Vec<SubjectRow> =
        recordings.iter().map(|recording| subject_row(recording, &mut values)).collect();
    rows::write(group, RECORDINGS, &subjects)?;
    if with_identity {
        let identities: Vec<IdentityRow> =
            recordings.iter().map(|recording| identity_row(recording, &mut values)).collect();
        rows::write(group, IDENTITIES, &identities)?;
    }
    write_rows(group, recordings, &waveforms, &mut values)?;
    values.write(group)
}

fn write_samples(group: &Group, waveforms: &[&Waveform], values: &mut Values) -> hdf5::Result<()> {
    let Some(first) = waveforms.first() else { return Ok(()) };
    let shape = [waveforms.len(), first.signals().len(), first.length()];
    let kind = sample_type(waveforms.iter().flat_map(|waveform| waveform.signals()));
    let dataset = samples(group, SAMPLES, &kind, &shape)?;
    Axes::of(first).write(&dataset, |text| values.attribute(text))?;
    if first.length() > 0 {
        for (recording, waveform) in waveforms.iter().enumerate() {
            for (lead, signal) in waveform.signals().iter().enumerate() {
                dataset.write_slice(ArrayView1::from(&signal.samples[..]), (recording, lead, ..))?;
            }
        }
    }
    Ok(())
}

/// Writes an array `[recording, lead]`.
fn write_array<T: hdf5::H5Type>(
    group: &Group,
    name: &str,
    shape: (usize, usize),
    items: &[T],
) -> hdf5::Result<()> {
    let view = ArrayView2::from_shape(shape, items).map_err(|error| hdf5::Error::from(error.to_string()))?;
    group.new_dataset_builder().obj_track_times(false).with_data(view).create(name).map(drop)
}

/// Writes numbers, and their texts where one of the numbers alone does not say it.
fn write_exacts(group: &Group, name: &str, shape: (usize, usize), exacts: &[Exact]) -> hdf5::Result<()> {
    let (numbers, texts): (Vec<f64>, Vec<Option<String>>) =
        exacts.iter().map(|exact| number::write(*exact)).unzip();
    write_array(group, name, shape, &numbers)?;
    if texts.iter().all(Option::is_none) {
        return Ok(());
    }
    let texts: Vec<String> = texts.into_iter().map(Option::unwrap_or_default).collect();
    let width = texts.iter().map(String::len).max().unwrap_or(0).max(1);
    by_width!(width, N => {
        let stored = texts.iter().map(|text| fixed::<N>(text)).collect::<hdf5::Result<Vec<_>>>()?;
        let view = ArrayView2::from_shape(shape, &stored).map_err(|error| hdf5::Error::from(error.to_string()))?;
        let kind = TypeDescriptor::FixedUnicode(width);
        let builder = group.new_dataset_builder().obj_track_times(false).with_data_as(view, kind);
        builder.create(exact_name(name).as_str()).map(drop)
    })
}

fn subject_row(recording: &Recording, values: &mut Values) -> SubjectRow {
    let (subject, acquisition) = (&recording.subject, &recording.acquisition);
    let hertz = |exact: Option<Exact>| {
        let number = exact.map(|exact| number::write(exact).0);
        number.filter(|number| number::shortest(*number).is_some()).unwrap_or(f64::NAN)
    };
    let value = |quantity: &Option<Quantity>| hertz(quantity.as_ref().map(|quantity| quantity.value));
    let mut unit =
        |quantity: &Option<Quantity>| values.cell(quantity.as_ref().map(|quantity| quantity.unit.as_str()));
    SubjectRow {
        age: value(&subject.age),
        height: value(&subject.height),
        weight: value(&subject.weight),
        systolic: value(&subject.systolic),
        diastolic: value(&subject.diastolic),
        high_pass_hz: hertz(acquisition.filters.high_pass_hz),
        low_pass_hz: hertz(acquisition.filters.low_pass_hz),
        mains_hz: hertz(acquisition.mains_hz),
        sex: subject.sex.as_ref().map(|sex| words::write(sex).0).unwrap_or_default(),
        age_unit: unit(&subject.age),
        height_unit: unit(&subject.height),
        weight_unit: unit(&subject.weight),
        systolic_unit: unit(&subject.systolic),
        diastolic_unit: unit(&subject.diastolic),
    }
}

fn identity_row(recording: &Recording, values: &mut Values) -> IdentityRow {
    let mut cell = |text: Option<&str>| values.cell(text);
    let PersonName { text, family, second_family, given, middle, prefix, suffix } = &recording.subject.name;
    let id = recording.subject.identifiers.first();
    let start = recording.acquisition.start;
    IdentityRow {
        id: cell(id.map(|id| id.value.as_str())),
        id_assigner: cell(id.and_then(|id| id.assigner.as_deref())),
        id_kind: cell(id.and_then(|id| id.kind.as_deref())),
        name: cell(text.as_deref()),
        family: cell(family.as_deref()),
        second_family: cell(second_family.as_deref()),
        given: cell(given.as_deref()),
        middle: cell(middle.as_deref()),
        prefix: cell(prefix.as_deref()),
        suffix: cell(suffix.as_deref()),
        birth_date: cell(recording.subject.birth_date.map(|date| date.to_string()).as_deref()),
        start: cell((!start.is_empty()).then(|| start.to_string()).as_deref()),
    }
}

fn write_rows(
    group: &Group,
    recordings: &[Recording],
    waveforms: &[&Waveform],
    values: &mut Values,
) -> hdf5::Result<()> {
    let (mut measurements, mut statements, mut codes) = (Vec::new(), Vec::new(), Vec::new());
    let (mut marks, mut missing) = (Vec::new(), Vec::new());
    for (recording, (whole, waveform)) in (0..).zip(recordings.iter().zip(waveforms)) {
        let own = whole.measurements.iter();
        measurements.extend(own.map(|measurement| stacked_measurement(recording, measurement, values)));
        for statement in &whole.statements {
            let row = count(statements.len());
            let status = statement.status.as_ref().map(|status| words::write(status).0).unwrap_or_default();
            statements.push(StackedStatementRow { recording, status });
            codes.extend(statement.codes.iter().map(|Code { system, value, meaning: _ }| {
                let (system, value) = (values.cell(Some(system)), values.cell(Some(value)));
                StackedCodeRow { recording, row, system, value }
            }));
        }
        marks.extend(waveform.marks.iter().map(|mark| stacked_mark(recording, mark, values)));
        for (lead, signal) in (0..).zip(waveform.signals()) {
            missing.extend(signal.missing.iter().map(|span| StackedMissingRow {
                recording,
                lead,
                start: count(span.start),
                end: count(span.end),
            }));
        }
    }
    rows::write(group, MEASUREMENTS, &measurements)?;
    rows::write(group, STATEMENTS, &statements)?;
    rows::write(group, STATEMENT_CODES, &codes)?;
    rows::write(group, MARKS, &marks)?;
    rows::write(group, MISSING, &missing)
}

fn stacked_measurement(
    recording: i64,
    measurement: &Measurement,
    values: &mut Values,
) -> StackedMeasurementRow {
    let row = measurement_row(measurement, values);
    let MeasurementRow { value, kind, name, exact, unit, scope, of, formula } = row;
    StackedMeasurementRow { recording, value, kind, name, exact, unit, scope, of, formula }
}

fn stacked_mark(recording: i64, mark: &Mark, values: &mut Values) -> StackedMarkRow {
    let Mark { sample, lead, kind, label, text: _, codes: _ } = mark;
    let (kind, name) = words::write(kind);
    let mut cell = |text: Option<&str>| values.cell(text);
    let is_short = |label: &&str| label.chars().count() <= LABEL_SIGNS;
    StackedMarkRow {
        recording,
        sample: *sample,
        lead: cell(lead.as_ref().map(words::write_lead).as_deref()),
        kind,
        name: cell((!name.is_empty()).then_some(name.as_str())),
        label: cell(label.as_deref().filter(is_short)),
    }
}
