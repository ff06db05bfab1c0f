//! Equal recordings in one dataset `[recording, lead, sample]`, and tables beside it: for loading into an array and
//! computing, not for keeping. What identifies a person is there only where it was asked for.

use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::{
    CivilTime, Code, Exact, Identifier, Mark, Measurement, Origin, PersonName, Quantity, Recording, Sex,
    Signal, Statement, Step, Subject, Waveform,
};
use hdf5::plist::dataset_create::Layout;
use hdf5::types::{FloatSize, IntSize, TypeDescriptor};
use hdf5::{Dataset, Group};
use ndarray::{ArrayView1, ArrayView2};

use crate::attributes::{is_type, put_text};
use crate::constants::ABOUT;
use crate::node::{Node, Reading, Stored};
use crate::number;
use crate::recording::{measurement, measurement_row};
use crate::rows::{self, by_width, fixed};
use crate::scratch::{COMPACT_ATTRIBUTES, group_in};
use crate::signals::{self, AXES, Axes, check_sample_type, chunk, sample_type, take_samples};
use crate::tables::{
    IdentityRow, MeasurementRow, StackedCodeRow, StackedMarkRow, StackedMeasurementRow, StackedMissingRow,
    StackedStatementRow, SubjectRow,
};
use crate::values::{Kept, VALUES, Values};
use crate::waveform::{VALUE, count, span};
use crate::words;

/// The group of a stack.
pub(crate) const STACK: &str = "stack";
/// What the root says of the layout to somebody who has nothing but the file.
pub(crate) const LAYOUT: &str = "stack/samples [recording, lead, sample], stack/steps and stack/zeros [recording, lead], and rows: \
     stack/recordings has one for each recording, the others name it. See schemas/hdf5-layout.md of ecgkeep.";

const SAMPLES: &str = "samples";
const STEPS: &str = "steps";
const ZEROS: &str = "zeros";
const DERIVED: &str = "derived";
const RECORDINGS: &str = "recordings";
const IDENTITIES: &str = "identities";
const MEASUREMENTS: &str = "measurements";
const STATEMENTS: &str = "statements";
const STATEMENT_CODES: &str = "statement_codes";
const MARKS: &str = "marks";
const MISSING: &str = "missing";

/// Signs of the longest label that is kept: codes of beats are shorter, names of persons are not.
const LABEL_SIGNS: usize = 3;

