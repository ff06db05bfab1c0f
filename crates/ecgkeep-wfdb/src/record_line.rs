//! The record line: `name[/segments] signals [rate[/counter[(base)]] [frames [time [date]]]]` (header(5)).

use std::fmt::Write as _;
use std::str::FromStr;

use ecgkeep_format::{Note, Result};
use ecgkeep_recording::{Exact, NotExact, PartialDate, TimeOfDay};

use crate::constants::DEFAULT_RATE;
use crate::line::{Line, shown, word};

/// The first line of a header that is no comment.
#[derive(Debug, Default)]
pub(crate) struct RecordLine {
    /// The record's name.
    pub(crate) name: String,
    /// The number of segments, where it is stated.
    pub(crate) segments: Option<usize>,
    /// The number of signals.
    pub(crate) signals: usize,
    /// Frames per second; above zero.
    pub(crate) rate: Exact,
    /// The counter frequency, word for word.
    pub(crate) counter: Option<String>,
    /// The base counter value, word for word.
    pub(crate) base_counter: Option<String>,
    /// The number of frames; `None` where it is not stated or 0.
    pub(crate) frames: Option<u64>,
    /// Time of day of the first frame.
    pub(crate) time: Option<TimeOfDay>,
    /// Date of the first frame.
    pub(crate) date: Option<PartialDate>,
}

impl RecordLine {
    /// Reads the line.
    /// # Errors
    /// [`ecgkeep_format::Kind::Malformed`] with line and field.
    pub(crate) fn read(line: &Line, notes: &mut Vec<Note>) -> Result<RecordLine> {
        let (name, rest) = word(line.text).ok_or_else(|| line.malformed("the record line is empty"))?;
        let (name, segments) = read_name(line, name)?;
        let Some((signals, rest)) = word(rest) else {
            return Err(line.malformed("the record line ends before the number of signals"));
        };
        let mut record = RecordLine {
            name: name.to_owned(),
            segments,
            signals: count(line, "number of signals", signals)?,
            rate: Exact::whole(DEFAULT_RATE),
            ..RecordLine::default()
        };
        let Some((rate, rest)) = word(rest) else { return Ok(record) };
        read_rates(line, rate, &mut record)?;
        let Some((frames, rest)) = word(rest) else { return Ok(record) };
        record.frames = match count(line, "number of samples", frames)? {
            0 => None,
            frames => Some(frames),
        };
        read_moment(line, rest, &mut record, notes);
        Ok(record)
    }

    /// The line as text, without its line feed.
    pub(crate) fn to_text(&self) -> String {
        let mut text = format!("{} {} {}", self.name, self.signals, plain(self.rate));
        if let Some(counter) = &self.counter {
            let _ = write!(text, "/{counter}");
            if let Some(base) = &self.base_counter {
                let _ = write!(text, "({base})");
            }
        }
        let Some(frames) = self.frames else { return text };
        let _ = write!(text, " {frames}");
        if let Some(time) = self.time {
            let _ = write!(text, " {time}");
            if let Some((year, month, day)) = self.date.and_then(whole_date) {
                let _ = write!(text, " {day:02}/{month:02}/{year:04}");
            }
        }
        text
    }
}

/// A decimal without an exponent, exact where that is short, else the nearest floating-point number's.
pub(crate) fn plain(value: Exact) -> String {
    value.to_short_decimal().unwrap_or_else(|| value.to_f64().to_string())
}

/// Year, month and day of a date that states all three.
pub(crate) fn whole_date(date: PartialDate) -> Option<(i16, u8, u8)> {
    Some((date.year(), date.month()?, date.day()?))
}

fn read_name<'a>(line: &Line, name: &'a str) -> Result<(&'a str, Option<usize>)> {
    let (name, segments) = match name.split_once('/') {
        Some((name, segments)) => (name, Some(count(line, "number of segments", segments)?)),
        None => (name, None),
    };
    if segments == Some(0) {
        return Err(line.wrong("number of segments", "0", "1 or more"));
    }
    Ok((name, segments))
}

/// A whole number, 0 or more. What is no length in memory is read as 64 bits, to be held against the limits.
pub(crate) fn count<T: FromStr>(line: &Line, what: &str, found: &str) -> Result<T> {
    if found.is_empty() || !found.bytes().all(|b| b.is_ascii_digit()) {
        return Err(line.wrong(what, found, "a whole number"));
    }
    found.parse().map_err(|_| line.wrong(what, found, "a smaller number"))
}

/// A number that the model can hold exactly.
pub(crate) fn number(line: &Line, what: &str, found: &str) -> Result<Exact> {
    if found.contains('/') {
        return Err(line.wrong(what, found, "a decimal number"));
    }
    found.parse().map_err(|error| match error {
        NotExact::TooLong => line.wrong(what, found, "a number of at most 18 digits"),
        _ => line.wrong(what, found, "a decimal number"),
    })
}

