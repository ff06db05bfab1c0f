//! Dates and times as a source states them: to the precision given, without inventing a time zone.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use crate::Exact;

/// A calendar date known to the year, the month or the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PartialDate {
    year: i16,
    month: Option<u8>,
    day: Option<u8>,
}

/// A text or a group of numbers that is no date or time of the proleptic Gregorian calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotATime;

impl fmt::Display for NotATime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not a date or time of the calendar")
    }
}

impl std::error::Error for NotATime {}

impl PartialDate {
    /// A date of the years 1 to 9999; a day needs a month.
    /// # Errors
    /// [`NotATime`] for a date that the calendar does not have.
    pub fn new(year: i16, month: Option<u8>, day: Option<u8>) -> Result<PartialDate, NotATime> {
        if day.is_some() && month.is_none() {
            return Err(NotATime);
        }
        let in_range = |value: u8| i8::try_from(value).map_err(|_| NotATime);
        let (m, d) = (in_range(month.unwrap_or(1))?, in_range(day.unwrap_or(1))?);
        if year < 1 || jiff::civil::Date::new(year, m, d).is_err() {
            return Err(NotATime);
        }
        Ok(PartialDate { year, month, day })
    }

    /// The year, 1 to 9999.
    #[must_use]
    pub fn year(self) -> i16 {
        self.year
    }

    /// The month, 1 to 12, if known.
    #[must_use]
    pub fn month(self) -> Option<u8> {
        self.month
    }

    /// The day of the month, if known.
    #[must_use]
    pub fn day(self) -> Option<u8> {
        self.day
    }

    /// The date so many days later (earlier for a negative number), to the same precision: a month or year alone is
    /// moved by its first day. `None` where the years 1 to 9999 end before it.
    #[must_use]
    pub fn plus_days(self, days: i64) -> Option<PartialDate> {
        let moved = self.civil().checked_add(jiff::Span::new().try_days(days).ok()?).ok()?;
        let part = |value: i8| u8::try_from(value).ok();
        let month = self.month.and_then(|_| part(moved.month()));
        let day = self.day.and_then(|_| part(moved.day()));
        PartialDate::new(moved.year(), month, day).ok()
    }

    /// The first day that the date may mean.
    fn civil(self) -> jiff::civil::Date {
        let part = |value: Option<u8>| value.and_then(|value| i8::try_from(value).ok()).unwrap_or(1);
        // The constructor has seen that the calendar has it.
        jiff::civil::Date::new(self.year, part(self.month), part(self.day)).unwrap_or_default()
    }

    /// Days from 1970-01-01 to the first day that the date may mean.
    #[must_use]
    pub fn first_day(self) -> i64 {
        days_since_1970(self.civil())
    }

    /// Days from 1970-01-01 to the last day that the date may mean.
    #[must_use]
    pub fn last_day(self) -> i64 {
        let first = self.civil();
        days_since_1970(match (self.month, self.day) {
            (None, _) => first.last_of_year(),
            (_, None) => first.last_of_month(),
            _ => first,
        })
    }
}

fn days_since_1970(date: jiff::civil::Date) -> i64 {
    i64::from((date - jiff::civil::date(1970, 1, 1)).get_days())
}

impl fmt::Display for PartialDate {
    /// ISO 8601: `1961`, `1961-04` or `1961-04-30`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = format!("{:04}", self.year);
        for part in [self.month, self.day].into_iter().flatten() {
            text.push_str(&format!("-{part:02}"));
        }
        f.pad(&text)
    }
}

impl FromStr for PartialDate {
    type Err = NotATime;

    fn from_str(text: &str) -> Result<PartialDate, NotATime> {
        let parts: Vec<&str> = text.split('-').collect();
        let two = |part: &&str| digits(part, 2).and_then(|value| u8::try_from(value).map_err(|_| NotATime));
        let year = i16::try_from(digits(parts[0], 4)?).map_err(|_| NotATime)?;
        match &parts[1..] {
            [] => PartialDate::new(year, None, None),
            [month] => PartialDate::new(year, Some(two(month)?), None),
            [month, day] => PartialDate::new(year, Some(two(month)?), Some(two(day)?)),
            _ => Err(NotATime),
        }
    }
}

/// A time of day known to the hour, the minute, the second or a fraction of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct TimeOfDay {
    hour: u8,
    minute: Option<u8>,
    second: Option<u8>,
    fraction: Option<Exact>,
}

