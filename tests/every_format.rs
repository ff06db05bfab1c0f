//! The signature test: whatever a format writes comes back exactly, or the difference was stated. And what a
//! reader must do with damaged bytes. Every format of the list is tried; a new one is tried by being listed.

use ecgkeep::FORMATS;
use ecgkeep_format::{File, Format, Options, write};
use ecgkeep_recording::Field;
use ecgkeep_tests::contract::{
    Trial, every_option, option_claims_without_a_loss, recognition_faults, trial, trials_twice,
    unproved_cells,
};
use ecgkeep_tests::corpus::{Named, all, plain};
use ecgkeep_tests::damage::{cut_faults, mutation_faults};
use ecgkeep_tests::files::{demonstration, good_fixtures, writing};

/// What a format makes of the plain recordings that it takes with these options.
fn files_of_plain(format: &dyn Format, options: &Options) -> Vec<Vec<File>> {
    let recordings = plain();
    let written = recordings
        .iter()
        .map(|named| write(format, std::slice::from_ref(&named.recording), "r", options))
        .filter_map(Result::ok);
    written.map(|written| written.files).collect()
}

#[test]
fn every_difference_is_stated_and_nothing_is_made_up() {
    let (mut faults, demonstration) = (Vec::new(), demonstration());
    for format in writing() {
        for options in every_option(format) {
            let trials: Vec<(String, Trial)> = all()
                .iter()
                .chain(&demonstration)
                .map(|Named { name, recording }| (name.clone(), trial(format, recording, &options)))
                .collect();
            for (name, trial) in trials {
                let id = format.about().id;
                faults.extend(trial.faults.iter().map(|fault| format!("{id} {options:?}, {name}: {fault}")));
                if let (Some(why), true) = (trial.refused, options == Options::default()) {
                    println!("{id}: refuses {name}: {why}");
                }
            }
        }
    }
    none(&faults);
}

#[test]
fn the_samples_of_plain_recordings_come_back_in_every_format_and_option() {
    let mut faults = Vec::new();
    for format in writing() {
        for options in every_option(format) {
            let mut taken = 0;
            for Named { name, recording } in plain() {
                let what = format!("{} {options:?}, {name}", format.about().id);
                let Trial { back, refused, .. } = trial(format, &recording, &options);
                match refused {
                    // an option may be too narrow for a recording, what is done without being asked may not
                    Some(why) if options == Options::default() => faults.push(format!("{what}: {why}")),
                    Some(_) => {}
                    None => {
                        taken += 1;
                        if back.is_none_or(|back| back.fingerprint() != recording.fingerprint()) {
                            faults.push(format!("{what}: other samples"));
                        }
                    }
                }
            }
            if taken == 0 {
                faults.push(format!("{} {options:?}: takes none", format.about().id));
            }
        }
    }
    none(&faults);
}

#[test]
fn what_one_format_gives_back_the_others_write_as_truly() {
    let mut faults = Vec::new();
    for first in writing() {
        for Named { name, recording } in all().into_iter().chain(demonstration()) {
            let Some(back) = trial(first, &recording, &Options::default()).back else { continue };
            for second in writing() {
                let ids = format!("{} then {}", first.about().id, second.about().id);
                let again = trial(second, &back, &Options::default());
                faults.extend(again.faults.iter().map(|fault| format!("{ids}, {name}: {fault}")));
                if first.about().id == second.about().id {
                    let lost = again.lost.iter().map(|field| format!("{ids}, {name}: {field} drifts"));
                    faults.extend(lost);
                }
            }
        }
    }
    none(&faults);
}

#[test]
fn every_cell_of_the_table_of_what_is_carried_is_proved() {
    let mut faults = Vec::new();
    for format in writing() {
        let tried: Vec<Named> = all().into_iter().chain(good_fixtures(format)).collect();
        let trials = trials_twice(format, tried.iter().map(|named| &named.recording));
        let cells = unproved_cells(format, &trials);
        faults.extend(cells.into_iter().map(|cell| format!("{}: {cell}", format.about().id)));
    }
    none(&faults);
}

#[test]
fn what_an_option_leaves_out_is_lost_in_some_recording() {
    let mut faults = Vec::new();
    for format in writing() {
        for options in every_option(format) {
            let leaves_out = |field| format.carries_with(field, &options) != format.carries(field);
            if !Field::ALL.iter().any(|field| leaves_out(*field)) {
                continue;
            }
            let trials: Vec<Trial> =
                all().iter().map(|named| trial(format, &named.recording, &options)).collect();
            let claims = option_claims_without_a_loss(format, &options, &trials);
            faults.extend(
                claims.into_iter().map(|claim| format!("{} {options:?}: {claim}", format.about().id)),
            );
        }
    }
    none(&faults);
}

#[test]
fn each_format_recognises_its_own_files_and_no_other() {
    let mut faults = Vec::new();
    for format in writing() {
        for options in every_option(format) {
            for files in files_of_plain(format, &options) {
                faults.extend(recognition_faults(FORMATS, format, &files));
            }
        }
    }
    none(&faults);
}

#[test]
fn own_output_cut_anywhere_is_noticed() {
    let mut faults = Vec::new();
    for format in writing() {
        for options in every_option(format) {
            let files = files_of_plain(format, &options).swap_remove(0);
            let cut = cut_faults(format, &files);
            faults.extend(cut.into_iter().map(|fault| format!("{}: {fault}", format.about().id)));
        }
    }
    none(&faults);
}

#[test]
fn own_output_with_any_byte_changed_never_panics() {
    let mut faults = Vec::new();
    for format in writing() {
        for options in every_option(format) {
            let files = files_of_plain(format, &options).swap_remove(0);
            let changed = mutation_faults(format, &files);
            faults.extend(changed.into_iter().map(|fault| format!("{}: {fault}", format.about().id)));
        }
    }
    none(&faults);
}

/// Faults that are shown of many.
const SHOWN: usize = 40;

fn none(faults: &[String]) {
    let shown = faults.iter().take(SHOWN).map(String::as_str).collect::<Vec<_>>().join("\n");
    assert!(faults.is_empty(), "{} faults:\n{shown}", faults.len());
}
