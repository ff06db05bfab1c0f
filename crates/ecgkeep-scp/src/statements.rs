//! Sections 8 and 11: statements of the report, as text and as codes (5.11, 5.14).

use ecgkeep_format::{Result, Weight};
use ecgkeep_recording::{CivilTime, Code, Statement, StatementStatus, TimeOfDay};

use crate::constants::system;
use crate::header::Texts;
use crate::patient::{date, date_bytes};
use crate::reading::{Reading, Section};
use crate::text::{CharacterSet, TooNarrow};

/// Section 8: statements as text.
pub(crate) const TEXTS: u16 = 8;
/// Section 11: statements as codes of the universal list, text, or logic between them.
pub(crate) const CODES: u16 = 11;

/// The type byte of a statement that consists of codes.
const CODE_TYPE: u8 = 1;
/// The confirmed byte.
const STATUSES: &[(u8, StatementStatus)] =
    &[(0, StatementStatus::Unconfirmed), (1, StatementStatus::Confirmed), (2, StatementStatus::OverRead)];
/// The number of statements is one byte.
const MOST_STATEMENTS: usize = 255;
/// The most bytes of a statement, its type and closing zero included.
const MOST_BYTES: usize = 65_534;

/// Reads the statements of section 8 or 11, as far as they are there.
pub(crate) fn read_statements(reading: &mut Reading, section: &Section, texts: &mut Texts) -> Vec<Statement> {
    let mut statements = Vec::new();
    if let Err(error) = read(reading, section, texts, &mut statements) {
        let at = error.place().byte.and_then(|byte| usize::try_from(byte).ok()).unwrap_or(section.start);
        let text = format!("{} statements are read: {}", statements.len(), error.what());
        reading.note(Weight::Departure, section.number, at, text);
    }
    statements
}

fn read(
    reading: &mut Reading,
    section: &Section,
    texts: &mut Texts,
    found: &mut Vec<Statement>,
) -> Result<()> {
    let mut cursor = reading.cursor(section);
    let (confirmed, day, time) = (cursor.u8()?, cursor.take(4)?, cursor.take(3)?);
    let status = STATUSES.iter().find(|row| row.0 == confirmed).map(|row| row.1.clone());
    if status.is_none() {
        let text = format!("{confirmed} says neither confirmed nor unconfirmed: the status is not known");
        reading.note(Weight::Departure, section.number, section.body_start(), text);
    }
    let at = moment(reading, section, day, time);
    for number in 0..cursor.u8()? {
        let _sequence_number = cursor.u8()?;
        let mut length = usize::from(cursor.u16()?);
        let place = section.body_start() + cursor.position();
        let rest = &section.body[section.body.len() - cursor.left()..];
        // writers differ in whether the length counts the type byte: the zero tells
        let is_short = section.number == CODES && length > 0 && rest.get(length) == Some(&0);
        if is_short && rest[length - 1] != 0 {
            length += 1;
            let text = format!("the length of statement {} does not count its type byte", number + 1);
            reading.note(Weight::Departure, section.number, place, text);
        }
        let bytes = cursor.take(length)?;
        let mut statement = match section.number {
            TEXTS => Statement { text: texts.read(bytes).unwrap_or_default(), ..Statement::default() },
            _ => coded_statement(bytes, texts),
        };
        for departure in texts.departures() {
            reading.note(
                Weight::Departure,
                section.number,
                place,
                format!("statement {}: {departure}", number + 1),
            );
        }
        (statement.status, statement.at) = (status.clone(), at);
        found.push(statement);
    }
    Ok(())
}

fn moment(reading: &mut Reading, section: &Section, day: &[u8], time: &[u8]) -> Option<CivilTime> {
    let of_day = TimeOfDay::new(time[0], Some(time[1]), Some(time[2]), None);
    let date = date(day);
    if date.is_err() || of_day.is_err() {
        let text = "the date and time of the report are none of the calendar and are not taken";
        reading.note(Weight::Departure, section.number, section.body_start() + 1, text);
    }
    let date = date.ok()??;
    Some(CivilTime { date: Some(date), time: of_day.ok(), offset_minutes: None })
}

