//! Section 10: measurements of each lead (5.13). Names of the values agree with DICOM CID 3687 and 3688.

use ecgkeep_format::{Result, Weight};
use ecgkeep_recording::{Exact, Extra, Lead, Measurement, MeasurementKind, Scope};

use crate::constants::{MAKER_LEAD, NOT_COMPUTED, NOT_PRESENT, REJECTED};
use crate::extras::{self, Extras};
use crate::leads::lead_of;
use crate::reading::{Reading, Section};

const SECTION: u16 = 10;
const MANUFACTURER: &str = "section 10 manufacturer number";
/// How a value is called that the standard reserves or leaves to the maker.
const UNNAMED: &str = "SCP-ECG lead value ";
/// More values than a lead's length field can count bytes for.
const MOST_VALUES: usize = 32_767;

/// The value at a position counted from 1, and its unit; codes have the unit 1.
fn named(position: usize) -> (MeasurementKind, &'static str) {
    use MeasurementKind as Kind;
    let other = |name: &str| Kind::Other(name.to_owned());
    match position {
        1 => (Kind::PDuration, "ms"),
        2 => (Kind::PrInterval, "ms"),
        3 => (Kind::QrsDuration, "ms"),
        4 => (Kind::QtInterval, "ms"),
        5 => (Kind::QDuration, "ms"),
        6 => (Kind::RDuration, "ms"),
        7 => (Kind::SDuration, "ms"),
        8 => (other("R' duration"), "ms"),
        9 => (other("S' duration"), "ms"),
        10 => (Kind::QAmplitude, "uV"),
        11 => (Kind::RAmplitude, "uV"),
        12 => (Kind::SAmplitude, "uV"),
        13 => (other("R' amplitude"), "uV"),
        14 => (other("S' amplitude"), "uV"),
        15 => (Kind::JAmplitude, "uV"),
        16 => (other("P+ amplitude"), "uV"),
        17 => (other("P- amplitude"), "uV"),
        18 => (other("T+ amplitude"), "uV"),
        19 => (other("T- amplitude"), "uV"),
        20 => (other("ST slope"), "uV/s"),
        21 => (other("P morphology code"), "1"),
        22 => (other("T morphology code"), "1"),
        23 => (other("isoelectric segment at QRS onset"), "ms"),
        24 => (other("isoelectric segment at QRS end"), "ms"),
        25 => (other("intrinsicoid deflection"), "ms"),
        26 => (other("quality code"), "1"),
        27 => (other("ST at J + 20 ms"), "uV"),
        28 => (other("ST at J + 60 ms"), "uV"),
        29 => (other("ST at J + 80 ms"), "uV"),
        30 => (other("ST at J + RR/16"), "uV"),
        31 => (other("ST at J + RR/8"), "uV"),
        position => (other(&format!("{UNNAMED}{position}")), "1"),
    }
}

/// The last position that has a name.
const LAST_NAMED: usize = 31;

fn position_of(kind: &MeasurementKind) -> Option<usize> {
    if let MeasurementKind::Other(name) = kind
        && let Some(number) = name.strip_prefix(UNNAMED)
    {
        return number.parse().ok().filter(|position| (LAST_NAMED + 1..=MOST_VALUES).contains(position));
    }
    (1..=LAST_NAMED).find(|position| named(*position).0 == *kind)
}

/// Reads section 10, as far as its leads are there.
pub(crate) fn read_lead_values(reading: &mut Reading, section: &Section) -> (Vec<Measurement>, Vec<Extra>) {
    let (mut measurements, mut extras) = (Vec::new(), Vec::new());
    if let Err(error) = read(reading, section, &mut measurements, &mut extras) {
        let at = error.place().byte.and_then(|byte| usize::try_from(byte).ok()).unwrap_or(section.start);
        reading.note(Weight::Departure, SECTION, at, format!("read as far as it goes: {}", error.what()));
    }
    (measurements, extras)
}

