//! A retention schedule: written rules, no law built in. What no rule covers is kept.

use ecgkeep_format::{Error, Place, Result};
use ecgkeep_recording::PartialDate;
use jiff::ToSpan as _;
use jiff::civil::Date;
use serde::Deserialize;

use crate::word::Code;

/// The shape of a schedule.
pub const SCHEDULE_SCHEMA: &str = "ecgkeep-schedule/1";

/// A retention schedule as its TOML file has it (schemas/schedule.schema.json).
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Schedule {
    /// [`SCHEDULE_SCHEMA`].
    pub schema: String,
    /// What it is called.
    pub name: String,
    /// The day from which it holds; a full date.
    pub effective_from: PartialDate,
    /// Who reviewed it: a code or role.
    pub reviewed_by: String,
    /// The age at which a person is of age, in years, where a rule needs it.
    pub majority_years: Option<u16>,
    /// The rules, at least one.
    #[serde(rename = "rule")]
    pub rules: Vec<Rule>,
}

/// One rule.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Its code, which the journal holds for ever.
    pub id: String,
    /// Where the period begins.
    pub from: Trigger,
    /// Whose recordings it is for.
    #[serde(default, rename = "for")]
    pub applies_to: AppliesTo,
    /// The period: years, months and days, added up.
    #[serde(default)]
    pub years: u16,
    /// Months.
    #[serde(default)]
    pub months: u16,
    /// Days.
    #[serde(default)]
    pub days: u16,
    /// The law or policy it follows, in words.
    pub citation: String,
}

/// Where a period begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Trigger {
    /// The day of the recording.
    Recorded,
    /// The last day something was done with it: filed, corrected, viewed, handed over.
    LastActivity,
    /// The day the patient comes of age.
    Majority,
}

/// Whose recordings a rule is for, by the age on the day of the recording.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AppliesTo {
    /// Everybody's.
    #[default]
    All,
    /// Of people who were of age, or of whom that is not known.
    Adults,
    /// Of people who were not, or of whom that is not known.
    Minors,
}

/// When a recording may be destroyed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Due {
    /// After this day.
    After {
        /// The last day of the period.
        day: Date,
        /// The rule whose period ends last.
        rule: String,
    },
    /// Not at all, as things stand.
    Never {
        /// Why.
        because: String,
    },
}

impl Schedule {
    /// Reads a schedule; `name` is for errors.
    /// # Errors
    /// [`Kind::Malformed`](ecgkeep_format::Kind::Malformed) with the line, for what is no schedule, or one that a person could misread: a period of
    /// nothing, two rules of one code, a rule about coming of age without the age.
    pub fn parse(name: &str, text: &str) -> Result<Schedule> {
        let schedule: Schedule = toml::from_str(text).map_err(|error| {
            let line =
                error.span().map(|at| 1 + text[..at.start.min(text.len())].matches('\n').count() as u64);
            Error::malformed(
                Place { line, ..Place::file(name) },
                format!("not a schedule: {}", error.message()),
            )
        })?;
        match schedule.fault() {
            None => Ok(schedule),
            Some(fault) => Err(Error::malformed(Place::file(name), fault)),
        }
    }

    fn fault(&self) -> Option<String> {
        if self.schema != SCHEDULE_SCHEMA {
            return Some(format!("a schedule begins with schema = \"{SCHEDULE_SCHEMA}\""));
        }
        if self.effective_from.day().is_none() {
            return Some("effective_from is no full date".into());
        }
        if self.rules.is_empty() {
            return Some("a schedule without a rule".into());
        }
        if self.reviewed_by.parse::<Code>().is_err() {
            return Some("reviewed_by is no code: 1 to 64 of A-Z a-z 0-9 . _ @ -".into());
        }
        let mut seen = std::collections::BTreeSet::new();
        for rule in &self.rules {
            let Rule { id, from, applies_to, years, months, days, citation } = rule;
            if id.parse::<Code>().is_err() {
                return Some("the id of a rule is no code: 1 to 64 of A-Z a-z 0-9 . _ @ -".into());
            }
            if !seen.insert(id.as_str()) {
                return Some(format!("two rules are called {id}"));
            }
            if *years == 0 && *months == 0 && *days == 0 {
                return Some(format!("rule {id}: a period of nothing"));
            }
            if citation.trim().is_empty() {
                return Some(format!("rule {id}: the citation is empty: say which law or policy it follows"));
            }
            let needs_age = *from == Trigger::Majority || *applies_to != AppliesTo::All;
            if needs_age && self.majority_years.is_none() {
                return Some(format!("rule {id} needs majority_years, the age at which a person is of age"));
            }
        }
        None
    }

    /// Whether it holds on a day.
    #[must_use]
    pub fn holds_on(&self, day: Date) -> bool {
        first_day(self.effective_from).is_some_and(|from| from <= day)
    }

