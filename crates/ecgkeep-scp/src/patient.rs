//! Section 1, the patient: tags 0 to 12, 32 and 35 (5.4.3.1).

use ecgkeep_recording::{Code, Coded, Exact, Identifier, PartialDate, Quantity, Sex, Subject};

use crate::constants::{
    AGE_UNITS, FINER_UNITS, HEIGHT_UNITS, PRESSURE_UNIT, SEX_FEMALE, SEX_MALE, SEX_UNKNOWN, SEX_UNSPECIFIED,
    SEX_UNSPECIFIED_WORD, WEIGHT_UNITS, system, tag,
};
use crate::extras::Extras;
use crate::header::{TagWriter, Taken, Texts};
use crate::tags::Tag;
use crate::text::TooNarrow;

/// Takes a tag that describes the patient.
pub(crate) fn read_tag(subject: &mut Subject, texts: &mut Texts, tag: &Tag) -> Taken {
    let value = tag.value;
    match tag.number {
        tag::LAST_NAME => subject.name.family = texts.read(value),
        tag::FIRST_NAME => subject.name.given = texts.read(value),
        tag::SECOND_LAST_NAME => subject.name.second_family = texts.read(value),
        tag::PATIENT_ID => {
            let identifier = texts.read(value).map(|value| Identifier { value, ..Identifier::default() });
            subject.identifiers.extend(identifier);
        }
        tag::AGE => return quantity(&mut subject.age, value, AGE_UNITS),
        tag::HEIGHT => return quantity(&mut subject.height, value, HEIGHT_UNITS),
        tag::WEIGHT => return quantity(&mut subject.weight, value, WEIGHT_UNITS),
        tag::SYSTOLIC => return pressure(&mut subject.systolic, value),
        tag::DIASTOLIC => return pressure(&mut subject.diastolic, value),
        tag::BIRTH_DATE => match date(value) {
            Ok(date) => subject.birth_date = date,
            Err(why) => return Taken::Bad(why),
        },
        tag::SEX | tag::RACE => {
            let &[code] = value else { return wrong_length(value, "1 byte") };
            if tag.number == tag::SEX {
                subject.sex = Some(sex(code));
            } else if code != 0 {
                subject.race = Some(coded(system::RACE, code.to_string()));
            }
        }
        tag::DRUG => {
            let &[table, class, drug, ref text @ ..] = value else {
                return wrong_length(value, "3 bytes or more");
            };
            let mut medication =
                Coded { text: if text.is_empty() { None } else { texts.read(text) }, codes: Vec::new() };
            // all zero: unspecified
            if [table, class, drug] != [0; 3] {
                medication.codes.push(code(system::DRUG, format!("{table}/{class}/{drug}")));
            }
            if !medication.is_empty() {
                subject.medications.push(medication);
            }
        }
        tag::HISTORY => {
            let &[table, ref codes @ ..] = value else { return wrong_length(value, "2 bytes or more") };
            if codes.is_empty() {
                return wrong_length(value, "2 bytes or more");
            }
            subject
                .history
                .extend(codes.iter().map(|code| coded(system::HISTORY, format!("{table}/{code}"))));
        }
        tag::HISTORY_TEXT => subject.history.extend(texts.read(value).map(Coded::from_text)),
        _ => return Taken::NotMine,
    }
    Taken::Yes
}

/// A value whose length the standard does not have.
pub(crate) fn wrong_length(value: &[u8], expected: &str) -> Taken {
    Taken::Bad(format!("it has {} bytes, the standard has {expected}", value.len()))
}

fn code(system: &str, value: String) -> Code {
    Code { system: system.to_owned(), value, meaning: None }
}

/// One code without text.
pub(crate) fn coded(system: &str, value: String) -> Coded {
    Coded { text: None, codes: vec![code(system, value)] }
}

/// The value under which a coded item holds a number of SCP-ECG.
pub(crate) fn own_code<'a>(item: &'a Coded, system: &str) -> Option<&'a str> {
    item.codes.iter().find(|code| code.system == system).map(|code| code.value.as_str())
}

