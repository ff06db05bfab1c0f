//! Values as the text of an info string, both directions.

use ecgkeep_recording::{
    CivilTime, Exact, Lead, MarkKind, MeasurementKind, PartialDate, Quantity, Sex, SignalUnit,
    StatementStatus, Wave,
};

use crate::keys::{MEASUREMENTS, NAMED};

/// A value as text.
pub(crate) trait AsText: Sized {
    /// What it is, for the note on a text that is not.
    const EXPECTED: &str;
    /// The text.
    fn to_text(&self) -> String;
    /// The value; `None` where the text is none.
    fn from_text(text: &str) -> Option<Self>;
}

impl AsText for String {
    const EXPECTED: &str = "a text";
    fn to_text(&self) -> String {
        self.clone()
    }
    fn from_text(text: &str) -> Option<String> {
        Some(text.to_owned())
    }
}

macro_rules! as_printed {
    ($($kind:ty = $expected:literal),+ $(,)?) => {$(
        impl AsText for $kind {
            const EXPECTED: &str = $expected;
            fn to_text(&self) -> String {
                self.to_string()
            }
            fn from_text(text: &str) -> Option<$kind> {
                text.parse().ok()
            }
        }
    )+};
}
as_printed! {
    Exact = "a number",
    PartialDate = "a date such as 1958-04-19, 1958-04 or 1958",
    CivilTime = "a date and time such as 2026-03-02T09:14:05+01:00",
    u32 = "a whole number",
    i16 = "a whole number",
    i64 = "a whole number",
}

impl AsText for Quantity {
    const EXPECTED: &str = "a number, a blank and a unit";
    fn to_text(&self) -> String {
        if self.unit.is_empty() { self.value.to_string() } else { self.to_string() }
    }
    fn from_text(text: &str) -> Option<Quantity> {
        let (value, unit) = text.split_once(' ').unwrap_or((text, ""));
        Some(Quantity { value: value.parse().ok()?, unit: unit.to_owned() })
    }
}

impl AsText for Lead {
    const EXPECTED: &str = "a lead";
    fn to_text(&self) -> String {
        self.name()
    }
    fn from_text(text: &str) -> Option<Lead> {
        Some(Lead::from_name(text))
    }
}

const SEXES: &[(Sex, &str)] = &[
    (Sex::Female, "female"),
    (Sex::Male, "male"),
    (Sex::Undifferentiated, "undifferentiated"),
    (Sex::Unknown, "unknown"),
];

impl AsText for Sex {
    const EXPECTED: &str = "female, male, undifferentiated, unknown or other and a word";
    fn to_text(&self) -> String {
        match self {
            Sex::Other(word) => format!("other {word}"),
            known => {
                SEXES.iter().find(|(sex, _)| sex == known).map_or(String::new(), |(_, word)| (*word).into())
            }
        }
    }
    fn from_text(text: &str) -> Option<Sex> {
        if let Some(word) = text.strip_prefix("other ") {
            return Some(Sex::Other(word.to_owned()));
        }
        let known = SEXES.iter().find(|(_, word)| word.eq_ignore_ascii_case(text));
        known.map(|(sex, _)| sex.clone())
    }
}

const STATUSES: &[(StatementStatus, &str)] = &[
    (StatementStatus::Unconfirmed, "unconfirmed"),
    (StatementStatus::OverRead, "over-read"),
    (StatementStatus::Confirmed, "confirmed"),
];

impl AsText for StatementStatus {
    const EXPECTED: &str = "unconfirmed, over-read or confirmed";
    fn to_text(&self) -> String {
        let found = STATUSES.iter().find(|(status, _)| status == self);
        found.map_or(String::new(), |(_, word)| (*word).into())
    }
    fn from_text(text: &str) -> Option<StatementStatus> {
        STATUSES.iter().find(|(_, word)| *word == text).map(|(status, _)| status.clone())
    }
}

impl AsText for MeasurementKind {
    const EXPECTED: &str = "the name of a measurement";
    fn to_text(&self) -> String {
        self.name().to_owned()
    }
    fn from_text(text: &str) -> Option<MeasurementKind> {
        let known = MEASUREMENTS.iter().map(|(kind, ..)| kind).chain(NAMED).find(|kind| kind.name() == text);
        Some(known.map_or_else(|| MeasurementKind::Other(text.to_owned()), MeasurementKind::clone))
    }
}

/// A signal's unit as a line spells it.
#[derive(Debug)]
pub(crate) struct Unit(pub(crate) SignalUnit);

impl AsText for Unit {
    const EXPECTED: &str = "volt, uncalibrated or other and a name";
    fn to_text(&self) -> String {
        match &self.0 {
            SignalUnit::Other(name) => format!("other {name}"),
            SignalUnit::Uncalibrated => "uncalibrated".to_owned(),
            _ => "volt".to_owned(),
        }
    }
    fn from_text(text: &str) -> Option<Unit> {
        match text {
            "volt" => Some(Unit(SignalUnit::Volt)),
            "uncalibrated" => Some(Unit(SignalUnit::Uncalibrated)),
            _ => text.strip_prefix("other ").map(|name| Unit(SignalUnit::Other(name.to_owned()))),
        }
    }
}

const WAVES: &[(Wave, &str)] =
    &[(Wave::P, "P"), (Wave::Qrs, "QRS"), (Wave::T, "T"), (Wave::U, "U"), (Wave::Unstated, "unstated")];

const MARK_KINDS: &[(MarkKind, &str)] = &[
    (MarkKind::Beat, "beat"),
    (MarkKind::PacingPulse, "pacing pulse"),
    (MarkKind::Rhythm, "rhythm"),
    (MarkKind::Quality, "quality"),
    (MarkKind::Note, "note"),
];

impl AsText for Wave {
    const EXPECTED: &str = "P, QRS, T, U, unstated or other and a name";
    fn to_text(&self) -> String {
        match self {
            Wave::Other(name) => format!("other {name}"),
            known => {
                WAVES.iter().find(|(wave, _)| wave == known).map_or(String::new(), |(_, text)| (*text).into())
            }
        }
    }
    fn from_text(text: &str) -> Option<Wave> {
        if let Some(name) = text.strip_prefix("other ") {
            return Some(Wave::Other(name.to_owned()));
        }
        WAVES.iter().find(|(_, known)| *known == text).map(|(wave, _)| wave.clone())
    }
}

impl AsText for MarkKind {
    const EXPECTED: &str =
        "beat, onset, peak or offset and a wave, pacing pulse, rhythm, quality, note, or other and a name";
    fn to_text(&self) -> String {
        match self {
            MarkKind::Onset(wave) => format!("onset {}", wave.to_text()),
            MarkKind::Peak(wave) => format!("peak {}", wave.to_text()),
            MarkKind::Offset(wave) => format!("offset {}", wave.to_text()),
            MarkKind::Other(name) => format!("other {name}"),
            known => MARK_KINDS
                .iter()
                .find(|(kind, _)| kind == known)
                .map_or(String::new(), |(_, text)| (*text).into()),
        }
    }
    fn from_text(text: &str) -> Option<MarkKind> {
        if let Some((word, rest)) = text.split_once(' ') {
            match word {
                "onset" => return Wave::from_text(rest).map(MarkKind::Onset),
                "peak" => return Wave::from_text(rest).map(MarkKind::Peak),
                "offset" => return Wave::from_text(rest).map(MarkKind::Offset),
                "other" => return Some(MarkKind::Other(rest.to_owned())),
                _ => {}
            }
        }
        MARK_KINDS.iter().find(|(_, known)| *known == text).map(|(kind, _)| kind.clone())
    }
}