impl TimeOfDay {
    /// A time from 00:00 to 23:59:59.999…; each part needs the one before it, the fraction is at least 0 and
    /// below 1 second and a finite decimal.
    /// # Errors
    /// [`NotATime`] for a part out of range or without the part before it.
    pub fn new(
        hour: u8,
        minute: Option<u8>,
        second: Option<u8>,
        fraction: Option<Exact>,
    ) -> Result<TimeOfDay, NotATime> {
        let gap = (second.is_some() && minute.is_none()) || (fraction.is_some() && second.is_none());
        let fraction_fits = fraction
            .is_none_or(|part| !part.is_negative() && part < Exact::ONE && part.to_short_decimal().is_some());
        if gap || hour > 23 || minute.unwrap_or(0) > 59 || second.unwrap_or(0) > 59 || !fraction_fits {
            return Err(NotATime);
        }
        Ok(TimeOfDay { hour, minute, second, fraction })
    }

    /// The hour, 0 to 23.
    #[must_use]
    pub fn hour(self) -> u8 {
        self.hour
    }

    /// The minute, 0 to 59, if known.
    #[must_use]
    pub fn minute(self) -> Option<u8> {
        self.minute
    }

    /// The second, 0 to 59, if known.
    #[must_use]
    pub fn second(self) -> Option<u8> {
        self.second
    }

    /// The fraction of the second, at least 0 and below 1, if known.
    #[must_use]
    pub fn fraction(self) -> Option<Exact> {
        self.fraction
    }
}

impl fmt::Display for TimeOfDay {
    /// `09`, `09:14`, `09:14:05` or `09:14:05.25`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = format!("{:02}", self.hour);
        for part in [self.minute, self.second].into_iter().flatten() {
            text.push_str(&format!(":{part:02}"));
        }
        if let Some(decimal) = self.fraction.and_then(Exact::to_short_decimal) {
            text.push('.');
            text.push_str(decimal.strip_prefix("0.").unwrap_or("0"));
        }
        f.pad(&text)
    }
}

impl FromStr for TimeOfDay {
    type Err = NotATime;

    fn from_str(text: &str) -> Result<TimeOfDay, NotATime> {
        let (whole, fraction) = match text.split_once('.') {
            Some((whole, fraction)) if fraction.bytes().all(|b| b.is_ascii_digit()) => {
                (whole, Some(format!("0.{fraction}").parse::<Exact>().map_err(|_| NotATime)?))
            }
            Some(_) => return Err(NotATime),
            None => (text, None),
        };
        let mut parts = [None; 3];
        for (index, part) in whole.split(':').enumerate() {
            *parts.get_mut(index).ok_or(NotATime)? =
                Some(u8::try_from(digits(part, 2)?).map_err(|_| NotATime)?);
        }
        TimeOfDay::new(parts[0].ok_or(NotATime)?, parts[1], parts[2], fraction)
    }
}

/// A civil date and time as stated, each part only as far as the source gives it.
///
/// Its text is ISO 8601: `2026-03-02T09:14:05.25+01:00`, `2026-03`, or `T09:14` for a time without a date.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct CivilTime {
    /// The date; a source may state a time alone.
    pub date: Option<PartialDate>,
    /// The time of day, in the source's own clock.
    pub time: Option<TimeOfDay>,
    /// Minutes east of UTC of the source's clock, -1439 to 1439; `None` where the source is silent.
    pub offset_minutes: Option<i16>,
}

impl CivilTime {
    /// Whether nothing is stated.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == CivilTime::default()
    }

    /// Whole seconds from 1970-01-01T00:00:00 of the stated clock (of UTC where the offset is stated) to the
    /// first moment that is meant. `None` without a date.
    #[must_use]
    pub fn seconds(&self) -> Option<i64> {
        let time = self.time.map_or(0, |time| {
            i64::from(time.hour) * 3600
                + i64::from(time.minute.unwrap_or(0)) * 60
                + i64::from(time.second.unwrap_or(0))
        });
        Some(self.date?.first_day() * 86_400 + time - i64::from(self.offset_minutes.unwrap_or(0)) * 60)
    }
}

impl fmt::Display for CivilTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = self.date.map_or_else(String::new, |date| date.to_string());
        if let Some(time) = self.time {
            text.push_str(&format!("T{time}"));
        }
        if let Some(offset) = self.offset_minutes {
            let (sign, minutes) = (if offset < 0 { '-' } else { '+' }, offset.unsigned_abs());
            text.push_str(&format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60));
        }
        f.pad(&text)
    }
}

impl FromStr for CivilTime {
    type Err = NotATime;

