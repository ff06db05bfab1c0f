//! Equal recordings in one dataset `[recording, lead, sample]`, and tables beside it: for loading into an array and
//! computing, not for keeping. What identifies a person is there only where it was asked for.

use ecgkeep_format::{Error, Place, Result};
use ecgkeep_recording::{
    CivilTime, Code, Exact, Identifier, Mark, Origin, PersonName, Quantity, Recording, Sex, Signal,
    Statement, Step, Subject, Waveform,
};

use crate::attributes::Attributes;
use crate::constants::ABOUT;
use crate::file::{Dataset, floating};
use crate::node::{Node, Reading};
use crate::number;
use crate::recording::measurement;
use crate::rows::{Row, Table};
use crate::signals::{AXES, Axes, samples};
use crate::tables::{
    IdentityRow, MeasurementRow, StackedCodeRow, StackedMarkRow, StackedMeasurementRow, StackedMissingRow,
    StackedStatementRow, SubjectRow,
};
use crate::values::{Kept, VALUES};
use crate::waveform::{check_leads, no_samples, span};
use crate::words;

/// The group of a stack.
pub(crate) const STACK: &str = "stack";

pub(crate) const SAMPLES: &str = "samples";
pub(crate) const STEPS: &str = "steps";
pub(crate) const ZEROS: &str = "zeros";
pub(crate) const DERIVED: &str = "derived";
pub(crate) const RECORDINGS: &str = "recordings";
pub(crate) const IDENTITIES: &str = "identities";
pub(crate) const MEASUREMENTS: &str = "measurements";
pub(crate) const STATEMENTS: &str = "statements";
pub(crate) const STATEMENT_CODES: &str = "statement_codes";
pub(crate) const MARKS: &str = "marks";
pub(crate) const MISSING: &str = "missing";
/// The items of a stack, but for the texts beside numbers.
const ITEMS: &[&str] = &[
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

/// The name of the texts beside numbers.
pub(crate) fn exact_name(name: &str) -> String {
    format!("{name}_exact")
}

/// Reads every recording of a stack.
pub(crate) fn read(reading: &mut Reading, node: &Node) -> Result<Vec<Recording>> {
    let kept = Kept::of(node)?;
    let (axes, waveforms) = read_signals(reading, node, &kept)?;
    let mut stacked = Stacked { kept, recordings: Vec::new(), waveforms };
    stacked.recordings.resize_with(stacked.waveforms.len(), Recording::default);
    for (number, recording) in stacked.recordings.iter_mut().enumerate() {
        let record = Some(number.to_string());
        recording.origin = Origin { format: ABOUT.id.to_owned(), version: None, record };
    }
    let mut marks = stacked.read_rows(reading, node, axes.leads.len())?;
    for (number, (recording, signals)) in stacked.recordings.iter_mut().zip(stacked.waveforms).enumerate() {
        let mut waveform = Waveform::new(axes.rate, signals).map_err(|error| {
            let what = format!("the signals of recording {number} make no waveform");
            Error::malformed(node.place.clone(), what).because(error)
        })?;
        waveform.kind = axes.kind.clone();
        waveform.start = axes.start;
        waveform.marks = std::mem::take(&mut marks[number]);
        recording.waveforms.push(waveform);
    }
    let is_known = |name: &str| ITEMS.contains(&name.strip_suffix("_exact").unwrap_or(name));
    for name in node.names().filter(|name| !is_known(name)) {
        reading.not_taken(node.place.clone(), format!("{name} is no item of a stack"));
    }
    Ok(stacked.recordings)
}

/// What the recordings share, and the signals of each.
fn read_signals<'a>(
    reading: &mut Reading,
    node: &Node<'a>,
    kept: &Kept<'a>,
) -> Result<(Axes, Vec<Vec<Signal>>)> {
    let object = node
        .item(SAMPLES)?
        .ok_or_else(|| Error::malformed(node.place.clone(), format!("has no {SAMPLES}")))?;
    let attributes = Attributes::of(&object)?;
    let stored = Dataset::of(object, 3)?;
    let place = &stored.place;
    let (recordings, leads, length) = (stored.shape[0], stored.shape[1], stored.shape[2]);
    check_leads(reading, leads, place)?;
    let all = (recordings as u64).saturating_mul(leads as u64);
    reading.take_samples(all.saturating_mul((length as u64).max(1)), place)?;
    let axes = Axes::read(reading, &attributes, leads, |reading, text| kept.attribute(reading, place, text))?;
    for name in attributes.names().filter(|name| !AXES.contains(name)) {
        reading.not_taken(place.clone(), format!("{name} is no attribute of samples"));
    }
    let shape = [recordings, leads];
    let steps = read_exacts(reading, node, STEPS, shape)?
        .ok_or_else(|| Error::malformed(node.place.clone(), format!("has no {STEPS}")))?;
    let zeros = read_exacts(reading, node, ZEROS, shape)?.unwrap_or(vec![Exact::ZERO; recordings * leads]);
    let derived = read_numbers(node, DERIVED, shape)?.unwrap_or(vec![0.0; recordings * leads]);
    let all = samples(&stored)?;
    let signal = |recording: usize, lead: usize| {
        let at = recording * leads + lead;
        let step = Step::new(steps[at]).ok_or_else(|| {
            Error::malformed(node.place.clone(), format!("{STEPS} of recording {recording} holds a zero"))
        })?;
        let signal =
            Signal::new(axes.leads[lead].clone(), step, all[at * length..(at + 1) * length].to_vec());
        let unit = axes.units[lead].clone();
        Ok(Signal { offset: zeros[at], derived: derived[at] != 0.0, unit, ..signal })
    };
    let signals = |recording| (0..leads).map(|lead| signal(recording, lead)).collect::<Result<Vec<Signal>>>();
    let signals = (0..recordings).map(signals).collect::<Result<_>>()?;
    Ok((axes, signals))
}

