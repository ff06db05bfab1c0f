//! Values of the model in the page's words.

use ecgkeep_recording::{
    CivilTime, Coded, Device, Exact, Filters, Identifier, Lead, Measurement, MeasurementKind, Quantity,
    Scope, Sex, Statement, StatementStatus, Subject,
};

/// What the page says where the source is silent.
pub(crate) const NOT_STATED: &str = "not stated";

/// What stands after something that the source does not say; who supplied it stands beside it.
pub(crate) const SUPPLIED: &str = "(supplied)";

/// `2026-03-02 09:14:05, UTC+01:00`, with the words that the offset is not stated where it is not.
pub(crate) fn time(time: &CivilTime) -> String {
    let mut text = match (time.date, time.time) {
        (None, None) => return NOT_STATED.to_owned(),
        (Some(date), None) => date.to_string(),
        (None, Some(time)) => format!("date not stated, {time}"),
        (Some(date), Some(time)) => format!("{date} {time}"),
    };
    match time.offset_minutes {
        _ if time.time.is_none() => text.push_str(", time of day not stated"),
        None => text.push_str(", offset not stated"),
        Some(offset) => {
            let (sign, minutes) = (if offset < 0 { '−' } else { '+' }, offset.unsigned_abs());
            text.push_str(&format!(", UTC{sign}{:02}:{:02}", minutes / 60, minutes % 60));
        }
    }
    text
}

/// `2026-03-02 09:14`, without a word on the offset: for what was done with the recording later.
pub(crate) fn brief_time(time: &CivilTime) -> String {
    if time.is_empty() { "time not stated".to_owned() } else { time.to_string().replacen('T', " ", 1) }
}

/// A number of the model: a decimal, rounded where the exact one is long and then marked so.
pub(crate) fn number(value: Exact) -> String {
    match value.to_decimal(3) {
        Some((text, true)) => text,
        Some((text, false)) => format!("about {text}"),
        None => value.to_string(),
    }
}

/// A value with its unit as it is read: `64 years`, `380 ms`, `-30°`.
pub(crate) fn quantity(value: Exact, unit: &str) -> String {
    let number = number(value);
    match unit {
        "a" => format!("{number} years"),
        "mo" => format!("{number} months"),
        "wk" => format!("{number} weeks"),
        "d" => format!("{number} days"),
        "deg" => format!("{number}°"),
        "uV" => format!("{number} µV"),
        "us" => format!("{number} µs"),
        "mm[Hg]" => format!("{number} mmHg"),
        other => format!("{number} {other}"),
    }
}

/// A lead's name with a true minus sign where it is drawn with its sign changed.
pub(crate) fn lead(lead: &Lead) -> String {
    match lead {
        Lead::NegativeAVR => "−aVR".to_owned(),
        other => other.name(),
    }
}

/// A sentence of the checks with microvolts written as everywhere on the page.
pub(crate) fn with_micro(text: &str) -> String {
    let mut pieces = text.split(" uV");
    let mut written = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        let is_quantity = written.ends_with(|before: char| before.is_ascii_digit());
        written.push_str(if is_quantity { " µV" } else { " uV" });
        written.push_str(piece);
    }
    written
}

/// Age as stated.
pub(crate) fn age(age: &Quantity) -> String {
    format!("age {} as stated", quantity(age.value, &age.unit))
}

/// Sex as recorded.
pub(crate) fn sex(sex: &Sex) -> String {
    match sex {
        Sex::Female => "female".to_owned(),
        Sex::Male => "male".to_owned(),
        Sex::Undifferentiated => "sex undifferentiated".to_owned(),
        Sex::Unknown => "sex unknown".to_owned(),
        Sex::Other(word) => format!("sex {word}"),
        _ => "sex stated in a way not known here".to_owned(),
    }
}

/// Family name first where the source keeps the parts apart: it is what a folder is sorted by.
pub(crate) fn name(subject: &Subject) -> String {
    let name = &subject.name;
    let (Some(family), None) = (&name.family, &name.text) else { return name.line() };
    let join = |parts: &[&Option<String>]| {
        parts.iter().filter_map(|part| part.as_deref()).collect::<Vec<_>>().join(" ")
    };
    let before = join(&[&Some(family.clone()), &name.second_family]);
    let after = join(&[&name.prefix, &name.given, &name.middle, &name.suffix]);
    if after.is_empty() { before } else { format!("{before}, {after}") }
}

/// `4711-0815 (Larkmoor)`, with what kind of identifier it is where the source says.
pub(crate) fn identifier(identifier: &Identifier) -> String {
    let kind = identifier.kind.as_deref().unwrap_or("ID");
    match &identifier.assigner {
        Some(assigner) => format!("{kind} {} ({assigner})", identifier.value),
        None => format!("{kind} {}", identifier.value),
    }
}

