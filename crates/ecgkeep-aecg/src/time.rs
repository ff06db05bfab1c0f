//! Points in time (data type TS): `YYYYMMDDhhmmss.f+hhmm`, each part only as far as it is known; and their
//! arithmetic in exact seconds.

use ecgkeep_recording::{CivilTime, Exact, PartialDate, TimeOfDay};

use crate::values::rounded;

/// What a text says of a point in time.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Stamp {
    /// A point in time, spelled as the data type has it.
    Proper(CivilTime),
    /// A point in time, spelled with separators, a `Z`, or another form of offset.
    Tolerated(CivilTime),
    /// Zeros only: the source has no date.
    Zeros,
}

/// Reads a TS, and the ISO 8601 spellings that stand in its place in some files.
/// `None` where it is neither or the calendar does not have it.
pub(crate) fn read(text: &str) -> Option<Stamp> {
    let text = text.trim();
    if text.contains('0') && text.bytes().all(|byte| matches!(byte, b'0' | b'-' | b':' | b'.' | b'T' | b' '))
    {
        return Some(Stamp::Zeros);
    }
    if let Some(time) = read_proper(text) {
        return Some(Stamp::Proper(time));
    }
    let (date, time) = text.split_once(['T', ' ']).unwrap_or_else(|| {
        // an offset cannot follow a date alone, so these signs separate year, month and day
        let is_date = text.as_bytes().get(4) == Some(&b'-');
        if is_date { (text, "") } else { text.split_at_checked(8).unwrap_or((text, "")) }
    });
    let date: String = date.chars().filter(|c| *c != '-').collect();
    let (clock, offset) = match time.find(['+', '-', 'Z', 'z']) {
        Some(at) => time.split_at(at),
        None => (time, ""),
    };
    let clock: String = clock.chars().filter(|c| *c != ':').collect();
    let offset = match offset {
        "Z" | "z" => "+0000".to_owned(),
        offset => offset.chars().filter(|c| *c != ':').collect(),
    };
    if offset.len() > 5 {
        return None;
    }
    read_proper(&format!("{date}{clock}{offset}")).map(Stamp::Tolerated)
}

fn read_proper(text: &str) -> Option<CivilTime> {
    let at = text.find(['+', '-']).unwrap_or(text.len());
    let (clock, offset) = text.split_at(at);
    let (digits, fraction) = match clock.split_once('.') {
        Some((digits, fraction)) => (digits, Some(fraction)),
        None => (clock, None),
    };
    let is_number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !is_number(digits) || digits.len() < 4 || digits.len() % 2 == 1 || digits.len() > 14 {
        return None;
    }
    let two = |at: usize| digits.get(at..at + 2).and_then(|part| part.parse::<u8>().ok());
    let date = PartialDate::new(digits[..4].parse().ok()?, two(4), two(6)).ok()?;
    let fraction = match fraction {
        Some(fraction) if is_number(fraction) && digits.len() == 14 => {
            Some(format!("0.{fraction}").parse::<Exact>().ok()?)
        }
        Some(_) => return None,
        None => None,
    };
    let time = match two(8) {
        Some(hour) => Some(TimeOfDay::new(hour, two(10), two(12), fraction).ok()?),
        None => None,
    };
    let offset_minutes = match offset {
        "" => None,
        // HL7 V3 TS: an offset needs at least the hour before it, and has one to four digits
        _ if time.is_none() || !is_number(&offset[1..]) || offset.len() > 5 => return None,
        _ => {
            let number: i16 = offset[1..].parse().ok()?;
            let minutes = if offset.len() > 3 { number / 100 * 60 + number % 100 } else { number * 60 };
            if minutes >= 24 * 60 || (offset.len() > 3 && number % 100 > 59) {
                return None;
            }
            Some(if offset.starts_with('-') { -minutes } else { minutes })
        }
    };
    Some(CivilTime { date: Some(date), time, offset_minutes })
}

