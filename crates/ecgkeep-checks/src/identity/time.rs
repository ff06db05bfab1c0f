//! When the recording was made.

use ecgkeep_recording::{CivilTime, PartialDate};

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "identity-time",
    title: "Time of recording",
    word: "time of recording in doubt",
    rule: "Date and time of the recording must be stated, in the file or beside it, not lie in the future and not \
           before the patient's birth. No date: FAIL. In the future or before birth: FAIL. No time of day, a date \
           that a clock shows after losing its power, or an age beyond the policy's: WARN.",
    source: "project choice; the dates of a reset clock are common practice, no source",
    threshold: |policy| {
        format!(
            "at most {} h after now; age at most {} years",
            policy.future_hours_at_most, policy.age_years_at_most
        )
    },
    limits: "A clock that is wrong by less than these limits is not seen. Without a time zone the clock is taken as local.",
    what_to_do: "Compare the clock of the recording device with the right time; supply the true time beside the file.",
    judge,
};

/// What clocks show after losing their power (common practice, no source).
const RESET_DATES: [&str; 3] = ["1970-01-01", "1980-01-01", "2000-01-01"];

const SECONDS_PER_HOUR: f64 = 3600.0;

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let (start, beside) = stated_start(evidence);
    let supplied = if beside { format!(" ({})", evidence.supplied_by()) } else { String::new() };
    let Some(date) = start.date else {
        return vec![rule.finding(Verdict::Fail, "the date of the recording is not stated")];
    };
    let mut findings = Vec::new();
    if start.time.is_none() {
        let text = format!("the recording is dated {date}{supplied}, without a time of day");
        findings.push(rule.finding(Verdict::Warn, text));
    }
    findings.extend(against_now(rule, evidence, &start, &supplied));
    findings.extend(against_birth(rule, evidence, date, &supplied));
    if RESET_DATES.contains(&date.to_string().as_str()) {
        let text = format!("the recording is dated {date}{supplied}, as by a clock that lost its power");
        findings.push(rule.finding(Verdict::Warn, text));
    }
    findings
}

/// The time of recording, from the file where it states a date, else from beside it (then `true`).
fn stated_start(evidence: &Evidence) -> (CivilTime, bool) {
    let file = evidence.recording.acquisition.start;
    match evidence.filing.map(|filing| filing.acquisition.start) {
        Some(beside) if file.date.is_none() && beside.date.is_some() => {
            (CivilTime { time: file.time.or(beside.time), ..beside }, true)
        }
        _ => (file, false),
    }
}

#[expect(clippy::cast_precision_loss, reason = "hours of a calendar are far below 2^53")]
fn against_now(rule: &Rule, evidence: &Evidence, start: &CivilTime, supplied: &str) -> Option<Finding> {
    let Some(now) = evidence.now.seconds() else {
        let text =
            "whether the recording lies in the future is not assessed: the present date is not known here";
        return Some(rule.finding(Verdict::NotAssessed, text));
    };
    let limit = evidence.policy.future_hours_at_most;
    let ahead = (start.seconds()? - now) as f64 / SECONDS_PER_HOUR;
    let text = format!("the recording is dated {start}{supplied}, {ahead:.0} h after now ({})", evidence.now);
    (ahead > limit).then(|| Finding {
        measured: quantity(ahead, 1, "h"),
        threshold: quantity(limit, 1, "h"),
        ..rule.finding(Verdict::Fail, text)
    })
}

fn against_birth(rule: &Rule, evidence: &Evidence, date: PartialDate, supplied: &str) -> Option<Finding> {
    let beside = evidence.filing.and_then(|filing| filing.subject.birth_date);
    let birth = evidence.recording.subject.birth_date.or(beside)?;
    if date.last_day() < birth.first_day() {
        let text = format!("the recording is dated {date}{supplied}, before the patient's birth ({birth})");
        return Some(rule.finding(Verdict::Fail, text));
    }
    let (age, limit) = (f64::from(date.year()) - f64::from(birth.year()), evidence.policy.age_years_at_most);
    (age > limit).then(|| Finding {
        measured: quantity(age, 0, "a"),
        threshold: quantity(limit, 0, "a"),
        ..rule.finding(
            Verdict::Warn,
            format!("born {birth} and recorded {date}{supplied} the patient would be {age:.0} years old"),
        )
    })
}