/// An array of this shape, checked.
fn array<'a>(node: &Node<'a>, name: &str, shape: [usize; 2]) -> Result<Option<Dataset<'a>>> {
    match node.dataset(name, 2)? {
        Some(stored) if stored.shape != shape => {
            let text = format!("is {:?} items, the samples are of {shape:?} [recording, lead]", stored.shape);
            Err(Error::malformed(stored.place, text))
        }
        found => Ok(found),
    }
}

fn read_numbers(node: &Node, name: &str, shape: [usize; 2]) -> Result<Option<Vec<f64>>> {
    let Some(stored) = array(node, name, shape)? else { return Ok(None) };
    let values = stored.values()?;
    let numbers: Option<Vec<f64>> =
        values.elements().map(|element| floating(&stored.kind, element)).collect();
    numbers.map(Some).ok_or_else(|| {
        Error::malformed(stored.place.clone(), format!("is of {}, not of numbers", stored.kind.name()))
    })
}

fn read_exacts(
    reading: &mut Reading,
    node: &Node,
    name: &str,
    shape: [usize; 2],
) -> Result<Option<Vec<Exact>>> {
    let Some(numbers) = read_numbers(node, name, shape)? else { return Ok(None) };
    let texts = match array(node, &exact_name(name), shape)? {
        None => vec![String::new(); numbers.len()],
        Some(beside) => {
            let values = beside.values()?;
            values.elements().map(|element| values.text(&beside.kind, element)).collect::<Result<_>>()?
        }
    };
    let pairs = numbers.iter().zip(&texts);
    let exact = |(number, text): (&f64, &String)| number::read(reading, &node.place, name, *number, text);
    pairs.map(exact).collect::<Result<_>>().map(Some)
}

/// A stack while it is read.
struct Stacked<'a> {
    kept: Kept<'a>,
    recordings: Vec<Recording>,
    waveforms: Vec<Vec<Signal>>,
}

