//! The bars that must hold on real recordings, where they are there: `../shared/recordings` beside the repository.

use std::path::{Path, PathBuf};

use ecgkeep_checks::{Policy, Verdict, rhythm, run};
use ecgkeep_recording::CivilTime;

#[path = "../../examples/validate/annotations.rs"]
mod annotations;
#[path = "../../examples/validate/csv.rs"]
mod csv;
#[path = "../../examples/validate/sets.rs"]
mod sets;

use sets::Sets;

/// The sets, or `None` with a line that says what was skipped.
fn sets(what: &str) -> Option<Sets> {
    let folder: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/recordings");
    if !folder.exists() {
        println!("skipped: {what}: ../shared/recordings is not here");
        return None;
    }
    Some(Sets::read(&folder).expect("the recordings are whole"))
}

/// ANSI/AAMI EC57: a detection within 150 ms of the reference matches (from memory).
const WINDOW_SECONDS: f64 = 0.150;

#[test]
fn beats_agree_with_the_experts_of_ludb_and_mit_bih() {
    let Some(sets) = sets("beats against expert marks") else { return };
    let (mut marked, mut found, mut extra) = (0, 0, 0);
    let records = sets.ludb.iter().map(|record| (record, "ii")).chain([(&sets.mitbih, "atr")]);
    for (record, ending) in records {
        let marks = annotations::beats(&record.path.with_extension(ending)).expect("marks");
        let figures = rhythm(&record.recording).expect("beats");
        let rate = record.recording.waveforms[figures.waveform].rate().per_second().to_f64();
        let near = |a: usize, b: usize| a.abs_diff(b) as f64 <= WINDOW_SECONDS * rate;
        let (first, last) = (marks[0], marks[marks.len() - 1]);
        marked += marks.len();
        found += marks.iter().filter(|mark| figures.beats.iter().any(|beat| near(**mark, *beat))).count();
        let between = figures.beats.iter().filter(|beat| (first..=last).contains(beat));
        extra += between.filter(|beat| !marks.iter().any(|mark| near(*mark, **beat))).count();
    }
    assert!(marked > 2400, "{marked} beats are marked");
    assert!(found as f64 >= 0.995 * marked as f64, "{found} of {marked}");
    assert!(extra as f64 <= 0.005 * marked as f64, "{extra} beats that no expert marked");
}

#[test]
fn the_relations_hold_for_ptb_xl_and_ptb_and_the_steps_of_ludb_contradict_each_other() {
    let Some(sets) = sets("lead relations") else { return };
    let judged = |record: &sets::Record| {
        let answer = run(&record.recording, None, &Policy::default(), &CivilTime::default());
        let findings = answer.findings.into_iter();
        findings.filter(|finding| ["einthoven", "goldberger"].contains(&finding.code)).collect::<Vec<_>>()
    };
    for record in sets.ptbxl.iter().chain([&sets.ptb]) {
        assert_eq!(judged(record), [], "{}", record.name);
    }
    for record in &sets.ludb {
        let findings = judged(record);
        assert_eq!(findings.len(), 4, "{}", record.name);
        for finding in findings {
            assert!(finding.text.contains("contradict each other"), "{}: {}", record.name, finding.text);
        }
    }
}

#[test]
fn no_real_recording_is_taken_for_one_with_exchanged_cables() {
    let Some(sets) = sets("false alerts of the cable rules") else { return };
    for record in sets.twelve_leads() {
        let answer = run(&record.recording, None, &Policy::default(), &CivilTime::default());
        let alerts = answer
            .findings
            .iter()
            .filter(|finding| finding.code.starts_with("cable-") && finding.verdict >= Verdict::Warn);
        let texts: Vec<&str> = alerts.map(|finding| finding.text.as_str()).collect();
        assert!(texts.is_empty(), "{}: {texts:?}", record.name);
    }
}

#[test]
fn drift_that_a_technician_of_ptb_xl_noted_is_found() {
    let Some(sets) = sets("baseline drift") else { return };
    let noted =
        sets.ptbxl.iter().filter(|record| record.quality.iter().any(|(label, _)| *label == "baseline_drift"));
    let mut count = 0;
    for record in noted {
        count += 1;
        let answer = run(&record.recording, None, &Policy::default(), &CivilTime::default());
        assert!(answer.findings.iter().any(|finding| finding.code == "baseline-wander"), "{}", record.name);
    }
    assert_eq!(count, 3);
}

#[test]
fn the_one_step_among_the_real_recordings_is_found_and_no_other() {
    let Some(sets) = sets("steps of the baseline") else { return };
    let mut found = Vec::new();
    for record in sets.twelve_leads() {
        let answer = run(&record.recording, None, &Policy::default(), &CivilTime::default());
        let steps = answer.findings.into_iter().filter(|finding| finding.code == "baseline-step");
        found.extend(steps.map(|finding| (record.name.clone(), finding.places[0].clone())));
    }
    // Looked at: at 1.3 s the baseline of V4 jumps by about 1 mV, and comes back at 6.9 s.
    let [(name, place)] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!((name.as_str(), place.lead.name().as_str()), ("ptbxl 17", "V4"));
}