/// Numbers between slashes, each of one byte.
fn numbers<const N: usize>(text: &str) -> Option<[u8; N]> {
    let parts: Option<Vec<u8>> = text.split('/').map(|part| part.parse().ok()).collect();
    parts?.try_into().ok()
}

fn quantity(place: &mut Option<Quantity>, value: &[u8], units: &[(u8, &str)]) -> Taken {
    let &[low, high, unit] = value else { return wrong_length(value, "3 bytes") };
    let number = u16::from_le_bytes([low, high]);
    // all zero: not known
    if (number, unit) == (0, 0) {
        return Taken::Yes;
    }
    match units.iter().find(|row| row.0 == unit) {
        Some((_, unit)) => {
            *place = Some(Quantity::new(Exact::whole(number.into()), *unit));
            Taken::Yes
        }
        None => Taken::Bad(format!("its unit is number {unit}, which has no meaning")),
    }
}

fn pressure(place: &mut Option<Quantity>, value: &[u8]) -> Taken {
    let &[low, high] = value else { return wrong_length(value, "2 bytes") };
    match u16::from_le_bytes([low, high]) {
        0 => Taken::AsBytes,
        number => {
            *place = Some(Quantity::new(Exact::whole(number.into()), PRESSURE_UNIT));
            Taken::Yes
        }
    }
}

/// A date of tag 5 or 25, or of a report: all zero is not known, a month or day of zero is not stated.
pub(crate) fn date(value: &[u8]) -> Result<Option<PartialDate>, String> {
    let &[low, high, month, day] = value else {
        return Err(format!("it has {} bytes, the standard has 4", value.len()));
    };
    let year = u16::from_le_bytes([low, high]);
    if (year, month, day) == (0, 0, 0) {
        return Ok(None);
    }
    let part = |number: u8| (number > 0).then_some(number);
    let whole_year = i16::try_from(year).ok().filter(|year| *year > MOST_YEAR_WITHOUT_CENTURY);
    let date = whole_year.and_then(|year| PartialDate::new(year, part(month), part(day)).ok());
    date.map(Some).ok_or_else(|| format!("{year}-{month}-{day} is no date"))
}

/// A year up to this one names no century, and none is supposed: such a date is neither read nor written.
const MOST_YEAR_WITHOUT_CENTURY: i16 = 99;

/// The four bytes of a date; zeros for what it does not state, and for a date that would not be read again.
pub(crate) fn date_bytes(date: Option<PartialDate>) -> [u8; 4] {
    let Some(date) = date.filter(|date| date.year() > MOST_YEAR_WITHOUT_CENTURY) else { return [0; 4] };
    let [low, high] = date.year().to_le_bytes();
    [low, high, date.month().unwrap_or(0), date.day().unwrap_or(0)]
}

fn sex(code: u8) -> Sex {
    match code {
        SEX_UNKNOWN => Sex::Unknown,
        SEX_MALE => Sex::Male,
        SEX_FEMALE => Sex::Female,
        SEX_UNSPECIFIED => Sex::Other(SEX_UNSPECIFIED_WORD.to_owned()),
        code => Sex::Other(code.to_string()),
    }
}

fn sex_code(sex: &Sex) -> Option<u8> {
    match sex {
        Sex::Unknown => Some(SEX_UNKNOWN),
        Sex::Male => Some(SEX_MALE),
        Sex::Female => Some(SEX_FEMALE),
        Sex::Other(word) if word == SEX_UNSPECIFIED_WORD => Some(SEX_UNSPECIFIED),
        Sex::Other(word) => word.parse().ok(),
        _ => None,
    }
}