impl<'a> Stacked<'a> {
    /// Reads the rows into the recordings and signals; gives the marks of each recording.
    fn read_rows(&mut self, reading: &mut Reading, node: &Node<'a>, leads: usize) -> Result<Vec<Vec<Mark>>> {
        let most = reading.limits.marks;
        if let Some(table) = Table::<SubjectRow>::open(reading, node, RECORDINGS)? {
            self.check_count(&table)?;
            table.each(most, |number, row| {
                take_subject(reading, table.place(), &self.kept, &row, &mut self.recordings[number])
            })?;
        }
        if let Some(table) = Table::<IdentityRow>::open(reading, node, IDENTITIES)? {
            self.check_count(&table)?;
            table.each(most, |number, row| {
                take_identity(reading, table.place(), &self.kept, &row, &mut self.recordings[number])
            })?;
        }
        if let Some(table) = Table::<StackedMeasurementRow>::open(reading, node, MEASUREMENTS)? {
            table.each(most, |number, row| {
                let StackedMeasurementRow { recording, value, kind, name, exact, unit, scope, of, formula } =
                    row;
                let row = MeasurementRow { value, kind, name, exact, unit, scope, of, formula };
                let measurement = measurement(reading, table.place(), &self.kept, number, &row)?;
                self.of(table.place(), number, recording)?.measurements.push(measurement);
                Ok(())
            })?;
        }
        self.read_statements(reading, node)?;
        if let Some(table) = Table::<StackedMissingRow>::open(reading, node, MISSING)? {
            table.each(most, |number, row| {
                let StackedMissingRow { recording, lead, start, end } = row;
                let signals = usize::try_from(recording).ok().and_then(|at| self.waveforms.get_mut(at));
                let at = usize::try_from(lead).ok().filter(|lead| *lead < leads);
                match (signals, at, span(start, end)) {
                    (Some(signals), Some(at), Some(span)) => signals[at].missing.push(span),
                    _ => return Err(no_samples(table.place(), number, lead, start, end)),
                }
                Ok(())
            })?;
        }
        let mut marks = vec![Vec::new(); self.recordings.len()];
        if let Some(table) = Table::<StackedMarkRow>::open(reading, node, MARKS)? {
            table.each(most, |number, row| {
                let of = usize::try_from(row.recording).ok().and_then(|at| marks.get_mut(at));
                let of = of.ok_or_else(|| no_recording(table.place(), number, row.recording))?;
                of.push(mark(reading, table.place(), &self.kept, number, &row)?);
                Ok(())
            })?;
        }
        Ok(marks)
    }

    /// Whether a table has one row for each recording.
    fn check_count<R: Row>(&self, table: &Table<R>) -> Result<()> {
        let (rows, recordings) = (table.count(), self.recordings.len());
        if rows == recordings {
            return Ok(());
        }
        Err(Error::malformed(table.place().clone(), format!("{rows} rows for {recordings} recordings")))
    }

    fn read_statements(&mut self, reading: &mut Reading, node: &Node<'a>) -> Result<()> {
        // where each statement went: its recording and its place there
        let mut places: Vec<(usize, usize)> = Vec::new();
        if let Some(table) = Table::<StackedStatementRow>::open(reading, node, STATEMENTS)? {
            table.each(reading.limits.marks, |number, row| {
                let status = (!row.status.is_empty()).then(|| {
                    words::read(&row.status, "").ok_or_else(|| {
                        let text = format!("row {number} has no known status: {:?}", row.status);
                        Error::malformed(table.place().clone(), text)
                    })
                });
                let status = status.transpose()?;
                let recording = self.of(table.place(), number, row.recording)?;
                recording.statements.push(Statement { status, ..Statement::default() });
                places.push((usize::try_from(row.recording).unwrap_or(0), recording.statements.len() - 1));
                Ok(())
            })?;
        }
        let Some(table) = Table::<StackedCodeRow>::open(reading, node, STATEMENT_CODES)? else {
            return Ok(());
        };
        let (place, kept) = (table.place(), &self.kept);
        table.each(reading.limits.marks, |number, row| {
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
    row: &SubjectRow,
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