fn coded_statement(bytes: &[u8], texts: &mut Texts) -> Statement {
    let Some((kind, bytes)) = bytes.split_first() else { return Statement::default() };
    if *kind != CODE_TYPE {
        let code = Code { system: system::STATEMENT_TYPE.to_owned(), value: kind.to_string(), meaning: None };
        let text = texts.read(bytes).unwrap_or_default();
        return Statement { text, codes: vec![code], ..Statement::default() };
    }
    let values: Vec<String> =
        bytes.split_inclusive(|byte| *byte == 0).filter_map(|code| texts.read(code)).collect();
    let code =
        |value: &String| Code { system: system::STATEMENT.to_owned(), value: value.clone(), meaning: None };
    Statement { text: values.join(" "), codes: values.iter().map(code).collect(), ..Statement::default() }
}

/// How a statement is written.
enum Form<'a> {
    Text,
    Codes(Vec<&'a str>),
    Typed(u8),
}

fn form(statement: &Statement) -> Form<'_> {
    let kind = statement.codes.iter().find(|code| code.system == system::STATEMENT_TYPE);
    if let Some(kind) = kind.and_then(|code| code.value.parse().ok()).filter(|kind| *kind != CODE_TYPE) {
        return Form::Typed(kind);
    }
    let codes = statement.codes.iter().filter(|code| code.system == system::STATEMENT);
    let codes: Vec<&str> = codes.map(|code| code.value.as_str()).collect();
    let says_the_same = statement.text.is_empty() || statement.text == codes.join(" ");
    if says_the_same && !codes.is_empty() { Form::Codes(codes) } else { Form::Text }
}

/// The body of section 8 or 11; `None` where no statement belongs there.
/// # Errors
/// [`TooNarrow`].
pub(crate) fn write_statements(
    number: u16,
    statements: &[Statement],
    set: CharacterSet,
) -> std::result::Result<Option<Vec<u8>>, TooNarrow> {
    let own =
        statements.iter().filter(|statement| matches!(form(statement), Form::Text) == (number == TEXTS));
    let own: Vec<&Statement> = own.take(MOST_STATEMENTS).collect();
    let Some(first) = own.first() else { return Ok(None) };
    let at = first.at.filter(|at| own.iter().all(|statement| statement.at == Some(*at)));
    let mut body = vec![confirmed(&own)];
    body.extend(date_bytes(at.and_then(|at| at.date)));
    let time = at.filter(|at| at.date.is_some()).and_then(|at| at.time);
    let time = time.and_then(|time| Some([time.hour(), time.minute()?, time.second().unwrap_or(0)]));
    body.extend(time.unwrap_or_default());
    body.push(u8::try_from(own.len()).expect("at most 255 statements are taken"));
    for (index, statement) in own.iter().enumerate() {
        body.push(u8::try_from(index + 1).expect("at most 255 statements are taken"));
        let text = |text| set.encode(text, MOST_BYTES);
        let value = match form(statement) {
            Form::Text => text(&statement.text)?,
            Form::Typed(kind) => [vec![kind], text(&statement.text)?].concat(),
            Form::Codes(codes) => {
                let codes: std::result::Result<Vec<_>, _> = codes.into_iter().map(text).collect();
                [vec![CODE_TYPE], codes?.concat()].concat()
            }
        };
        let length = u16::try_from(value.len()).unwrap_or(u16::MAX);
        body.extend(length.to_le_bytes());
        body.extend(&value[..length.into()]);
    }
    Ok(Some(body))
}

/// One byte for all statements of a section: where they differ, or one states nothing, the least confirmed.
fn confirmed(statements: &[&Statement]) -> u8 {
    let rank = |statement: &&Statement| match statement.status {
        Some(StatementStatus::Confirmed) => 2,
        Some(StatementStatus::OverRead) => 1,
        _ => 0,
    };
    match statements.iter().map(rank).min() {
        Some(2) => 1,
        Some(1) => 2,
        _ => 0,
    }
}
