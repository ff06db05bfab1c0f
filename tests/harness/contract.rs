//! What a format promises: that its statement of losses is complete and true.

use std::collections::BTreeSet;

use ecgkeep_format::{
    Carries, Error, File, Format, Kind, Limits, Match, Memory, Options, PROBE_BYTES, Read, write,
};
use ecgkeep_recording::{Change, Difference, Field, Recording, differences};

/// What came of writing one recording in one format.
#[derive(Debug, Default)]
pub struct Trial {
    /// Why the format does not take the recording, where it does not.
    pub refused: Option<String>,
    /// Everything that breaks the contract.
    pub faults: Vec<String>,
    /// The fields of which the recording says anything.
    pub filled: BTreeSet<Field>,
    /// The fields that did not come back the same.
    pub lost: BTreeSet<Field>,
    /// The recording as it comes back.
    pub back: Option<Recording>,
}

/// Fields of which a standard makes its format say something, whether or not the recording does. What is said then
/// is stated as added all the same.
const OBLIGED: &[(&str, Field)] = &[
    // EN 1064:2005+A1:2007, section 8, first byte: original, confirmed or over-read; nothing stands for silence
    // (from memory of the text).
    ("scp", Field::StatementStatus),
];

/// Writes, reads back by itself, and holds what it finds against what the format said.
#[must_use]
pub fn trial(format: &dyn Format, recording: &Recording, options: &Options) -> Trial {
    let mut trial = Trial::default();
    let written = match write(format, std::slice::from_ref(recording), "r", options) {
        Ok(written) => written,
        Err(error) if error.kind() == Kind::Refused => {
            trial.refused = Some(error.to_string());
            return trial;
        }
        Err(error) => {
            trial.faults.push(format!("does not write: {error:?}"));
            return trial;
        }
    };
    let back = match read_files(format, written.files).and_then(Read::one) {
        Ok((back, _notes)) => back,
        Err(error) => {
            trial.faults.push(format!("own output is not read back: {error:?}"));
            return trial;
        }
    };
    let found = differences(recording, &back);
    let stated: Vec<Difference> = written
        .losses
        .into_iter()
        .map(|loss| Difference { field: loss.field, at: loss.at, change: loss.change })
        .collect();
    if found != stated {
        let unstated = found.iter().filter(|difference| !stated.contains(difference));
        trial.faults.extend(unstated.map(|difference| format!("not stated: {difference}")));
        let unfounded = stated.iter().filter(|difference| !found.contains(difference));
        trial.faults.extend(unfounded.map(|difference| format!("stated and not so: {difference}")));
    }
    let filled = filled(recording);
    for difference in &found {
        let field = difference.field;
        if format.carries_with(field, options) == Carries::Exact {
            trial.faults.push(format!("called exact: {difference}"));
        }
        let is_added = matches!(difference.change, Change::Added { .. });
        let is_obliged = OBLIGED.contains(&(format.about().id, field));
        if is_added && !filled.contains(&field) && !is_what_silence_says(difference) && !is_obliged {
            trial.faults.push(format!("made up: {difference}"));
        }
        trial.lost.insert(field);
    }
    // the samples of a lead that is lost are lost with it
    let of_a_lost_lead = |field: &Field| {
        let lead_lost = trial.lost.contains(&Field::Lead) || trial.lost.contains(&Field::Waveform);
        lead_lost && matches!(field, Field::Missing | Field::Voltage)
    };
    let not_carried =
        filled.iter().filter(|field| matches!(format.carries_with(**field, options), Carries::No { .. }));
    trial.faults.extend(
        not_carried
            .filter(|field| !trial.lost.contains(field) && !of_a_lost_lead(field))
            .map(|field| format!("called not carried, and came back: {field}")),
    );
    trial.filled = filled;
    trial.back = Some(back);
    trial
}

/// The fields of which a recording says anything that silence would not say as well.
#[must_use]
pub fn filled(recording: &Recording) -> BTreeSet<Field> {
    let mut filled: BTreeSet<Field> = differences(&Recording::default(), recording)
        .into_iter()
        .filter(|difference| !is_what_silence_says(difference))
        .map(|difference| difference.field)
        .collect();
    for signal in recording.waveforms.iter().flat_map(|waveform| waveform.signals()) {
        filled.extend((!signal.samples.is_empty()).then_some(Field::Voltage));
        filled.extend((!signal.missing.is_empty()).then_some(Field::Missing));
    }
    filled
}

fn is_what_silence_says(difference: &Difference) -> bool {
    let Change::Added { value } = &difference.change else { return false };
    match difference.field {
        Field::WaveformStart => value == "0 s",
        Field::SignalUnit => value == "V",
        _ => false,
    }
}