/// As much of a time as a TS has a place for; `None` where it has none.
pub(crate) fn write(time: &CivilTime) -> Option<String> {
    let date = time.date?;
    let mut text = date.to_string().replace('-', "");
    if let Some(clock) = time.time.filter(|_| date.day().is_some()) {
        text.push_str(&clock.to_string().replace(':', ""));
        if let Some(offset) = time.offset_minutes {
            let (sign, minutes) = (if offset < 0 { '-' } else { '+' }, offset.unsigned_abs());
            text.push_str(&format!("{sign}{:02}{:02}", minutes / 60, minutes % 60));
        }
    }
    Some(text)
}

/// Whether a time is known to the second.
pub(crate) fn is_precise(time: &CivilTime) -> bool {
    let day = time.date.is_some_and(|date| date.day().is_some());
    day && time.time.is_some_and(|clock| clock.second().is_some())
}

/// Seconds from `from` to `to`; `None` where either is not known to the second. Where only one of them states an
/// offset from UTC, both are taken to be read from the same clock.
pub(crate) fn between(from: &CivilTime, to: &CivilTime) -> Option<Exact> {
    if !is_precise(from) || !is_precise(to) {
        return None;
    }
    let both = from.offset_minutes.is_some() && to.offset_minutes.is_some();
    let seconds = |time: &CivilTime| {
        let offset_minutes = time.offset_minutes.filter(|_| both);
        let whole = CivilTime { offset_minutes, ..*time }.seconds()?;
        Exact::whole(whole).plus(time.time?.fraction().unwrap_or_default())
    };
    seconds(to)?.minus(seconds(from)?)
}

/// The time so many seconds after a time known to the second, in the same clock; rounded to 18 digits. `None`
/// outside the years 1 to 9999.
pub(crate) fn after(start: &CivilTime, seconds: Exact) -> Option<CivilTime> {
    if !is_precise(start) {
        return None;
    }
    if seconds.is_zero() {
        return Some(*start);
    }
    let local = CivilTime { offset_minutes: None, ..*start };
    let total =
        Exact::whole(local.seconds()?).plus(start.time?.fraction().unwrap_or_default())?.plus(seconds)?;
    let whole = total.numerator().div_euclid(total.denominator());
    let fraction = rounded(total.minus(Exact::ratio(whole, 1).ok()?)?);
    // a fraction that rounds up to a second
    let (whole, fraction) = if fraction < Exact::ONE { (whole, fraction) } else { (whole + 1, Exact::ZERO) };
    let whole = i64::try_from(whole).ok()?;
    let part = |value: i64| u8::try_from(value).ok();
    let clock = whole.rem_euclid(86_400);
    let fraction = (start.time?.fraction().is_some() || !fraction.is_zero()).then_some(fraction);
    let time =
        TimeOfDay::new(part(clock / 3_600)?, Some(part(clock / 60 % 60)?), Some(part(clock % 60)?), fraction);
    Some(CivilTime { date: Some(date_of(whole.div_euclid(86_400))?), time: Some(time.ok()?), ..*start })
}