    /// Reads what [`CivilTime`] prints, and `Z` for an offset of zero.
    fn from_str(text: &str) -> Result<CivilTime, NotATime> {
        let (text, offset_minutes) = split_offset(text)?;
        let (date, time) = text.split_once('T').map_or((text, None), |(date, time)| (date, Some(time)));
        let date = if date.is_empty() { None } else { Some(date.parse()?) };
        let time = time.map(str::parse).transpose()?;
        if date.is_none() && time.is_none() && offset_minutes.is_none() {
            return Err(NotATime);
        }
        Ok(CivilTime { date, time, offset_minutes })
    }
}

/// The text before the offset from UTC, and the offset in minutes. Without a time, a sign begins an offset only
/// where a colon follows: `2026-03-03:30` is March 2026, three and a half hours west.
fn split_offset(text: &str) -> Result<(&str, Option<i16>), NotATime> {
    if let Some(rest) = text.strip_suffix('Z') {
        return Ok((rest, Some(0)));
    }
    let after = text.find('T').unwrap_or(0);
    let colon = if text.contains('T') { text.len() } else { text.find(':').unwrap_or(0) };
    let Some(at) = text[after..colon.max(after)].rfind(['+', '-']).map(|at| after + at) else {
        return Ok((text, None));
    };
    let (hours, minutes) = text[at + 1..].split_once(':').ok_or(NotATime)?;
    let minutes = digits(hours, 2)? * 60 + digits(minutes, 2)?;
    let minutes = i16::try_from(minutes).ok().filter(|minutes| *minutes < 1440).ok_or(NotATime)?;
    Ok((&text[..at], Some(if text[at..].starts_with('-') { -minutes } else { minutes })))
}

fn digits(text: &str, count: usize) -> Result<u32, NotATime> {
    if text.len() == count && text.bytes().all(|b| b.is_ascii_digit()) {
        text.parse().map_err(|_| NotATime)
    } else {
        Err(NotATime)
    }
}

macro_rules! as_text {
    ($($kind:ty, $read:expr;)+) => {$(
        impl Serialize for $kind {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }
        impl<'de> Deserialize<'de> for $kind {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<$kind, D::Error> {
                $read(&String::deserialize(deserializer)?).map_err(de::Error::custom)
            }
        }
    )+};
}
as_text! {
    PartialDate, str::parse::<PartialDate>;
    TimeOfDay, str::parse::<TimeOfDay>;
    // The text of a time of which nothing is stated is empty.
    CivilTime, |text: &str| if text.is_empty() { Ok(CivilTime::default()) } else { text.parse() };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_printed_is_read_back() {
        for text in [
            "2026",
            "2026-03",
            "2026-03-02",
            "2026-03-02T09",
            "2026-03-02T09:14",
            "2026-03-02T09:14:05",
            "2026-03-02T09:14:05.25+01:00",
            "2026-03-02T09:14:05-03:30",
            "T13:05:00.123",
            "2026-03-02+01:00",
            "2026-03-03:30",
            "2026-12:45",
            "-03:30",
            "T09-03:30",
            "2896-02-29T00:00",
        ] {
            assert_eq!(text.parse::<CivilTime>().unwrap().to_string(), text);
        }
        assert_eq!("2026-01-01T00:00Z".parse::<CivilTime>().unwrap().offset_minutes, Some(0));
    }

    #[test]
    fn a_date_known_in_part_has_a_first_and_a_last_day() {
        for (text, first, days) in [("1972", 730, 366), ("1970-02", 31, 28), ("1971-01-02", 366, 1)] {
            let date: PartialDate = text.parse().unwrap();
            assert_eq!((date.first_day(), date.last_day()), (first, first + days - 1), "{text}");
        }
    }

    #[test]
    fn what_the_calendar_does_not_have_is_refused() {
        for text in [
            "",
            "0000-01-01",
            "2026-02-29",
            "2026-13",
            "26-01-01",
            "2026-01-01T24:00",
            "2026-01-01T10:60",
            "2026-1-1",
            "T",
            "2026-01-01T10:00+25:00",
        ] {
            assert!(text.parse::<CivilTime>().is_err(), "{text}");
        }
    }

    #[test]
    fn seconds_count_from_1970_in_the_stated_clock_or_in_utc() {
        // 2001-09-09T01:46:40Z is 10^9 s after the epoch (POSIX.1, seconds since the Epoch).
        let seconds = |text: &str| text.parse::<CivilTime>().unwrap().seconds();
        assert_eq!(seconds("2001-09-09T01:46:40Z"), Some(1_000_000_000));
        assert_eq!(seconds("2001-09-09T03:46:40+02:00"), Some(1_000_000_000));
        assert_eq!(seconds("2001-09-09T01:46:40"), Some(1_000_000_000));
        assert_eq!(seconds("T01:00"), None);
    }
}
