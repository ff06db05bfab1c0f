//! One recording: a group with attributes for what is single, waveforms in groups of their own, and rows.

use ecgkeep_recording::{
    Extra, ExtraValue, Identifier, Measurement, Person, PersonName, Recording, Statement,
};
use hdf5::Group;

use crate::flat::{self, Leaf};
use crate::number;
use crate::recording::{
    BYTES, EXTRAS, MEASUREMENTS, STATEMENT_AUTHORS, STATEMENT_CODES, STATEMENTS, TEXT, WAVEFORMS,
};
use crate::tables::{AuthorRow, ExtraRow, MeasurementRow, StatementRow};
use crate::words;
use crate::write::put::{put_nothing, put_text};
use crate::write::scratch::group_in;
use crate::write::values::Values;
use crate::write::{rows, waveform};

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