/// Writes tags 0 to 12.
/// # Errors
/// [`TooNarrow`].
pub(crate) fn write_tags(
    writer: &mut TagWriter,
    subject: &Subject,
    extras: &Extras,
) -> Result<(), TooNarrow> {
    writer.text(tag::LAST_NAME, subject.name.family.as_deref())?;
    writer.text(tag::FIRST_NAME, subject.name.given.as_deref())?;
    let id = subject.identifiers.first().map(|identifier| identifier.value.as_str());
    if id.is_some() || !extras.tags().any(|(number, _)| number == tag::PATIENT_ID) {
        // required, empty where there is none
        writer.text(tag::PATIENT_ID, Some(id.unwrap_or_default()))?;
    }
    writer.text(tag::SECOND_LAST_NAME, subject.name.second_family.as_deref())?;
    write_quantity(writer, tag::AGE, subject.age.as_ref(), AGE_UNITS);
    if let Some(date) = subject.birth_date {
        match date_bytes(Some(date)) {
            [0, 0, 0, 0] => {}
            bytes => writer.bytes(tag::BIRTH_DATE, &bytes),
        }
    }
    write_quantity(writer, tag::HEIGHT, subject.height.as_ref(), HEIGHT_UNITS);
    write_quantity(writer, tag::WEIGHT, subject.weight.as_ref(), WEIGHT_UNITS);
    if let Some(code) = subject.sex.as_ref().and_then(sex_code) {
        writer.bytes(tag::SEX, &[code]);
    }
    let race = subject.race.as_ref().and_then(|race| own_code(race, system::RACE)?.parse().ok());
    if let Some(race) = race {
        writer.bytes(tag::RACE, &[race]);
    }
    for medication in &subject.medications {
        let code = own_code(medication, system::DRUG).and_then(numbers::<3>);
        if code.is_none() && medication.text.is_none() {
            continue;
        }
        let mut value = code.unwrap_or_default().to_vec();
        let text = medication.text.as_deref().unwrap_or_default();
        value.extend(writer.set.encode(text, crate::text::MOST_TEXT_BYTES - 3)?);
        writer.bytes(tag::DRUG, &value);
    }
    for (number, pressure) in [(tag::SYSTOLIC, &subject.systolic), (tag::DIASTOLIC, &subject.diastolic)] {
        let value = pressure.as_ref().filter(|pressure| pressure.unit == PRESSURE_UNIT).and_then(whole_u16);
        // a pressure of zero is read as not measured
        if let Some(value) = value.filter(|value| *value > 0) {
            writer.bytes(number, &value.to_le_bytes());
        }
    }
    Ok(())
}

fn whole_u16(quantity: &Quantity) -> Option<u16> {
    quantity.value.to_whole().and_then(|value| u16::try_from(value).ok())
}

fn write_quantity(writer: &mut TagWriter, number: u8, quantity: Option<&Quantity>, units: &[(u8, &str)]) {
    if let Some((value, unit)) = quantity.and_then(|quantity| in_own_units(quantity, units)) {
        let [low, high] = value.to_le_bytes();
        writer.bytes(number, &[low, high, unit]);
    }
}

/// A quantity as a whole number of one of the units, in its own unit or exactly in a finer one.
fn in_own_units(quantity: &Quantity, units: &[(u8, &str)]) -> Option<(u16, u8)> {
    let unit = |name: &str| units.iter().find(|row| row.1 == name).map(|row| row.0);
    if let Some(found) = whole_u16(quantity).zip(unit(&quantity.unit)) {
        return Some(found);
    }
    FINER_UNITS.iter().filter(|row| row.0 == quantity.unit).find_map(|(_, finer, times)| {
        let value = quantity.value.times(Exact::whole(*times))?;
        whole_u16(&Quantity::new(value, *finer)).zip(unit(finer))
    })
}

/// Writes tags 32 and 35, in the order of the history.
/// # Errors
/// [`TooNarrow`].
pub(crate) fn write_history(writer: &mut TagWriter, subject: &Subject) -> Result<(), TooNarrow> {
    for item in &subject.history {
        match own_code(item, system::HISTORY).and_then(numbers::<2>) {
            Some(numbers) if item.text.is_none() => writer.bytes(tag::HISTORY, &numbers),
            _ => writer.text(tag::HISTORY_TEXT, item.text.as_deref())?,
        }
    }
    Ok(())
}
