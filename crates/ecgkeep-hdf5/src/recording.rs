//! One recording: a group with attributes for what is single, waveforms in groups of their own, and rows.

use std::collections::BTreeMap;

use ecgkeep_format::{Error, Result};
use ecgkeep_recording::{
    Extra, ExtraValue, Identifier, Measurement, Origin, Person, PersonName, Recording, Statement,
};
use hdf5::Group;

use crate::attributes::{Held, put_nothing, put_text};
use crate::constants::ABOUT;
use crate::flat::{self, Leaf};
use crate::node::{Node, Reading};
use crate::number;
use crate::rows;
use crate::scratch::group_in;
use crate::signals;
use crate::tables::{AuthorRow, ExtraRow, MeasurementRow, StatementRow};
use crate::values::{Kept, VALUES, Values};
use crate::waveform;
use crate::words;

const WAVEFORMS: &str = "waveforms";
const MEASUREMENTS: &str = "measurements";
const STATEMENTS: &str = "statements";
const STATEMENT_CODES: &str = "statement_codes";
const STATEMENT_AUTHORS: &str = "statement_authors";
const EXTRAS: &str = "extras";
const ITEMS: &[&str] =
    &[WAVEFORMS, MEASUREMENTS, STATEMENTS, STATEMENT_CODES, STATEMENT_AUTHORS, EXTRAS, VALUES];
/// The parts of the model that are attributes, with a dot behind.
const PARTS: &[&str] = &["subject.", "acquisition.", "origin."];

pub(crate) fn write(group: &Group, recording: &Recording) -> hdf5::Result<()> {
    let Recording { subject, acquisition, waveforms, measurements, statements, extras, origin } = recording;
    let mut values = Values::default();
    let parts = [
        flat::write("subject", subject),
        flat::write("acquisition", acquisition),
        flat::write("origin", origin),
    ];
    for (name, leaf) in parts.into_iter().flatten() {
        match leaf {
            Leaf::Text(text) => put_text(group, &name, &values.attribute(&text))?,
            Leaf::Empty => put_nothing(group, &name)?,
        }
    }
    if !waveforms.is_empty() {
        let all = group_in(group, WAVEFORMS)?;
        for (number, waveform) in waveforms.iter().enumerate() {
            waveform::write(&group_in(&all, &number.to_string())?, waveform, &mut values)?;
        }
    }
    let measurements: Vec<MeasurementRow> =
        measurements.iter().map(|measurement| measurement_row(measurement, &mut values)).collect();
    rows::write(group, MEASUREMENTS, &measurements)?;
    write_statements(group, statements, &mut values)?;
    let extras: Vec<ExtraRow> = extras.iter().map(|extra| extra_row(extra, &mut values)).collect();
    rows::write(group, EXTRAS, &extras)?;
    values.write(group)
}

/// A measurement as a row.
pub(crate) fn measurement_row(measurement: &Measurement, values: &mut Values) -> MeasurementRow {
    let Measurement { kind, value, unit, scope, formula } = measurement;
    let (kind, name) = words::write(kind);
    let (value, exact) = number::write(*value);
    let (scope, of) = words::write(scope);
    MeasurementRow {
        value,
        kind,
        name: values.cell((!name.is_empty()).then_some(&name)),
        exact: exact.unwrap_or_default(),
        unit: values.cell((!unit.is_empty()).then_some(unit)),
        scope,
        of: values.cell((!of.is_empty()).then_some(&of)),
        formula: values.cell(formula.as_deref()),
    }
}

fn write_statements(group: &Group, statements: &[Statement], values: &mut Values) -> hdf5::Result<()> {
    let (mut codes, mut authors) = (Vec::new(), Vec::new());
    let statements: Vec<StatementRow> = statements
        .iter()
        .zip(0..)
        .map(|(statement, row)| {
            let Statement { text, codes: own, status, author, at } = statement;
            codes.extend(own.iter().map(|code| waveform::code_row(row, code, values)));
            authors.extend(author.iter().map(|author| author_row(row, author, values)));
            StatementRow {
                text: values.cell(Some(text)),
                status: status.as_ref().map(|status| words::write(status).0).unwrap_or_default(),
                at: values.cell(at.map(|at| at.to_string()).as_deref()),
            }
        })
        .collect();
    rows::write(group, STATEMENTS, &statements)?;
    rows::write(group, STATEMENT_CODES, &codes)?;
    rows::write(group, STATEMENT_AUTHORS, &authors)
}