/// Whether recordings are equal enough to be stacked.
/// # Errors
/// [`Kind::Refused`] with the first one that is not, and what differs.
pub(crate) fn check(recordings: &[Recording]) -> Result<()> {
    let refused = |what: String| {
        Error::new(Kind::Refused, what).remedy(
            "leave out the option stack, or stack only recordings with the same leads, rate and length",
        )
    };
    let first = |number: usize, recording: &Recording| match recording.waveforms.first() {
        Some(waveform) => Ok((Axes::of(waveform), waveform.length())),
        None => Err(refused(format!("recording {number} has no waveform to stack"))),
    };
    let Some(one) = recordings.first() else { return Err(refused("no recording to stack".to_owned())) };
    let (axes, length) = first(1, one)?;
    for (number, recording) in (1..).zip(recordings) {
        let (other, other_length) = first(number, recording)?;
        let differs = |what: &str, a: String, b: String| {
            (a != b).then(|| format!("recording {number} differs from the first in {what}: {b}, not {a}"))
        };
        let names = |axes: &Axes| axes.leads.iter().map(words::write_lead).collect::<Vec<_>>().join(", ");
        let units = |axes: &Axes| format!("{:?}", axes.units);
        let difference = differs("the number of samples", length.to_string(), other_length.to_string())
            .or_else(|| differs("the sampling rate", axes.rate.to_string(), other.rate.to_string()))
            .or_else(|| differs("the leads", names(&axes), names(&other)))
            .or_else(|| differs("the units", units(&axes), units(&other)))
            .or_else(|| differs("the start of the waveform", axes.start.to_string(), other.start.to_string()))
            .or_else(|| differs("the kind of the waveform", axes.kind.to_string(), other.kind.to_string()));
        if let Some(difference) = difference {
            return Err(refused(difference));
        }
    }
    Ok(())
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
    let builder = group
        .new_dataset_builder()
        .obj_track_times(false)
        .attr_phase_change(COMPACT_ATTRIBUTES, 0)
        .empty_as(&kind)
        .shape(shape);
    let dataset = match first.length() {
        0 => builder.layout(Layout::Contiguous).create(SAMPLES)?,
        _ => builder
            .chunk(chunk(&shape, kind.size()))
            .shuffle()
            .deflate(rows::DEFLATE_LEVEL)
            .fletcher32()
            .create(SAMPLES)?,
    };
    Axes::of(first).write(&dataset, |text| values.attribute(text))?;
    put_text(&dataset, "value", VALUE)?;
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

fn exact_name(name: &str) -> String {
    format!("{name}_exact")
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

/// Reads every recording of a stack.
pub(crate) fn read(reading: &mut Reading, node: &Node) -> Result<Vec<Recording>> {
    let stored = node
        .dataset(reading, SAMPLES, 3)?
        .ok_or_else(|| Error::malformed(node.place.clone(), format!("has no {SAMPLES}")))?;
    let kept = Kept::of(reading, node)?;
    let mut stacked =
        Stacked { kept, recordings: Vec::new(), waveforms: read_signals(reading, node, &stored)? };
    let axes = read_axes(reading, &stored, &stacked.kept)?;
    let place = stored.place.clone();
    stacked.recordings.resize_with(stored.shape[0], Recording::default);
    for (number, recording) in stacked.recordings.iter_mut().enumerate() {
        let record = Some(number.to_string());
        recording.origin = Origin { format: ABOUT.id.to_owned(), version: None, record };
    }
    let mut marks = stacked.read_rows(reading, node, axes.leads.len())?;
    for (number, (recording, signals)) in stacked.recordings.iter_mut().zip(stacked.waveforms).enumerate() {
        let named = signals.into_iter().zip(axes.leads.iter().zip(&axes.units));
        let signals =
            named.map(|(signal, (lead, unit))| Signal { lead: lead.clone(), unit: unit.clone(), ..signal });
        let mut waveform = Waveform::new(axes.rate, signals.collect()).map_err(|error| {
            Error::malformed(place.clone(), format!("the signals of recording {number} make no waveform"))
                .because(error)
        })?;
        waveform.kind = axes.kind.clone();
        waveform.start = axes.start;
        waveform.marks = std::mem::take(&mut marks[number]);
        recording.waveforms.push(waveform);
    }
    let known = [
        SAMPLES,
        STEPS,
        ZEROS,
        DERIVED,
        RECORDINGS,
        IDENTITIES,
        MEASUREMENTS,
        STATEMENTS,
        STATEMENT_CODES,
        MARKS,
        MISSING,
        VALUES,
    ];
    let is_known =
        |name: &str| known.iter().any(|known| name.strip_suffix("_exact").unwrap_or(name) == *known);
    for name in node.names().filter(|name| !is_known(name)) {
        reading.not_taken(node.place.clone(), format!("{name} is no item of a stack"));
    }
    Ok(stacked.recordings)
}

fn read_axes(reading: &mut Reading, stored: &Stored, kept: &Kept) -> Result<Axes> {
    let attributes = stored.attributes()?;
    let place = &stored.place;
    let axes = Axes::read(reading, &attributes, place, stored.shape[1], |reading, text| {
        kept.attribute(reading, place, text)
    })?;
    let is_known = |name: &&String| AXES.contains(&name.as_str()) || *name == "value";
    for name in attributes.names.iter().filter(|name| !is_known(name)) {
        reading.not_taken(place.clone(), format!("{name} is no attribute of samples"));
    }
    Ok(axes)
}

/// The signals of each recording, without their names.
fn read_signals(reading: &mut Reading, node: &Node, stored: &Stored) -> Result<Vec<Vec<Signal>>> {
    let (recordings, leads, length) = (stored.shape[0], stored.shape[1], stored.shape[2]);
    check_sample_type(&stored.kind, &stored.place)?;
    if leads > reading.limits.signals {
        let text = format!("{leads} signals, the limit is {}", reading.limits.signals);
        return Err(Error::new(Kind::Limit, text).at(stored.place.clone()));
    }
    let all = (recordings as u64).saturating_mul(leads as u64);
    reading.take_samples(all.saturating_mul((length as u64).max(1)), &stored.place)?;
    let shape = [recordings, leads];
    let steps = read_exacts(reading, node, STEPS, shape)?
        .ok_or_else(|| Error::malformed(node.place.clone(), format!("has no {STEPS}")))?;
    let zeros = read_exacts(reading, node, ZEROS, shape)?.unwrap_or(vec![Exact::ZERO; recordings * leads]);
    let derived = match array(reading, node, DERIVED, shape)? {
        None => vec![0; recordings * leads],
        Some(derived) if is_type(&derived.kind, &TypeDescriptor::Unsigned(IntSize::U1)) => {
            derived.dataset.read_raw::<u8>().map_err(|error| derived.unreadable(&error))?
        }
        Some(derived) => {
            return Err(Error::malformed(derived.place, "is not of bytes (8-bit unsigned whole numbers)"));
        }
    };
    let mut read = Vec::with_capacity(recordings);
    for recording in 0..recordings {
        let signal = |lead: usize| {
            let at = recording * leads + lead;
            let step = Step::new(steps[at]).ok_or_else(|| {
                Error::malformed(node.place.clone(), format!("{STEPS} of recording {recording} holds a zero"))
            })?;
            let samples = if length == 0 { Vec::new() } else { take_samples(stored, (recording, lead, ..))? };
            let signal = Signal::new(ecgkeep_recording::Lead::Unspecified, step, samples);
            Ok(Signal { offset: zeros[at], derived: derived[at] != 0, ..signal })
        };
        read.push((0..leads).map(signal).collect::<Result<Vec<Signal>>>()?);
    }
    Ok(read)
}

/// An array of this shape, checked.
fn array(reading: &Reading, node: &Node, name: &str, shape: [usize; 2]) -> Result<Option<Stored>> {
    match node.dataset(reading, name, 2)? {
        Some(stored) if stored.shape != shape => {
            let text = format!("is {:?} items, the samples are of {shape:?} [recording, lead]", stored.shape);
            Err(Error::malformed(stored.place, text))
        }
        found => Ok(found),
    }
}

fn read_exacts(
    reading: &mut Reading,
    node: &Node,
    name: &str,
    shape: [usize; 2],
) -> Result<Option<Vec<Exact>>> {
    let Some(stored) = array(reading, node, name, shape)? else { return Ok(None) };
    if !is_type(&stored.kind, &TypeDescriptor::Float(FloatSize::U8)) {
        return Err(Error::malformed(stored.place, "is not of 64-bit floating-point numbers"));
    }
    let numbers: Vec<f64> = stored.dataset.read_raw().map_err(|error| stored.unreadable(&error))?;
    let texts = match array(reading, node, &exact_name(name), shape)? {
        None => vec![String::new(); numbers.len()],
        Some(beside) => read_texts(&beside)?,
    };
    let pairs = numbers.iter().zip(&texts);
    pairs
        .map(|(number, text)| signals::exact(reading, &stored.place, name, *number, text))
        .collect::<Result<_>>()
        .map(Some)
}

fn read_texts(stored: &Stored) -> Result<Vec<String>> {
    let width = stored.kind.size();
    if !(1..=rows::MOST_WIDTH).contains(&width)
        || !is_type(&stored.kind, &TypeDescriptor::FixedUnicode(width))
    {
        return Err(Error::malformed(stored.place.clone(), "is not of texts of a fixed length")
            .remedy(crate::attributes::FIXED_LENGTH));
    }
    let texts: Option<Vec<String>> = by_width!(width, N => {
        let texts = read_raw::<hdf5::types::FixedUnicode<N>>(&stored.dataset, stored)?;
        texts.iter().map(|text| String::from_utf8(text.as_bytes().to_vec()).ok()).collect()
    });
    texts.ok_or_else(|| Error::malformed(stored.place.clone(), "is not UTF-8"))
}

fn read_raw<T: hdf5::H5Type>(dataset: &Dataset, stored: &Stored) -> Result<Vec<T>> {
    dataset.read_raw().map_err(|error| stored.unreadable(&error))
}

/// A stack while it is read.
struct Stacked {
    kept: Kept,
    recordings: Vec<Recording>,
    waveforms: Vec<Vec<Signal>>,
}

impl Stacked {
    /// Reads the rows into the recordings and signals; gives the marks of each recording.
    fn read_rows(&mut self, reading: &mut Reading, node: &Node, leads: usize) -> Result<Vec<Vec<Mark>>> {
        let most = reading.limits.marks;
        let recordings = self.recordings.len();
        let one_each = |stored: &Stored| match stored.shape[0] == recordings {
            true => Ok(()),
            false => {
                let text = format!("{} rows for {recordings} recordings", stored.shape[0]);
                Err(Error::malformed(stored.place.clone(), text))
            }
        };
        if let Some(stored) = node.dataset(reading, RECORDINGS, 1)? {
            one_each(&stored)?;
            rows::read(&stored, most, |number, row: SubjectRow| {
                take_subject(reading, &stored.place, &self.kept, row, &mut self.recordings[number])
            })?;
        }
        if let Some(stored) = node.dataset(reading, IDENTITIES, 1)? {
            one_each(&stored)?;
            rows::read(&stored, most, |number, row: IdentityRow| {
                take_identity(reading, &stored.place, &self.kept, &row, &mut self.recordings[number])
            })?;
        }
        if let Some(stored) = node.dataset(reading, MEASUREMENTS, 1)? {
            rows::read(&stored, most, |number, row: StackedMeasurementRow| {
                let StackedMeasurementRow { recording, value, kind, name, exact, unit, scope, of, formula } =
                    row;
                let row = MeasurementRow { value, kind, name, exact, unit, scope, of, formula };
                let measurement = measurement(reading, &stored.place, &self.kept, number, &row)?;
                self.of(&stored.place, number, recording)?.measurements.push(measurement);
                Ok(())
            })?;
        }
        self.read_statements(reading, node)?;
        if let Some(stored) = node.dataset(reading, MISSING, 1)? {
            rows::read(&stored, most, |number, row: StackedMissingRow| {
                let signals = usize::try_from(row.recording).ok().and_then(|at| self.waveforms.get_mut(at));
                let lead = usize::try_from(row.lead).ok().filter(|lead| *lead < leads);
                match (signals, lead, span(row.start, row.end)) {
                    (Some(signals), Some(lead), Some(span)) => signals[lead].missing.push(span),
                    _ => {
                        let text = format!("row {number} names no samples of a lead: {row:?}");
                        return Err(Error::malformed(stored.place.clone(), text));
                    }
                }
                Ok(())
            })?;
        }
        let mut marks = vec![Vec::new(); recordings];
        if let Some(stored) = node.dataset(reading, MARKS, 1)? {
            rows::read(&stored, most, |number, row: StackedMarkRow| {
                let at = usize::try_from(row.recording).ok().filter(|at| *at < recordings);
                let at = at.ok_or_else(|| no_recording(&stored.place, number, row.recording))?;
                marks[at].push(mark(reading, &stored.place, &self.kept, number, &row)?);
                Ok(())
            })?;
        }
        Ok(marks)
    }

    fn read_statements(&mut self, reading: &Reading, node: &Node) -> Result<()> {
        // where each statement went: its recording and its place there
        let mut places: Vec<(usize, usize)> = Vec::new();
        if let Some(stored) = node.dataset(reading, STATEMENTS, 1)? {
            rows::read(&stored, reading.limits.marks, |number, row: StackedStatementRow| {
                let status = (!row.status.is_empty()).then(|| {
                    words::read(&row.status, "").ok_or_else(|| {
                        let text = format!("row {number} has no known status: {:?}", row.status);
                        Error::malformed(stored.place.clone(), text)
                    })
                });
                let status = status.transpose()?;
                let recording = self.of(&stored.place, number, row.recording)?;
                recording.statements.push(Statement { status, ..Statement::default() });
                places.push((usize::try_from(row.recording).unwrap_or(0), recording.statements.len() - 1));
                Ok(())
            })?;
        }
        let Some(stored) = node.dataset(reading, STATEMENT_CODES, 1)? else { return Ok(()) };
        let (place, kept) = (&stored.place, &self.kept);
        rows::read(&stored, reading.limits.marks, |number, row: StackedCodeRow| {
            let of = usize::try_from(row.row).ok().and_then(|row| places.get(row));
            let (recording, statement) = of.ok_or_else(|| {
                let text = format!("row {number} belongs to statement {}, which is not there", row.row);
                Error::malformed(place.clone(), text)
            })?;
            self.recordings[*recording].statements[*statement].codes.push(Code {
                system: kept.text(reading, place, &row.system)?.unwrap_or_default(),
                value: kept.text(reading, place, &row.value)?.unwrap_or_default(),
                meaning: None,
            });
            Ok(())
        })
    }

    fn of(&mut self, place: &Place, row: usize, recording: i64) -> Result<&mut Recording> {
        let found = usize::try_from(recording).ok().and_then(|at| self.recordings.get_mut(at));
        found.ok_or_else(|| no_recording(place, row, recording))
    }
}

fn no_recording(place: &Place, row: usize, recording: i64) -> Error {
    Error::malformed(place.clone(), format!("row {row} belongs to recording {recording}, which is not there"))
}

fn mark(reading: &Reading, place: &Place, kept: &Kept, number: usize, row: &StackedMarkRow) -> Result<Mark> {
    let text = |cell: &str| kept.text(reading, place, cell);
    let name = text(&row.name)?.unwrap_or_default();
    let kind = words::read(&row.kind, &name).ok_or_else(|| {
        let what = format!("row {number} is of no known kind: {:?}, {name:?}", row.kind);
        Error::malformed(place.clone(), what)
    })?;
    let lead = text(&row.lead)?.map(|lead| words::read_lead(&lead));
    Ok(Mark { lead, label: text(&row.label)?, ..Mark::new(row.sample, kind) })
}

fn take_subject(
    reading: &Reading,
    place: &Place,
    kept: &Kept,
    row: SubjectRow,
    recording: &mut Recording,
) -> Result<()> {
    let number = |value: f64| match value.is_nan() {
        true => Ok(None),
        false => number::shortest(value)
            .map(Some)
            .ok_or_else(|| Error::malformed(place.clone(), format!("{value} is no number that can be held"))),
    };
    let quantity = |value: f64, unit: &str| -> Result<Option<Quantity>> {
        let Some(value) = number(value)? else { return Ok(None) };
        Ok(Some(Quantity { value, unit: kept.text(reading, place, unit)?.unwrap_or_default() }))
    };
    let SubjectRow {
        age, height, weight, systolic, diastolic, high_pass_hz, low_pass_hz, mains_hz, sex, ..
    } = &row;
    let sex = match sex.as_str() {
        "" => None,
        "other" => Some(Sex::Other(String::new())),
        word => Some(
            words::read(word, "")
                .ok_or_else(|| Error::malformed(place.clone(), format!("{word:?} is no known sex")))?,
        ),
    };
    recording.subject = Subject {
        sex,
        age: quantity(*age, &row.age_unit)?,
        height: quantity(*height, &row.height_unit)?,
        weight: quantity(*weight, &row.weight_unit)?,
        systolic: quantity(*systolic, &row.systolic_unit)?,
        diastolic: quantity(*diastolic, &row.diastolic_unit)?,
        ..Subject::default()
    };
    recording.acquisition.filters.high_pass_hz = number(*high_pass_hz)?;
    recording.acquisition.filters.low_pass_hz = number(*low_pass_hz)?;
    recording.acquisition.mains_hz = number(*mains_hz)?;
    Ok(())
}

fn take_identity(
    reading: &Reading,
    place: &Place,
    kept: &Kept,
    row: &IdentityRow,
    recording: &mut Recording,
) -> Result<()> {
    let text = |cell: &str| kept.text(reading, place, cell);
    let wrong =
        |text: &str| Error::malformed(place.clone(), format!("{text:?} is no date or time of the calendar"));
    if let Some(value) = text(&row.id)? {
        let identifier = Identifier { value, assigner: text(&row.id_assigner)?, kind: text(&row.id_kind)? };
        recording.subject.identifiers.push(identifier);
    }
    recording.subject.name = PersonName {
        text: text(&row.name)?,
        family: text(&row.family)?,
        second_family: text(&row.second_family)?,
        given: text(&row.given)?,
        middle: text(&row.middle)?,
        prefix: text(&row.prefix)?,
        suffix: text(&row.suffix)?,
    };
    if let Some(date) = text(&row.birth_date)? {
        recording.subject.birth_date = Some(date.parse().map_err(|_| wrong(&date))?);
    }
    recording.acquisition.start = match text(&row.start)? {
        Some(start) => start.parse().map_err(|_| wrong(&start))?,
        None => CivilTime::default(),
    };
    Ok(())
}
