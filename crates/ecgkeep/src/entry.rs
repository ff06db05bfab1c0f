//! The entry of a recording that has been read and checked.

use ecgkeep_archive::{Amends, ENTRY_SCHEMA, Entry, EntryChecks, EntryFile, Patient, Urgency, sha256};
use ecgkeep_checks::{Assessment, Verdict};
use ecgkeep_recording::{Acquisition, CivilTime, Coded, Device, Filing, Recording, Sex};

use crate::input::Opened;

/// Identity of the patient: what the source says, the filing where the source is silent.
#[must_use]
pub fn patient(recording: &Recording, filing: Option<&Filing>) -> Patient {
    let (source, beside) = (&recording.subject, filing.map(|filing| &filing.subject));
    let identifiers = match beside {
        Some(beside) if source.identifiers.is_empty() => beside.identifiers.clone(),
        _ => source.identifiers.clone(),
    };
    let name = if source.name.is_empty() { beside.map(|beside| &beside.name) } else { Some(&source.name) };
    let birth_date = source.birth_date.or(beside.and_then(|beside| beside.birth_date));
    let sex = source.sex.as_ref().or(beside.and_then(|beside| beside.sex.as_ref()));
    Patient {
        identifiers,
        name: name.map(|name| name.line()).filter(|line| !line.is_empty()),
        birth_date: birth_date.map(|date| date.to_string()),
        sex: sex.map(|sex| sex_word(sex).to_owned()),
    }
}

/// When the first sample was taken: what the source says, the filing where the source is silent.
#[must_use]
pub fn start(recording: &Recording, filing: Option<&Filing>) -> CivilTime {
    match filing {
        Some(filing) if recording.acquisition.start.is_empty() => filing.acquisition.start,
        _ => recording.acquisition.start,
    }
}

/// The operators, a line each: what the source says, the filing where the source is silent.
#[must_use]
pub fn operators(recording: &Recording, filing: Option<&Filing>) -> Vec<String> {
    let operators = match filing {
        Some(filing) if recording.acquisition.operators.is_empty() => &filing.acquisition.operators,
        _ => &recording.acquisition.operators,
    };
    operators.iter().map(|person| person.line()).collect()
}

fn sex_word(sex: &Sex) -> &str {
    match sex {
        Sex::Female => "female",
        Sex::Male => "male",
        Sex::Undifferentiated => "undifferentiated",
        Sex::Other(word) => word,
        _ => "unknown",
    }
}

/// A device on one line: manufacturer, model, serial number.
fn device_line(device: &Device) -> Option<String> {
    let parts = [&device.manufacturer, &device.model, &device.serial, &device.id];
    let line = parts.into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join(", ");
    (!line.is_empty()).then_some(line)
}

/// The most urgent rank (EN 1064:2005+A1:2007, section 1, tag 24: 0 routine, 1 to 10 rising urgency).
const MOST_URGENT: u8 = 10;

/// The rank of an urgency that is neither a number nor a word of [`URGENCIES`]: not to be taken for routine.
const UNKNOWN_URGENCY: u8 = 5;

/// Words for urgency and their rank (common practice, no source).
const URGENCIES: &[(&str, u8)] = &[
    ("routine", 0),
    ("elective", 0),
    ("normal", 0),
    ("asap", 5),
    ("urgent", 7),
    ("emergency", 9),
    ("immediate", 10),
    ("stat", 10),
];

/// How urgent, from a number of 0 to 10 or a word.
fn urgency(coded: &Coded) -> Option<Urgency> {
    if coded.is_empty() {
        return None;
    }
    let codes = coded.codes.iter().map(|code| code.value.as_str());
    let said: Vec<&str> = coded.text.as_deref().into_iter().chain(codes).collect();
    let rank_of = |word: &&str| {
        let word = word.trim().to_lowercase();
        let named = URGENCIES.iter().find(|(name, _)| *name == word).map(|(_, rank)| *rank);
        named.or_else(|| word.parse().ok().filter(|rank| *rank <= MOST_URGENT))
    };
    let rank = said.iter().filter_map(rank_of).max().unwrap_or(UNKNOWN_URGENCY);
    Some(Urgency { text: said.first().copied().unwrap_or_default().to_owned(), rank })
}