fn read_rates(line: &Line, found: &str, record: &mut RecordLine) -> Result<()> {
    let (rate, counter) = found.split_once('/').map_or((found, None), |(rate, rest)| (rate, Some(rest)));
    record.rate = number(line, "sampling rate", rate)?;
    if record.rate <= Exact::ZERO {
        return Err(line.wrong("sampling rate", rate, "a number above 0"));
    }
    let Some(counter) = counter else { return Ok(()) };
    let (counter, base) = match counter.split_once('(') {
        Some((counter, base)) => match base.strip_suffix(')') {
            Some(base) => (counter, Some(base)),
            None => return Err(line.wrong("base counter value", base, "a number in parentheses")),
        },
        None => (counter, None),
    };
    number(line, "counter frequency", counter)?;
    if let Some(base) = base {
        number(line, "base counter value", base)?;
    }
    record.counter = Some(counter.to_owned());
    record.base_counter = base.map(str::to_owned);
    Ok(())
}

/// Base time and base date; what is not understood is noted and left out, never guessed.
fn read_moment(line: &Line, rest: &str, record: &mut RecordLine, notes: &mut Vec<Note>) {
    let Some((time, rest)) = word(rest) else { return };
    let second = word(rest);
    if let (Some(date), Some((word, _))) = (named_month(time), second)
        && let Some((time, _)) = read_time(word)
    {
        line.departure(notes, "the date stands before the time, with a named month; both were read");
        (record.date, record.time) = (Some(date), Some(time));
        return;
    }
    let Some((time, parts)) = read_time(time) else {
        line.departure(notes, format!("the base time {} is no time of day and was left out", shown(time)));
        return;
    };
    if parts < 3 {
        line.departure(notes, "the base time has fewer than three parts: read as minutes and seconds");
    }
    record.time = Some(time);
    let Some((date, rest)) = second else { return };
    match read_date(date) {
        Some(Date::Zero) if time.to_string().bytes().all(|b| matches!(b, b'0' | b':' | b'.')) => {
            line.departure(notes, "base time and date are all zero: read as not stated");
            record.time = None;
        }
        Some(Date::Zero) => line.departure(notes, "the base date is all zero: read as not stated"),
        Some(Date::Day(date)) => record.date = Some(date),
        None => {
            let text = format!("the base date {} is not DD/MM/YYYY and was left out", shown(date));
            line.departure(notes, text);
        }
    }
    if !rest.is_empty() {
        line.departure(notes, format!("the record line goes on after the date: {}", shown(rest)));
    }
}

/// `H:M:S`, or `M:S` or `S` as header(5) lets a conversion write; with the number of parts.
fn read_time(text: &str) -> Option<(TimeOfDay, usize)> {
    let (whole, fraction) = text.split_once('.').map_or((text, None), |(whole, part)| (whole, Some(part)));
    let parts: Vec<u8> = whole.split(':').map(small).collect::<Option<_>>()?;
    let (hour, minute, second) = match parts[..] {
        [hour, minute, second] => (hour, minute, second),
        [minute, second] => (0, minute, second),
        [second] => (0, 0, second),
        _ => return None,
    };
    let fraction = match fraction {
        Some(digits) if !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit()) => {
            Some(format!("0.{digits}").parse().ok()?)
        }
        Some(_) => return None,
        None => None,
    };
    TimeOfDay::new(hour, Some(minute), Some(second), fraction).ok().map(|time| (time, parts.len()))
}

/// One or two digits.
fn small(text: &str) -> Option<u8> {
    let is_number = matches!(text.len(), 1 | 2) && text.bytes().all(|b| b.is_ascii_digit());
    if is_number { text.parse().ok() } else { None }
}

enum Date {
    Day(PartialDate),
    Zero,
}

/// `DD/MM/YYYY`; a year of two digits is no year.
fn read_date(text: &str) -> Option<Date> {
    let parts: Vec<&str> = text.split('/').collect();
    let [day, month, year] = parts[..] else { return None };
    if parts.iter().all(|part| !part.is_empty() && part.bytes().all(|b| b == b'0')) {
        return Some(Date::Zero);
    }
    date(year, small(month)?, small(day)?).map(Date::Day)
}

fn date(year: &str, month: u8, day: u8) -> Option<PartialDate> {
    if year.len() != 4 || !year.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    PartialDate::new(year.parse().ok()?, Some(month), Some(day)).ok()
}

/// `15-May-2020`, as one widespread collection of headers writes it (before the time, against header(5)).
fn named_month(text: &str) -> Option<PartialDate> {
    const MONTHS: [&str; 12] =
        ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
    let mut parts = text.split('-');
    let (day, month, year) = (parts.next()?, parts.next()?, parts.next()?);
    let month = MONTHS.iter().position(|name| month.eq_ignore_ascii_case(name))?;
    if parts.next().is_some() {
        return None;
    }
    date(year, u8::try_from(month + 1).ok()?, small(day)?)
}
