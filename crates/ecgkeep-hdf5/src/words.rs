//! The kinds of the model as two columns: what it is, and the name, lead or number that goes with it.
//!
//! Both directions go through the model's own form, so a kind that is added to the model is carried at once:
//! `beat` is `beat`, ``; an onset of a P wave `onset`, `p`; one of a wave of another name `onset`, `other:delta`.

#[cfg(feature = "hdf5")]
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use ecgkeep_recording::Lead;

/// What stands before a name that would be taken for something else.
const OTHER: &str = "other:";

/// The two words of a kind.
#[cfg(feature = "hdf5")]
pub(crate) fn write(kind: &impl Serialize) -> (String, String) {
    match serde_json::to_value(kind) {
        Ok(Value::String(word)) => (word, String::new()),
        Ok(Value::Object(members)) => match members.into_iter().next() {
            Some((word, inner)) => (word, inner_text(&inner)),
            None => Default::default(),
        },
        _ => Default::default(),
    }
}

#[cfg(feature = "hdf5")]
fn inner_text(inner: &Value) -> String {
    match inner {
        Value::String(name) => name.clone(),
        Value::Object(members) => {
            let mut parts = members.iter().map(|(name, value)| format!("{name}:{}", inner_text(value)));
            parts.next().unwrap_or_default()
        }
        number => number.to_string(),
    }
}

/// The kind that two words say; `None` where they say none.
pub(crate) fn read<T: DeserializeOwned>(word: &str, name: &str) -> Option<T> {
    let of = |inner: Value| Value::Object(Map::from_iter([(word.to_owned(), inner)]));
    let number = |text: &str| text.parse::<u64>().ok().map(Value::from);
    let text = |text: &str| Value::String(text.to_owned());
    let within = name.split_once(':').map(|(member, rest)| {
        let of_member = |inner: Value| of(Value::Object(Map::from_iter([(member.to_owned(), inner)])));
        [Some(of_member(text(rest))), number(rest).map(of_member)]
    });
    let plain = name.is_empty().then(|| text(word));
    let candidates = [plain, Some(of(text(name))), number(name).map(of)];
    let all = candidates.into_iter().chain(within.into_iter().flatten());
    all.flatten().find_map(|candidate| serde_json::from_value(candidate).ok())
}

/// A lead by its name, or by its own name where that would be read as another lead.
#[cfg(feature = "hdf5")]
pub(crate) fn write_lead(lead: &Lead) -> String {
    let name = lead.name();
    let is_plain = Lead::from_name(&name) == *lead && !name.is_empty() && !name.starts_with(OTHER);
    if is_plain { name } else { format!("{OTHER}{name}") }
}

/// The inverse of [`write_lead`].
pub(crate) fn read_lead(text: &str) -> Lead {
    match text.strip_prefix(OTHER) {
        Some(name) => Lead::Other(name.to_owned()),
        None => Lead::from_name(text),
    }
}

#[cfg(all(test, feature = "hdf5"))]
mod tests {
    use ecgkeep_recording::{
        MarkKind, MeasurementKind, Scope, SignalUnit, StatementStatus, Wave, WaveformKind,
    };

    use super::*;

    fn comes_back<T: Serialize + DeserializeOwned + PartialEq + std::fmt::Debug>(
        kind: T,
        words: (&str, &str),
    ) {
        let (word, name) = write(&kind);
        assert_eq!((word.as_str(), name.as_str()), words);
        assert_eq!(read::<T>(&word, &name), Some(kind));
    }

    #[test]
    fn every_kind_is_two_words() {
        comes_back(MarkKind::PacingPulse, ("pacing_pulse", ""));
        comes_back(MarkKind::Onset(Wave::P), ("onset", "p"));
        comes_back(MarkKind::Offset(Wave::Other("delta".into())), ("offset", "other:delta"));
        comes_back(MarkKind::Other("other:7".into()), ("other", "other:7"));
        comes_back(MarkKind::Other(String::new()), ("other", ""));
        comes_back(MarkKind::Peak(Wave::Other("3".into())), ("peak", "other:3"));
        comes_back(WaveformKind::Rhythm, ("rhythm", ""));
        comes_back(WaveformKind::RepresentativeBeat { class: 2 }, ("representative_beat", "class:2"));
        comes_back(WaveformKind::Other("12".into()), ("other", "12"));
        comes_back(Scope::Global, ("global", ""));
        comes_back(Scope::Lead(Lead::V1), ("lead", "V1"));
        comes_back(Scope::Beat(3), ("beat", "3"));
        comes_back(Scope::BeatClass(0), ("beat_class", "0"));
        comes_back(MeasurementKind::QtcInterval, ("qtc_interval", ""));
        comes_back(SignalUnit::Other("mm[Hg]".into()), ("other", "mm[Hg]"));
        comes_back(StatementStatus::OverRead, ("over_read", ""));
        assert_eq!(read::<MarkKind>("nothing", "x"), None);
        assert_eq!(read::<Scope>("beat", "-1"), None);
    }

    #[test]
    fn a_lead_is_never_read_as_another() {
        for lead in [Lead::AVR, Lead::Numbered(45), Lead::Other("MLII".into())] {
            assert_eq!(write_lead(&lead), lead.name());
            assert_eq!(read_lead(&write_lead(&lead)), lead);
        }
        for name in ["C1", " V1", "other:V1", "", "lead 3", "MDC_ECG_LEAD_I"] {
            let lead = Lead::Other(name.to_owned());
            assert_eq!(read_lead(&write_lead(&lead)), lead, "{name}");
        }
    }
}
