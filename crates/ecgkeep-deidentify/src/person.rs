//! The patient: a pseudonym, and what describes a body without naming it.

use ecgkeep_recording::{Identifier, Quantity, Sex, Subject};

use crate::ages::{Age, age};
use crate::alias::Alias;
use crate::dates::Dates;
use crate::words::one_of;

/// The kind of the one identifier that is left.
pub(crate) const PSEUDONYM: &str = "pseudonym";

const LENGTHS: &[&str] = &["m", "cm", "mm", "[in_i]", "[ft_i]"];
const MASSES: &[&str] = &["kg", "g", "[lb_av]", "[oz_av]"];
const PRESSURES: &[&str] = &["mm[Hg]", "kPa"];

pub(crate) fn subject(source: &Subject, told: Age, alias: &Alias, dates: Dates) -> Subject {
    let Subject {
        identifiers: _,
        name: _,
        birth_date,
        sex,
        age: stated,
        height,
        weight,
        race: _,
        systolic,
        diastolic,
        medications: _,
        history: _,
    } = source;
    let pseudonym =
        Identifier { value: alias.pseudonym.clone(), assigner: None, kind: Some(PSEUDONYM.to_owned()) };
    Subject {
        identifiers: vec![pseudonym],
        birth_date: birth_date.filter(|_| told == Age::Told).and_then(|date| dates.date(date, alias.days)),
        sex: sex.clone().filter(|sex| !matches!(sex, Sex::Other(_))),
        age: stated.as_ref().and_then(|stated| age(stated, told)),
        height: in_units(height.as_ref(), LENGTHS),
        weight: in_units(weight.as_ref(), MASSES),
        systolic: in_units(systolic.as_ref(), PRESSURES),
        diastolic: in_units(diastolic.as_ref(), PRESSURES),
        ..Subject::default()
    }
}

/// A quantity in one of these units: a unit of the source's own spelling is free text.
fn in_units(quantity: Option<&Quantity>, units: &[&str]) -> Option<Quantity> {
    quantity.filter(|quantity| one_of(units, &quantity.unit)).cloned()
}