fn author_row(row: i64, author: &Person, values: &mut Values) -> AuthorRow {
    let Person { name, id } = author;
    let PersonName { text, family, second_family, given, middle, prefix, suffix } = name;
    let (id, assigner, kind) = match id {
        Some(Identifier { value, assigner, kind }) => (Some(value), assigner.as_ref(), kind.as_ref()),
        None => (None, None, None),
    };
    let mut cell = |text: Option<&String>| values.cell(text.map(String::as_str));
    AuthorRow {
        row,
        name: cell(text.as_ref()),
        family: cell(family.as_ref()),
        second_family: cell(second_family.as_ref()),
        given: cell(given.as_ref()),
        middle: cell(middle.as_ref()),
        prefix: cell(prefix.as_ref()),
        suffix: cell(suffix.as_ref()),
        id: cell(id),
        id_assigner: cell(assigner),
        id_kind: cell(kind),
    }
}

fn extra_row(extra: &Extra, values: &mut Values) -> ExtraRow {
    let Extra { format, address, value } = extra;
    let (kind, value) = match value {
        ExtraValue::Text(text) => (TEXT, values.cell(Some(text))),
        ExtraValue::Bytes(bytes) => (BYTES, values.hold(bytes)),
    };
    let (format, address) = (values.cell(Some(format)), values.cell(Some(address)));
    ExtraRow { format, address, kind: kind.to_owned(), value }
}

const TEXT: &str = "text";
const BYTES: &str = "bytes";

pub(crate) fn read(reading: &mut Reading, node: &Node, number: usize) -> Result<Recording> {
    let kept = Kept::of(reading, node)?;
    let leaves = read_leaves(reading, node, &kept)?;
    let fits =
        |error: String| Error::malformed(node.place.clone(), format!("its attributes do not fit: {error}"));
    let mut recording = Recording {
        subject: flat::read("subject", &leaves).map_err(fits)?,
        acquisition: flat::read("acquisition", &leaves).map_err(fits)?,
        origin: flat::read("origin", &leaves).map_err(fits)?,
        statements: read_statements(reading, node, &kept)?,
        measurements: read_measurements(reading, node, &kept)?,
        extras: read_extras(reading, node, &kept)?,
        waveforms: Vec::new(),
    };
    if recording.origin == Origin::default() {
        let record = Some(number.to_string());
        recording.origin = Origin { format: ABOUT.id.to_owned(), version: None, record };
    }
    if let Some(all) = node.child(reading, WAVEFORMS)? {
        for number in 0..all.numbered()? {
            let Some(one) = all.child(reading, &number.to_string())? else { continue };
            recording.waveforms.push(waveform::read(reading, &one, &kept)?);
        }
    }
    for name in node.names().filter(|name| !ITEMS.contains(name)) {
        reading.not_taken(node.place.clone(), format!("{name} is no item of a recording"));
    }
    Ok(recording)
}

fn read_leaves(reading: &mut Reading, node: &Node, kept: &Kept) -> Result<BTreeMap<String, Leaf>> {
    let attributes = node.attributes()?;
    let mut leaves = BTreeMap::new();
    for name in &attributes.names {
        if !PARTS.iter().any(|part| name.starts_with(part)) {
            reading.not_taken(node.place.clone(), format!("{name} is no attribute of a recording"));
            continue;
        }
        let leaf = match attributes.texts(name)? {
            Some(Held::One(text)) => Leaf::Text(kept.attribute(reading, &node.place, &text)?),
            Some(Held::Nothing) => Leaf::Empty,
            _ => return Err(attributes.malformed(name, "is not one text")),
        };
        leaves.insert(name.clone(), leaf);
    }
    Ok(leaves)
}

fn read_measurements(reading: &mut Reading, node: &Node, kept: &Kept) -> Result<Vec<Measurement>> {
    let mut measurements = Vec::new();
    let Some(stored) = node.dataset(reading, MEASUREMENTS, 1)? else { return Ok(measurements) };
    rows::read(&stored, reading.limits.marks, |number, row: MeasurementRow| {
        measurements.push(measurement(reading, &stored.place, kept, number, &row)?);
        Ok(())
    })?;
    Ok(measurements)
}

