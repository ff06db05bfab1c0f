//! One recording: a group with attributes for what is single, waveforms in groups of their own, and rows.

use std::collections::BTreeMap;

use ecgkeep_format::{Error, Place, Result};
use ecgkeep_recording::{
    Extra, ExtraValue, Identifier, Measurement, Origin, Person, PersonName, Recording, Statement,
};

use crate::attributes::Held;
use crate::constants::ABOUT;
use crate::flat::{self, Leaf};
use crate::node::{Node, Reading};
use crate::number;
use crate::rows::Table;
use crate::tables::{AuthorRow, ExtraRow, MeasurementRow, StatementRow};
use crate::values::{Kept, VALUES};
use crate::waveform;
use crate::words;

pub(crate) const WAVEFORMS: &str = "waveforms";
pub(crate) const MEASUREMENTS: &str = "measurements";
pub(crate) const STATEMENTS: &str = "statements";
pub(crate) const STATEMENT_CODES: &str = "statement_codes";
pub(crate) const STATEMENT_AUTHORS: &str = "statement_authors";
pub(crate) const EXTRAS: &str = "extras";
const ITEMS: &[&str] =
    &[WAVEFORMS, MEASUREMENTS, STATEMENTS, STATEMENT_CODES, STATEMENT_AUTHORS, EXTRAS, VALUES];
/// The parts of the model that are attributes, with a dot behind.
const PARTS: &[&str] = &["subject.", "acquisition.", "origin."];
/// The kinds of an extra's value.
pub(crate) const TEXT: &str = "text";
pub(crate) const BYTES: &str = "bytes";

pub(crate) fn read(reading: &mut Reading, node: &Node, number: usize) -> Result<Recording> {
    let kept = Kept::of(node)?;
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
    if let Some(all) = node.child(WAVEFORMS)? {
        for number in 0..all.numbered()? {
            let Some(one) = all.child(&number.to_string())? else { continue };
            recording.waveforms.push(waveform::read(reading, &one, &kept)?);
        }
    }
    for name in node.names().filter(|name| !ITEMS.contains(name)) {
        reading.not_taken(node.place.clone(), format!("{name} is no item of a recording"));
    }
    Ok(recording)
}

fn read_leaves<'a>(
    reading: &mut Reading,
    node: &Node<'a>,
    kept: &Kept<'a>,
) -> Result<BTreeMap<String, Leaf>> {
    let attributes = node.attributes()?;
    let mut leaves = BTreeMap::new();
    for name in attributes.names() {
        if !PARTS.iter().any(|part| name.starts_with(part)) {
            reading.not_taken(node.place.clone(), format!("{name} is no attribute of a recording"));
            continue;
        }
        let leaf = match attributes.texts(name)? {
            Some(Held::One(text)) => Leaf::Text(kept.attribute(reading, &node.place, &text)?),
            Some(Held::Nothing) => Leaf::Empty,
            _ => return Err(attributes.malformed(name, "is not one text")),
        };
        leaves.insert(name.to_owned(), leaf);
    }
    Ok(leaves)
}

fn read_measurements<'a>(
    reading: &mut Reading,
    node: &Node<'a>,
    kept: &Kept<'a>,
) -> Result<Vec<Measurement>> {
    let mut measurements = Vec::new();
    let Some(table) = Table::<MeasurementRow>::open(reading, node, MEASUREMENTS)? else {
        return Ok(measurements);
    };
    table.each(reading.limits.marks, |number, row| {
        measurements.push(measurement(reading, table.place(), kept, number, &row)?);
        Ok(())
    })?;
    Ok(measurements)
}

/// The measurement that a row says.
pub(crate) fn measurement(
    reading: &mut Reading,
    place: &Place,
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
    let value = number::read(reading, place, &format!("row {number}, value"), row.value, &row.exact)?;
    Ok(Measurement { kind, value, unit, scope, formula })
}

fn read_statements<'a>(reading: &mut Reading, node: &Node<'a>, kept: &Kept<'a>) -> Result<Vec<Statement>> {
    let mut statements: Vec<Statement> = Vec::new();
    let Some(table) = Table::<StatementRow>::open(reading, node, STATEMENTS)? else { return Ok(statements) };
    let place = table.place();
    table.each(reading.limits.marks, |number, row| {
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
    let Some(table) = Table::<AuthorRow>::open(reading, node, STATEMENT_AUTHORS)? else {
        return Ok(statements);
    };
    let place = table.place();
    table.each(reading.limits.marks, |number, row| {
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

fn read_extras<'a>(reading: &mut Reading, node: &Node<'a>, kept: &Kept<'a>) -> Result<Vec<Extra>> {
    let mut extras = Vec::new();
    let Some(table) = Table::<ExtraRow>::open(reading, node, EXTRAS)? else { return Ok(extras) };
    let place = table.place();
    table.each(reading.limits.marks, |number, row| {
        let text = |cell: &str| Ok(kept.text(reading, place, cell)?.unwrap_or_default());
        let value = match row.kind.as_str() {
            TEXT => ExtraValue::Text(text(&row.value)?),
            BYTES => ExtraValue::Bytes(kept.bytes_of(place, &row.value)?),
            other => {
                let what = format!("row {number} is neither text nor bytes: {other:?}");
                return Err(Error::malformed(place.clone(), what));
            }
        };
        extras.push(Extra { format: text(&row.format)?, address: text(&row.address)?, value });
        Ok(())
    })?;
    Ok(extras)
}
