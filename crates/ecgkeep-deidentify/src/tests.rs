use std::collections::BTreeSet;

use ecgkeep_demo::{Spec, every_field, recording};
use ecgkeep_recording::{Change, Field, Recording, WaveformKind, differences};

use super::*;

fn alias() -> Alias {
    Alias { pseudonym: "p0123456789abcdef".to_owned(), days: -61 }
}

fn method(dates: Dates) -> Method<'static> {
    Method { dates, pseudonyms: "random, kept in a table apart", program: "ecgkeep test" }
}

/// [`every_field`] with a known name in place of the source's own where a waveform or signal has one, so that what
/// differs is what the rules say of the rest.
fn with_usual_names() -> Recording {
    let mut recording = every_field();
    recording.waveforms.retain(|waveform| !matches!(waveform.kind, WaveformKind::Other(_)));
    recording
}

#[test]
fn what_becomes_of_each_field_is_what_its_rule_says() {
    let source = with_usual_names();
    for dates in [Dates::Shifted, Dates::YearOnly] {
        let result = deidentify(&source, &alias(), &method(dates)).recording;
        let found = differences(&source, &result);
        for field in Field::ALL {
            let changes: Vec<&Change> =
                found.iter().filter(|one| one.field == *field).map(|one| &one.change).collect();
            let only_lost = changes.iter().all(|change| matches!(change, Change::Lost { .. }));
            let is_so = match rule(*field).action {
                Action::Keep => changes.is_empty(),
                Action::Remove => only_lost && !filled(&result).contains(field),
                Action::Replace => changes.iter().any(|change| matches!(change, Change::Changed { .. })),
                Action::Date if dates == Dates::YearOnly => !changes.is_empty(),
                Action::Date => {
                    let is_date = matches!(field, Field::BirthDate | Field::StartDate);
                    is_date == changes.iter().any(|change| matches!(change, Change::Changed { .. }))
                }
                Action::Clean => true,
            };
            assert!(is_so, "{field}, {:?}, {dates:?}: {changes:?}", rule(*field).action);
        }
    }
}

fn filled(recording: &Recording) -> BTreeSet<Field> {
    differences(&Recording::default(), recording).into_iter().map(|difference| difference.field).collect()
}

#[test]
fn samples_are_untouched() {
    for source in [recording(&Spec::default()).recording, with_usual_names()] {
        let result = deidentify(&source, &alias(), &method(Dates::Shifted)).recording;
        assert_eq!(result.fingerprint(), source.fingerprint());
    }
    // names of the source's own go; the voltages under the new ones are the same
    let (source, result) =
        (every_field(), deidentify(&every_field(), &alias(), &method(Dates::Shifted)).recording);
    for (before, after) in source.waveforms.iter().zip(&result.waveforms) {
        for (before, after) in before.signals().iter().zip(after.signals()) {
            let voltages =
                |signal: &ecgkeep_recording::Signal| (0..16).map(|at| signal.nanovolts(at)).collect();
            let (before, after): (Vec<_>, Vec<_>) = (voltages(before), voltages(after));
            assert_eq!(before, after);
        }
    }
}

#[test]
fn names_of_the_source_s_own_are_replaced_everywhere_by_the_same() {
    let mut source = every_field();
    let own = ecgkeep_recording::Lead::Other("Room 3, bed 2".to_owned());
    source.waveforms[2].marks = vec![ecgkeep_recording::Mark {
        lead: Some(own.clone()),
        ..ecgkeep_recording::Mark::new(0, ecgkeep_recording::MarkKind::Note)
    }];
    source.measurements[6].scope = ecgkeep_recording::Scope::Lead(own);
    let result = deidentify(&source, &alias(), &method(Dates::Shifted)).recording;
    assert_eq!(result.waveforms[2].kind, WaveformKind::Other("waveform 1".to_owned()));
    let lead = result.waveforms[2].marks[0].lead.clone().unwrap();
    assert_eq!(lead.name(), "signal 1");
    assert!(result.measurements.iter().any(|one| one.scope == ecgkeep_recording::Scope::Lead(lead.clone())));
}

#[test]
fn what_was_done_is_counted_without_a_value() {
    let done = deidentify(&every_field(), &alias(), &method(Dates::Shifted));
    let lines: Vec<String> = done.taken.iter().map(ToString::to_string).collect();
    assert!(lines.contains(&"patient name: removed (6)".to_owned()), "{lines:?}");
    let text = lines.join("\n");
    for value in ["Quintanel", "LM-204417", "Larkmoor", "FW-00718", "2026"] {
        assert!(!text.contains(value), "{value}: {text}");
    }
    assert_eq!(done.recording.acquisition.remarks.len(), 1);
    assert!(done.recording.acquisition.remarks[0].contains("one offset per patient"));
    assert_eq!(stated_method(&done.recording), Some(done.recording.acquisition.remarks[0].as_str()));
    assert_eq!(stated_method(&Recording::default()), None);
}

#[test]
fn doing_it_again_changes_nothing_but_the_dates() {
    let once = deidentify(&every_field(), &alias(), &method(Dates::YearOnly)).recording;
    let twice = deidentify(&once, &alias(), &method(Dates::YearOnly)).recording;
    assert_eq!(differences(&once, &twice), []);
}