/// Fields that a format calls limited or not carried although no trial lost them.
#[must_use]
pub fn claims_without_a_loss(format: &dyn Format, trials: &[Trial]) -> Vec<String> {
    let all = Field::ALL.iter().map(|field| (*field, format.carries(*field)));
    unlost_claims(all, trials)
}

/// The same of what options leave out: the fields that they carry otherwise than the format does without them.
#[must_use]
pub fn option_claims_without_a_loss(format: &dyn Format, options: &Options, trials: &[Trial]) -> Vec<String> {
    let all = Field::ALL.iter().map(|field| (*field, format.carries_with(*field, options)));
    unlost_claims(all.filter(|(field, carries)| *carries != format.carries(*field)), trials)
}

fn unlost_claims(claims: impl Iterator<Item = (Field, Carries)>, trials: &[Trial]) -> Vec<String> {
    let unlost = claims.filter(|(field, _)| !trials.iter().any(|trial| trial.lost.contains(field)));
    unlost
        .filter_map(|(field, carries)| match carries {
            Carries::Exact => None,
            Carries::Limited { why, .. } => Some(format!("{field}: called limited ({why}), never lost")),
            Carries::No { why, .. } => Some(format!("{field}: called not carried ({why}), never lost")),
        })
        .collect()
}

/// [`trial`] on each recording and then on what came back of it, which the format is able to hold.
#[must_use]
pub fn trials_twice<'a>(
    format: &dyn Format,
    recordings: impl IntoIterator<Item = &'a Recording>,
) -> Vec<Trial> {
    let mut trials = Vec::new();
    for recording in recordings {
        let first = trial(format, recording, &Options::default());
        let second = first.back.as_ref().map(|back| trial(format, back, &Options::default()));
        trials.push(first);
        trials.extend(second);
    }
    trials
}

/// Cells of the table of what a format carries that these trials do not prove: an exact field must have come back in
/// one, a limited field must have come back in one and been lost in another, a field not carried must have been lost.
#[must_use]
pub fn unproved_cells(format: &dyn Format, trials: &[Trial]) -> Vec<String> {
    let came_back = |field: &Field| {
        let kept = |trial: &&Trial| {
            trial.back.is_some() && trial.filled.contains(field) && !trial.lost.contains(field)
        };
        trials.iter().any(|trial| kept(&trial))
    };
    let mut unproved = claims_without_a_loss(format, trials);
    for field in Field::ALL {
        let called = match format.carries(*field) {
            Carries::Exact => "exact",
            Carries::Limited { .. } => "limited",
            Carries::No { .. } => continue,
        };
        if !came_back(field) {
            unproved.push(format!("{field}: called {called}, never comes back"));
        }
    }
    unproved
}

/// The default options and, one at a time, every other value of each option.
#[must_use]
pub fn every_option(format: &dyn Format) -> Vec<Options> {
    let others = format.options().iter().flat_map(|spec| {
        let others = spec.values.iter().filter(|value| **value != spec.default);
        others.map(|value| Options::default().with(spec.name, *value))
    });
    std::iter::once(Options::default()).chain(others).collect()
}

/// Whether own files are recognised by their format for certain and by no other one.
#[must_use]
pub fn recognition_faults(formats: &[&dyn Format], own: &dyn Format, files: &[File]) -> Vec<String> {
    let Some(main) = files.last() else { return vec!["no file was made".to_owned()] };
    let head = &main.bytes[..main.bytes.len().min(PROBE_BYTES)];
    let ending = main.name.rsplit_once('.').map_or("", |(_, ending)| ending);
    let mut faults = Vec::new();
    if own.probe(&main.name, head) != Match::Certain {
        faults.push(format!("{}: {} is not recognised for certain", own.about().id, main.name));
    }
    for other in formats.iter().filter(|other| other.about().id != own.about().id) {
        let shares_the_ending = other.about().endings.contains(&ending);
        let allowed = if shares_the_ending { Match::ByName } else { Match::No };
        let sure = other.probe(&main.name, head);
        if sure > allowed {
            faults.push(format!("{}: {} is taken as its own: {sure:?}", other.about().id, main.name));
        }
    }
    faults
}

/// Reads files of which the last one is the main one.
/// # Errors
/// Those of the format's reader.
pub fn read_files(format: &dyn Format, files: Vec<File>) -> Result<Read, Error> {
    let main = files.last().map(|file| file.name.clone()).unwrap_or_default();
    format.read(&Memory::new(main, files), &Limits::default())
}