/// The date so many days after 1970-01-01, by the rule of 400 Gregorian years of 146,097 days.
fn date_of(days: i64) -> Option<PartialDate> {
    // counted from 0000-03-01, so that the leap day ends a year
    let days = days.checked_add(719_468)?;
    let (era, day) = (days.div_euclid(146_097), days.rem_euclid(146_097));
    let year = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
    let day = day - (365 * year + year / 4 - year / 100);
    let month = (5 * day + 2) / 153;
    let day_of_month = day - (153 * month + 2) / 5 + 1;
    let month = if month < 10 { month + 3 } else { month - 9 };
    let year = era * 400 + year + i64::from(month <= 2);
    PartialDate::new(
        i16::try_from(year).ok()?,
        Some(u8::try_from(month).ok()?),
        Some(u8::try_from(day_of_month).ok()?),
    )
    .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn civil(text: &str) -> CivilTime {
        text.parse().unwrap()
    }

    #[test]
    fn every_precision_is_read_and_written_as_it_is() {
        for (ts, iso) in [
            ("2026", "2026"),
            ("202603", "2026-03"),
            ("20260302", "2026-03-02"),
            ("2026030209", "2026-03-02T09"),
            ("202603020914", "2026-03-02T09:14"),
            ("20260302091405", "2026-03-02T09:14:05"),
            ("20260302091405.25", "2026-03-02T09:14:05.25"),
            ("20260302091405.0", "2026-03-02T09:14:05.0"),
            ("20260302091405.123456-0330", "2026-03-02T09:14:05.123456-03:30"),
            ("202603020914+0000", "2026-03-02T09:14+00:00"),
        ] {
            assert_eq!(read(ts), Some(Stamp::Proper(civil(iso))), "{ts}");
            assert_eq!(write(&civil(iso)).as_deref(), Some(ts));
        }
    }

    #[test]
    fn other_spellings_are_tolerated() {
        for (text, iso) in [
            ("2026-03-02T09:14:05.250Z", "2026-03-02T09:14:05.25+00:00"),
            ("2026-03-02 09:14:05", "2026-03-02T09:14:05"),
            ("2026-03-02", "2026-03-02"),
            ("20260302091405+01:00", "2026-03-02T09:14:05+01:00"),
            ("20260302T091405", "2026-03-02T09:14:05"),
        ] {
            assert_eq!(read(text), Some(Stamp::Tolerated(civil(iso))), "{text}");
        }
        for (text, minutes) in [("2026030209+1", 60), ("2026030209+01", 60), ("2026030209+130", 90)] {
            let Some(Stamp::Proper(time)) = read(text) else { panic!("{text}") };
            assert_eq!(time.offset_minutes, Some(minutes));
        }
        assert_eq!(read("00000000"), Some(Stamp::Zeros));
        assert_eq!(read("0000-00-00T00:00:00"), Some(Stamp::Zeros));
        for text in [
            "",
            "abc",
            "20261301",
            "2026030",
            "20260302+0100",
            "20260302091405.",
            "20260302250000",
            "2026é302",
        ] {
            assert_eq!(read(text), None, "{text}");
        }
    }

    #[test]
    fn seconds_are_counted_over_midnight_leap_days_and_zones() {
        let seconds = |text: &str| text.parse::<Exact>().unwrap();
        for (from, after_seconds, to) in [
            ("2024-02-28T23:59:59.5", "0.75", "2024-02-29T00:00:00.25"),
            ("2023-12-31T23:59:59+01:00", "1", "2024-01-01T00:00:00+01:00"),
            ("2000-03-01T00:00:00", "-86400", "2000-02-29T00:00:00"),
            ("1900-03-01T00:00:00", "-1", "1900-02-28T23:59:59"),
        ] {
            assert_eq!(after(&civil(from), seconds(after_seconds)), Some(civil(to)));
            assert_eq!(between(&civil(from), &civil(to)), Some(seconds(after_seconds)));
        }
        let (utc, east) = (civil("2026-03-02T08:00:00Z"), civil("2026-03-02T09:00:00+01:00"));
        assert_eq!(between(&utc, &east), Some(Exact::ZERO));
        assert_eq!(between(&civil("2026-03-02T08:00:00"), &east), Some(seconds("3600")));
        assert_eq!(between(&civil("2026-03-02T08:00"), &utc), None);
        assert_eq!(after(&civil("9999-12-31T23:59:59"), Exact::ONE), None);
        let third = after(&civil("2026-03-02T08:00:00"), Exact::ratio(1, 3).unwrap()).unwrap();
        assert_eq!(third.to_string(), "2026-03-02T08:00:00.333333333333333333");
    }
}