/// Text and codes of something coded.
pub(crate) fn coded(coded: &Coded) -> String {
    let codes = coded.codes.iter().map(|code| match (&code.meaning, &coded.text) {
        (Some(meaning), None) => format!("{meaning} [{}]", code.value),
        _ => format!("[{}]", code.value),
    });
    coded.text.iter().map(|text| one_line(text)).chain(codes).collect::<Vec<_>>().join(" ")
}

/// A text of several lines on one.
pub(crate) fn one_line(text: &str) -> String {
    text.lines().map(str::trim).filter(|line| !line.is_empty()).collect::<Vec<_>>().join(" / ")
}

/// A device on one line.
pub(crate) fn device(device: &Device) -> String {
    let mut parts: Vec<String> =
        [&device.manufacturer, &device.model].into_iter().flatten().cloned().collect();
    for (what, value) in [("serial", &device.serial), ("software", &device.software), ("id", &device.id)] {
        parts.extend(value.iter().map(|value| format!("{what} {value}")));
    }
    parts.join(", ")
}

/// The filters that the source declares.
pub(crate) fn filters(filters: &Filters) -> String {
    let mut parts = Vec::new();
    parts.extend(filters.high_pass_hz.map(|hertz| format!("high-pass {} Hz", number(hertz))));
    parts.extend(filters.low_pass_hz.map(|hertz| format!("low-pass {} Hz", number(hertz))));
    parts.extend(filters.notch_hz.iter().map(|hertz| format!("notch {} Hz", number(*hertz))));
    parts.extend(filters.described.iter().map(|text| one_line(text)));
    if parts.is_empty() { NOT_STATED.to_owned() } else { parts.join(", ") }
}

/// `QTc 412 ms (Bazett)`.
pub(crate) fn measurement(measurement: &Measurement) -> String {
    let kind = match &measurement.kind {
        MeasurementKind::HeartRate => "rate",
        other => other.name(),
    };
    let scope = match &measurement.scope {
        Scope::Global => String::new(),
        Scope::Lead(lead) => format!(" in {lead}"),
        Scope::Beat(beat) => format!(" of beat {}", u64::from(*beat) + 1),
        Scope::BeatClass(class) => format!(" of beat class {}", u64::from(*class) + 1),
        _ => " of a part not known here".to_owned(),
    };
    let formula = measurement.formula.as_ref().map_or_else(String::new, |formula| format!(" ({formula})"));
    format!("{kind}{scope} {}{formula}", quantity(measurement.value, &measurement.unit))
}

/// How far a statement has been confirmed, as the source says, never inferred.
pub(crate) fn status(statement: &Statement) -> String {
    let status = match &statement.status {
        None => "status not stated",
        Some(StatementStatus::Unconfirmed) => "unconfirmed",
        Some(StatementStatus::OverRead) => "over-read, not confirmed",
        Some(StatementStatus::Confirmed) => "confirmed",
        Some(_) => "status not known here",
    };
    let mut text = status.to_owned();
    let author = statement.author.as_ref().map(|author| author.line()).unwrap_or_default();
    if !author.is_empty() {
        text.push_str(&format!(", {author}"));
    }
    if let Some(at) = statement.at.filter(|at| !at.is_empty()) {
        text.push_str(&format!(", {at}"));
    }
    text
}

/// `1 lead`, `3 leads`.
pub(crate) fn count(count: usize, one: &str, many: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {many}") }
}

#[cfg(test)]
mod tests {
    use ecgkeep_recording::PersonName;

    use super::*;

    #[test]
    fn a_time_says_what_it_does_not_know() {
        for (stated, words) in [
            ("2026-03-02T09:14:05+01:00", "2026-03-02 09:14:05, UTC+01:00"),
            ("2026-03-02T09:14", "2026-03-02 09:14, offset not stated"),
            ("2026-03", "2026-03, time of day not stated"),
            ("T09:14", "date not stated, 09:14, offset not stated"),
        ] {
            assert_eq!(time(&stated.parse().expect("a time")), words);
        }
        assert_eq!(time(&CivilTime::default()), "not stated");
    }

    #[test]
    fn a_family_name_comes_first_where_it_is_known_as_such() {
        let parts = PersonName {
            family: Some("Vossebelt".into()),
            given: Some("Ilse".into()),
            prefix: Some("Dr".into()),
            ..PersonName::default()
        };
        let subject = |name| Subject { name, ..Subject::default() };
        assert_eq!(name(&subject(parts)), "Vossebelt, Dr Ilse");
        assert_eq!(name(&subject(PersonName::from_text("Ilse Vossebelt"))), "Ilse Vossebelt");
    }

    #[test]
    fn units_are_written_as_they_are_read() {
        assert_eq!(quantity(64.into(), "a"), "64 years");
        assert_eq!(quantity((-30).into(), "deg"), "-30°");
        assert_eq!(quantity(405_000.into(), "us"), "405000 µs");
        assert_eq!(with_micro("150 uV (peak) in suV; limit 50 uV"), "150 µV (peak) in suV; limit 50 µV");
        assert_eq!(quantity(Exact::ratio(1, 3).expect("a third"), "mV"), "about 0.333 mV");
    }
}
