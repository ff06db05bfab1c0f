//! Ages over 89: 45 CFR 164.514(b)(2)(i)(C) lets them stand only as "90 or older", and no date that tells more.

use ecgkeep_recording::{CivilTime, Exact, PartialDate, Quantity, Subject};

/// The first age that is not told apart from those above it, in years.
const OLDEST: i64 = 90;

/// Whether an age may be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Age {
    /// Below 90, or nothing is stated that would tell.
    Told,
    /// 90 or older.
    Oldest,
    /// A birth date stands alone: how old the patient was cannot be known.
    Unknown,
}

impl Age {
    pub(crate) fn of(subject: &Subject, start: &CivilTime) -> Age {
        let stated = subject.age.as_ref().and_then(years);
        if stated.is_some_and(|years| years >= OLDEST as f64) {
            return Age::Oldest;
        }
        match (subject.birth_date, start.date) {
            (None, _) => Age::Told,
            (Some(birth), Some(start)) if completed_years(birth, start) >= OLDEST => Age::Oldest,
            (Some(_), Some(_)) => Age::Told,
            (Some(_), None) => Age::Unknown,
        }
    }
}

/// The age as it may be told: units of time only, 90 years for all above.
pub(crate) fn age(stated: &Quantity, age: Age) -> Option<Quantity> {
    years(stated)?;
    Some(if age == Age::Oldest { Quantity::new(OLDEST, "a") } else { stated.clone() })
}

/// Years, from the UCUM units of time that ages are stated in.
fn years(age: &Quantity) -> Option<f64> {
    // a year of 365.25 days is UCUM's (`a_j`)
    let per_year = match age.unit.as_str() {
        "a" => 1.0,
        "mo" => 12.0,
        "wk" => 365.25 / 7.0,
        "d" => 365.25,
        "h" => 365.25 * 24.0,
        "min" => 365.25 * 24.0 * 60.0,
        _ => return None,
    };
    (age.value >= Exact::ZERO).then(|| age.value.to_f64() / per_year)
}

/// Birthdays passed; where a date is not known to the day, as many as there can be.
fn completed_years(birth: PartialDate, at: PartialDate) -> i64 {
    let years = i64::from(at.year()) - i64::from(birth.year());
    let day = |date: PartialDate| Some((date.month()?, date.day()?));
    match (day(birth), day(at)) {
        (Some(birthday), Some(today)) if today < birthday => years - 1,
        _ => years,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ninetieth_birthday_decides() {
        let at = |birth: &str, start: &str| {
            let subject = Subject { birth_date: birth.parse().ok(), ..Subject::default() };
            Age::of(&subject, &start.parse().unwrap())
        };
        assert_eq!(at("1936-03-03", "2026-03-02"), Age::Told);
        assert_eq!(at("1936-03-02", "2026-03-02"), Age::Oldest);
        assert_eq!(at("1936", "2026-03-02"), Age::Oldest);
        assert_eq!(at("1937", "2026"), Age::Told);
        assert_eq!(at("1990-01-01", "T09:00"), Age::Unknown);
    }

    #[test]
    fn an_age_is_capped_in_whatever_unit_it_stands() {
        for (value, unit, told) in
            [(89, "a", "89 a"), (90, "a", "90 a"), (1090, "mo", "90 a"), (5, "d", "5 d")]
        {
            let stated = Quantity::new(value, unit);
            let subject = Subject { age: Some(stated.clone()), ..Subject::default() };
            let of = Age::of(&subject, &CivilTime::default());
            assert_eq!(age(&stated, of).unwrap().to_string(), told);
        }
        assert_eq!(age(&Quantity::new(40, "winters"), Age::Told), None);
    }
}