fn read(
    reading: &Reading,
    section: &Section,
    measurements: &mut Vec<Measurement>,
    extras: &mut Vec<Extra>,
) -> Result<()> {
    let mut cursor = reading.cursor(section);
    let (count, manufacturer) = (cursor.u16()?, cursor.u16()?);
    if manufacturer != 0 {
        extras.push(extras::text(MANUFACTURER, manufacturer.to_string()));
    }
    if usize::from(count) > reading.limits.signals {
        return Err(cursor.malformed("the number of leads", count, "no more than a record can have"));
    }
    for _ in 0..count {
        let (number, length) = (cursor.u16()?, cursor.u16()?);
        let mut values = cursor.part(length.into())?;
        let lead =
            u8::try_from(number).map_or(Lead::Numbered(number), |number| lead_of(number, section.version));
        let mut special = Vec::new();
        for position in 1..=values.left() / 2 {
            let value = values.i16()?;
            match value {
                NOT_COMPUTED => {}
                REJECTED | NOT_PRESENT => special.push(format!("{position}={value}")),
                _ => {
                    let (kind, unit) = named(position);
                    measurements.push(Measurement {
                        scope: Scope::Lead(lead.clone()),
                        ..Measurement::global(kind, Exact::whole(value.into()), unit)
                    });
                }
            }
        }
        if !special.is_empty() {
            extras.push(extras::text(special_address(number), special.join(" ")));
        }
    }
    Ok(())
}

/// What stands before and after a lead's number in the address of the values that say why there is none:
/// `5=19999 8=29998`.
const SPECIAL: (&str, &str) = ("section 10 lead ", " without value");

fn special_address(lead: u16) -> String {
    format!("{}{lead}{}", SPECIAL.0, SPECIAL.1)
}

/// The number of a lead in section 10, which has 16 bits for it.
fn number_of(lead: &Lead) -> Option<u16> {
    match lead {
        Lead::Other(name) => name.strip_prefix(MAKER_LEAD)?.parse().ok(),
        lead => lead.number(),
    }
}

/// Sets a value where none is set yet.
fn set(leads: &mut Vec<(u16, Vec<i16>)>, lead: u16, position: usize, value: i16) {
    let at = leads.iter().position(|row| row.0 == lead).unwrap_or_else(|| {
        leads.push((lead, Vec::new()));
        leads.len() - 1
    });
    let values = &mut leads[at].1;
    values.resize(values.len().max(position), NOT_COMPUTED);
    if values[position - 1] == NOT_COMPUTED {
        values[position - 1] = value;
    }
}

/// The body of section 10; `None` where there is nothing for it.
pub(crate) fn write_lead_values(measurements: &[Measurement], extras: &Extras) -> Option<Vec<u8>> {
    let mut leads: Vec<(u16, Vec<i16>)> = Vec::new();
    for measurement in measurements {
        let Scope::Lead(lead) = &measurement.scope else { continue };
        let Some(position) = position_of(&measurement.kind) else { continue };
        let value = measurement.value.to_whole().and_then(|value| i16::try_from(value).ok());
        let is_special = |value: &i16| matches!(*value, NOT_COMPUTED | REJECTED | NOT_PRESENT);
        let Some(value) = value.filter(|value| !is_special(value)) else { continue };
        if let Some(lead) = number_of(lead).filter(|_| named(position).1 == measurement.unit) {
            set(&mut leads, lead, position, value);
        }
    }
    for (address, special) in extras.texts() {
        let lead = address.strip_prefix(SPECIAL.0).and_then(|rest| rest.strip_suffix(SPECIAL.1));
        let Some(lead) = lead.and_then(|lead| lead.parse().ok()) else { continue };
        for item in special.split(' ') {
            let (position, value) = item.split_once('=').unwrap_or_default();
            if let (Ok(position @ 1..=MOST_VALUES), Ok(value)) = (position.parse(), value.parse()) {
                set(&mut leads, lead, position, value);
            }
        }
    }
    let manufacturer = extras.number::<u16>(MANUFACTURER);
    if leads.is_empty() && manufacturer.is_none() {
        return None;
    }
    let mut body = Vec::new();
    body.extend(u16::try_from(leads.len()).unwrap_or(u16::MAX).to_le_bytes());
    body.extend(manufacturer.unwrap_or(0).to_le_bytes());
    for (lead, values) in leads {
        body.extend(lead.to_le_bytes());
        body.extend(u16::try_from(values.len() * 2).unwrap_or(u16::MAX).to_le_bytes());
        body.extend(values.into_iter().flat_map(i16::to_le_bytes));
    }
    Some(body)
}