/// The measurement that a row says.
pub(crate) fn measurement(
    reading: &mut Reading,
    place: &ecgkeep_format::Place,
    kept: &Kept,
    number: usize,
    row: &MeasurementRow,
) -> Result<Measurement> {
    let text = |cell: &str| kept.text(reading, place, cell);
    let (name, of) = (text(&row.name)?.unwrap_or_default(), text(&row.of)?.unwrap_or_default());
    let unknown = |what: &str, word: &str, name: &str| {
        Error::malformed(place.clone(), format!("row {number} has no known {what}: {word:?}, {name:?}"))
    };
    let kind = words::read(&row.kind, &name).ok_or_else(|| unknown("kind", &row.kind, &name))?;
    let scope = words::read(&row.scope, &of).ok_or_else(|| unknown("scope", &row.scope, &of))?;
    let (unit, formula) = (text(&row.unit)?.unwrap_or_default(), text(&row.formula)?);
    let value = signals::exact(reading, place, &format!("row {number}, value"), row.value, &row.exact)?;
    Ok(Measurement { kind, value, unit, scope, formula })
}

fn read_statements(reading: &Reading, node: &Node, kept: &Kept) -> Result<Vec<Statement>> {
    let mut statements: Vec<Statement> = Vec::new();
    let Some(stored) = node.dataset(reading, STATEMENTS, 1)? else { return Ok(statements) };
    let place = &stored.place;
    rows::read(&stored, reading.limits.marks, |number, row: StatementRow| {
        let wrong = |what: &str, found: &str| {
            Error::malformed(place.clone(), format!("row {number} has no known {what}: {found:?}"))
        };
        let at = kept.text(reading, place, &row.at)?;
        let status = (!row.status.is_empty())
            .then(|| words::read(&row.status, "").ok_or_else(|| wrong("status", &row.status)));
        statements.push(Statement {
            text: kept.text(reading, place, &row.text)?.unwrap_or_default(),
            codes: Vec::new(),
            status: status.transpose()?,
            author: None,
            at: at.map(|at| at.parse().map_err(|_| wrong("time", &at))).transpose()?,
        });
        Ok(())
    })?;
    for (row, code) in waveform::read_codes(reading, node, STATEMENT_CODES, kept, statements.len())? {
        statements[row].codes.push(code);
    }
    let Some(stored) = node.dataset(reading, STATEMENT_AUTHORS, 1)? else { return Ok(statements) };
    let place = &stored.place;
    rows::read(&stored, reading.limits.marks, |number, row: AuthorRow| {
        let statement = usize::try_from(row.row).ok().and_then(|row| statements.get_mut(row));
        let statement = statement.ok_or_else(|| {
            let text = format!("row {number} belongs to statement {}, which is not there", row.row);
            Error::malformed(place.clone(), text)
        })?;
        statement.author = Some(author(&row, |cell| kept.text(reading, place, cell))?);
        Ok(())
    })?;
    Ok(statements)
}

fn author(row: &AuthorRow, text: impl Fn(&str) -> Result<Option<String>>) -> Result<Person> {
    let name = PersonName {
        text: text(&row.name)?,
        family: text(&row.family)?,
        second_family: text(&row.second_family)?,
        given: text(&row.given)?,
        middle: text(&row.middle)?,
        prefix: text(&row.prefix)?,
        suffix: text(&row.suffix)?,
    };
    let id = match text(&row.id)? {
        Some(value) => {
            Some(Identifier { value, assigner: text(&row.id_assigner)?, kind: text(&row.id_kind)? })
        }
        None => None,
    };
    Ok(Person { name, id })
}

fn read_extras(reading: &Reading, node: &Node, kept: &Kept) -> Result<Vec<Extra>> {
    let mut extras = Vec::new();
    let Some(stored) = node.dataset(reading, EXTRAS, 1)? else { return Ok(extras) };
    let place = &stored.place;
    rows::read(&stored, reading.limits.marks, |number, row: ExtraRow| {
        let text = |cell: &str| Ok(kept.text(reading, place, cell)?.unwrap_or_default());
        let value = match row.kind.as_str() {
            TEXT => ExtraValue::Text(text(&row.value)?),
            BYTES => ExtraValue::Bytes(kept.bytes_of(reading, place, &row.value)?),
            other => {
                return Err(Error::malformed(
                    place.clone(),
                    format!("row {number} is neither text nor bytes: {other:?}"),
                ));
            }
        };
        extras.push(Extra { format: text(&row.format)?, address: text(&row.address)?, value });
        Ok(())
    })?;
    Ok(extras)
}