    /// When a recording of a patient born on a date may be destroyed: when the period of every rule
    /// that is for it has ended. Where a date that a rule needs is not known, it is kept; of a date that is known in
    /// part, the last possible day counts.
    #[must_use]
    pub fn due(&self, born: Option<PartialDate>, recorded: Option<PartialDate>, last_activity: Date) -> Due {
        let never = |because: String| Due::Never { because };
        let of_age = self.of_age(born.and_then(last_day));
        let is_adult = of_age.zip(recorded.and_then(first_day)).is_some_and(|(of_age, day)| of_age <= day);
        let is_minor = self
            .of_age(born.and_then(first_day))
            .zip(recorded.and_then(last_day))
            .is_some_and(|(of_age, day)| of_age > day);
        let mut last: Option<(Date, &Rule)> = None;
        for rule in &self.rules {
            let applies = match rule.applies_to {
                AppliesTo::All => true,
                AppliesTo::Adults => !is_minor,
                AppliesTo::Minors => !is_adult,
            };
            if !applies {
                continue;
            }
            let begins = match rule.from {
                Trigger::Recorded => {
                    recorded.and_then(last_day).ok_or("the day of the recording is not known")
                }
                Trigger::LastActivity => Ok(last_activity),
                Trigger::Majority => of_age.ok_or("the birth date is not known"),
            };
            let period = i32::from(rule.years).years().months(rule.months).days(rule.days);
            let ends = match begins {
                Ok(begins) => begins.checked_add(period),
                Err(why) => return never(format!("rule {}: {why}", rule.id)),
            };
            match ends {
                Ok(ends) if last.is_none_or(|(day, _)| day < ends) => last = Some((ends, rule)),
                Ok(_) => {}
                Err(_) => return never(format!("rule {}: its period ends beyond the calendar", rule.id)),
            }
        }
        match last {
            Some((day, rule)) => Due::After { day, rule: rule.id.clone() },
            None => never("no rule is for it".into()),
        }
    }

    /// The day on which a person born on a day comes of age.
    fn of_age(&self, born: Option<Date>) -> Option<Date> {
        born?.checked_add(i32::from(self.majority_years?).years()).ok()
    }
}

fn civil(year: i16, month: u8, day: u8) -> Option<Date> {
    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
}

/// The first day that a date may mean.
fn first_day(date: PartialDate) -> Option<Date> {
    civil(date.year(), date.month().unwrap_or(1), date.day().unwrap_or(1))
}

/// The last day that a date may mean.
fn last_day(date: PartialDate) -> Option<Date> {
    match (date.month(), date.day()) {
        (Some(month), Some(day)) => civil(date.year(), month, day),
        (Some(month), None) => civil(date.year(), month, 1).map(Date::last_of_month),
        _ => civil(date.year(), 12, 31),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = r#"
schema = "ecgkeep-schedule/1"
name = "Larkmoor, invented"
effective_from = "2026-03-01"
reviewed_by = "records-board"
majority_years = 18

[[rule]]
id = "adult-10"
for = "adults"
from = "recorded"
years = 10
citation = "invented: ten years after the recording"

[[rule]]
id = "minor-25"
for = "minors"
from = "majority"
years = 7
citation = "invented: until the age of 25"

[[rule]]
id = "used-2"
from = "last-activity"
years = 2
citation = "invented: two years after it was last used"
"#;

    fn due(born: Option<&str>, recorded: &str, last_activity: &str) -> String {
        let schedule = Schedule::parse("s.toml", TEXT).unwrap();
        let date = |text: &str| text.parse().ok();
        match schedule.due(born.and_then(date), date(recorded), last_activity.parse().unwrap()) {
            Due::After { day, rule } => format!("{day} {rule}"),
            Due::Never { because } => because,
        }
    }

    #[test]
    fn the_rule_that_ends_last_decides() {
        assert_eq!(due(Some("1971-06-19"), "2026-03-02", "2026-03-02"), "2036-03-02 adult-10");
        assert_eq!(due(Some("1971-06-19"), "2026-03-02", "2035-12-01"), "2037-12-01 used-2");
        assert_eq!(due(Some("2020-01-31"), "2026-03-02", "2026-03-02"), "2045-01-31 minor-25");
        // The day of birth on which 18 years end: of age that day, and not the day before.
        assert_eq!(due(Some("2008-03-02"), "2026-03-02", "2026-03-02"), "2036-03-02 adult-10");
        assert_eq!(due(Some("2008-03-03"), "2026-03-02", "2026-03-02"), "2033-03-03 minor-25");
        // 29 February comes of age on 28 February, the day jiff constrains it to.
        assert_eq!(due(Some("2008-02-29"), "2026-02-28", "2026-03-02"), "2036-02-28 adult-10");
    }

    #[test]
    fn what_is_not_known_keeps_the_recording() {
        assert_eq!(due(None, "2026-03-02", "2026-03-02"), "rule minor-25: the birth date is not known");
        // Without a day of recording the rules for adults and those for minors hold.
        let unknown = "rule adult-10: the day of the recording is not known";
        assert_eq!(due(Some("1971"), "", "2026-03-02"), unknown);
    }

    #[test]
    fn a_date_known_in_part_counts_as_its_last_day() {
        assert_eq!(due(Some("1971"), "2026", "2026-03-02"), "2036-12-31 adult-10");
        assert_eq!(due(Some("1971"), "2026-02", "2026-03-02"), "2036-02-28 adult-10");
    }

    #[test]
    fn a_schedule_that_could_be_misread_is_refused() {
        for (from, to, why) in [
            ("majority_years = 18", "", "needs majority_years"),
            ("years = 10", "years = 0", "a period of nothing"),
            ("used-2", "adult-10", "two rules"),
            ("2026-03-01", "2026-03", "no full date"),
            ("years = 10", "yaers = 10", "line 12"),
            ("records-board", "The Board", "reviewed_by"),
            ("ecgkeep-schedule/1", "ecgkeep-schedule/2", "begins with"),
        ] {
            let error = Schedule::parse("s.toml", &TEXT.replace(from, to)).unwrap_err().to_string();
            assert!(error.contains(why), "{error}");
        }
        let today = |text: &str| text.parse::<Date>().unwrap();
        let schedule = Schedule::parse("s.toml", TEXT).unwrap();
        assert!(schedule.holds_on(today("2026-03-01")) && !schedule.holds_on(today("2026-02-28")));
    }
}