/// What is being sealed besides the source: which revision, by which program, when.
pub(crate) struct Revision<'a> {
    pub(crate) number: u32,
    pub(crate) amends: Option<&'a Amends>,
    pub(crate) program: &'a str,
    pub(crate) at: CivilTime,
    /// Why it is no patient's, where it is none.
    pub(crate) test_recording: Option<String>,
}

/// The entry of a source that has been read and checked; `stored_as` gives each file's name in the bundle.
pub(crate) fn entry_of(
    opened: &Opened,
    recording: &Recording,
    filing: Option<&Filing>,
    assessment: &Assessment,
    stored_as: &[(String, String)],
    revision: &Revision<'_>,
) -> Entry {
    let (source, beside) = (&recording.acquisition, filing.map(|filing| &filing.acquisition));
    let or_beside = |own: &Option<String>, other: fn(&Acquisition) -> &Option<String>| {
        own.clone().or_else(|| beside.and_then(|beside| other(beside).clone()))
    };
    let stored = |name: &str| {
        stored_as
            .iter()
            .find(|(original, _)| original == name)
            .map_or_else(String::new, |(_, safe)| safe.clone())
    };
    let codes = |verdict: Verdict| {
        let found = assessment.findings.iter().filter(|finding| finding.verdict == verdict);
        found.map(|finding| finding.code.to_owned()).collect()
    };
    let rhythm = recording.rhythm().next();
    Entry {
        schema: ENTRY_SCHEMA.to_owned(),
        key: opened.key(),
        revision: revision.number,
        amends: revision.amends.cloned(),
        program: revision.program.to_owned(),
        sealed_at: revision.at,
        format: opened.format.about().id.to_owned(),
        edition: recording.origin.version.clone(),
        main: opened.main.clone(),
        files: opened
            .files
            .iter()
            .map(|file| EntryFile {
                name: file.name.clone(),
                stored_as: stored(&file.name),
                bytes: file.bytes.len() as u64,
                sha256: sha256(&file.bytes),
            })
            .collect(),
        patient: patient(recording, filing),
        start: start(recording, filing),
        operators: operators(recording, filing),
        order_number: or_beside(&source.order_number, |beside| &beside.order_number),
        sequence_number: or_beside(&source.sequence_number, |beside| &beside.sequence_number),
        device: device_line(&source.recorder)
            .or_else(|| beside.and_then(|beside| device_line(&beside.recorder))),
        urgency: source
            .urgency
            .as_ref()
            .and_then(urgency)
            .or_else(|| beside.and_then(|beside| beside.urgency.as_ref().and_then(urgency))),
        leads: recording
            .rhythm()
            .flat_map(|waveform| waveform.signals())
            .map(|signal| signal.lead.name())
            .collect(),
        rate: rhythm.map(|waveform| waveform.rate().to_string()),
        seconds: rhythm.map(|waveform| waveform.seconds().to_string()),
        fingerprint: recording.fingerprint().to_string(),
        damaged: opened.read.is_damaged(),
        test_recording: revision.test_recording.clone(),
        unidentified: assessment.unidentified,
        checks: EntryChecks {
            policy: format!("{} {}", assessment.policy, assessment.policy_version),
            headline: assessment.headline(),
            fails: codes(Verdict::Fail),
            warns: codes(Verdict::Warn),
        },
        supplied_by: filing.map(|filing| filing.supplied_by.line()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_urgency_is_ranked_by_number_or_word_and_an_unknown_one_is_not_routine() {
        let rank = |text: &str| urgency(&Coded::from_text(text)).map(|urgency| urgency.rank);
        assert_eq!(rank("Routine"), Some(0));
        assert_eq!(rank("7"), Some(7));
        assert_eq!(rank("STAT"), Some(10));
        assert_eq!(rank("11"), Some(UNKNOWN_URGENCY));
        assert_eq!(rank("as the ward said"), Some(UNKNOWN_URGENCY));
        assert_eq!(urgency(&Coded::default()), None);
    }
}
