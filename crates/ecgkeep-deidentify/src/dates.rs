//! What becomes of dates.

use ecgkeep_recording::{CivilTime, PartialDate};

/// What becomes of dates.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Dates {
    /// All dates of a patient are shifted by the same number of whole days: intervals and the time of day stay.
    #[default]
    Shifted,
    /// Only the year stays.
    YearOnly,
}

impl Dates {
    /// A date; `None` where the calendar ends before it.
    pub(crate) fn date(self, date: PartialDate, days: i32) -> Option<PartialDate> {
        match self {
            Dates::Shifted => date.plus_days(days.into()),
            Dates::YearOnly => PartialDate::new(date.year(), None, None).ok(),
        }
    }

    /// A date and time; empty where the calendar ends before it.
    pub(crate) fn time(self, time: &CivilTime, days: i32) -> CivilTime {
        let CivilTime { date, time, offset_minutes } = *time;
        let moved = date.map(|date| self.date(date, days));
        match (self, moved) {
            (Dates::YearOnly, moved) => CivilTime { date: moved.flatten(), ..CivilTime::default() },
            (Dates::Shifted, Some(None)) => CivilTime::default(),
            (Dates::Shifted, moved) => CivilTime { date: moved.flatten(), time, offset_minutes },
        }
    }

    /// In words, for the remark.
    pub(crate) fn words(self) -> &'static str {
        match self {
            Dates::Shifted => "dates shifted by one offset per patient (not Safe Harbor by itself)",
            Dates::YearOnly => "dates reduced to the year",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shift_keeps_intervals_the_time_of_day_and_the_precision() {
        let shifted = |text: &str, days| Dates::Shifted.time(&text.parse().unwrap(), days).to_string();
        assert_eq!(shifted("2026-03-02T09:14:05.25+01:00", -61), "2025-12-31T09:14:05.25+01:00");
        assert_eq!(shifted("2026-03", 40), "2026-04");
        assert_eq!(shifted("2026", -1), "2025");
        assert_eq!(shifted("T09:14", 5), "T09:14");
        assert_eq!(shifted("9999-12-31T10:00", 1), "");
    }

    #[test]
    fn reduced_to_the_year_nothing_else_is_left() {
        let year = |text: &str| Dates::YearOnly.time(&text.parse().unwrap(), 7).to_string();
        assert_eq!(year("2026-03-02T09:14:05.25+01:00"), "2026");
        assert_eq!(year("T09:14+01:00"), "");
    }
}
