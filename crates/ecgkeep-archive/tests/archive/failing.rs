//! Errors of the storage at every single operation: a clean refusal, nothing said to be done that is not, and an
//! archive that is valid afterwards, also after a power cut.

use std::path::Path;
use std::sync::Arc;

use ecgkeep_archive::Archive;
use ecgkeep_format::Kind;

use crate::crash::{ROOT, Steps, lines, made, no_half_bundle, recovers};
use crate::figures::row;
use crate::harness::*;
use crate::simulated::{Failure, Simulated, World};

/// The steps until one of them fails: what was acknowledged by then, and the error.
fn run(storage: &Simulated) -> (Vec<String>, Option<ecgkeep_format::Error>) {
    let mut acknowledged = Vec::new();
    let mut archive = match Archive::open(Arc::new(storage.clone()), Path::new(ROOT)) {
        Ok(archive) => archive,
        Err(error) => return (acknowledged, Some(error)),
    };
    for step in Steps::default().0 {
        match step(&mut archive) {
            Ok(_) => acknowledged = lines(&archive),
            Err(error) => return (acknowledged, Some(error)),
        }
    }
    (acknowledged, None)
}

fn operations() -> u64 {
    let storage = Simulated::on(made());
    assert!(run(&storage).1.is_none());
    storage.state().asked
}

/// What must hold after the `n`th operation failed in this way.
fn fault(base: &World, n: u64, failure: Failure) -> Result<bool, String> {
    let storage = Simulated::on(base.clone());
    storage.state().fails = Some((n, failure));
    let (acknowledged, error) = run(&storage);
    // Where the archive may go on, it must have gone on to the end.
    let refused = error.is_some();
    if let Some(error) = error
        && (error.kind() != Kind::Io || !error.to_string().contains("cannot "))
    {
        return Err(format!("not a clean refusal: {error}"));
    }
    storage.state().fails = None;
    let left = storage.world();
    no_half_bundle(&left)?;
    // A cut right then, of everything that was not flushed and of nothing.
    for keep in [false, true] {
        recovers(&Simulated::on(left.after_cut(&mut || keep)), &acknowledged)?;
    }
    // Doing it all again with a disk that works, and then a cut: what a failed flush lost must have been written anew.
    let (again, error) = run(&storage);
    if let Some(error) = error {
        return Err(format!("cannot be done again: {error}"));
    }
    if !again.starts_with(&acknowledged) {
        return Err("what was acknowledged is not there when it is done again".into());
    }
    for keep in [false, true] {
        recovers(&Simulated::on(storage.world().after_cut(&mut || keep)), &again)?;
    }
    Ok(refused)
}

fn every_operation(failure: Failure, title: &str) {
    let (base, count) = (made(), operations());
    let found: Vec<(u64, Result<bool, String>)> =
        (1..=count).map(|n| (n, fault(&base, n, failure))).collect();
    let faults: Vec<_> =
        found.iter().filter_map(|(n, found)| found.as_ref().err().map(|what| (n, what))).collect();
    let refused = found.iter().filter(|(_, found)| *found == Ok(true)).count();
    row(title, count, faults.len() as u64);
    assert!(faults.is_empty(), "{} faults, first: {:?}", faults.len(), faults[0]);
    // What need not succeed is few: to remove the file of lines to come, or a temporary file.
    assert!(
        refused as u64 * 10 > count * 7 || failure != Failure::Error,
        "only {refused} of {count} were refused"
    );
    assert!(refused > 0);
}

#[test]
fn an_error_at_every_operation_is_a_clean_refusal() {
    every_operation(
        Failure::Error,
        "EIO at every operation, flushes included (what was not flushed is lost and readable)",
    );
}

#[test]
fn a_short_write_at_every_operation_is_a_clean_refusal() {
    every_operation(Failure::Short, "short write and ENOSPC at every operation");
}

#[test]
fn a_disk_that_is_full_from_any_operation_on_is_a_clean_refusal() {
    every_operation(Failure::Full, "disk full from every operation on");
}

/// A new archive, too.
#[test]
fn an_error_while_an_archive_is_made_leaves_room_for_one() {
    let storage = Simulated::new();
    drop(create(Arc::new(storage.clone()), Path::new(ROOT)));
    let count = storage.state().asked;
    for n in 1..=count {
        for failure in [Failure::Error, Failure::Short, Failure::Full] {
            let storage = Simulated::new();
            storage.state().fails = Some((n, failure));
            let make = || Archive::create(Arc::new(storage.clone()), Path::new(ROOT), &making());
            if make().is_err() {
                storage.state().fails = None;
                let made = make()
                    .err()
                    .filter(|_| Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).is_err());
                assert!(made.is_none(), "operation {n}, {failure:?}: {made:?}");
            }
        }
    }
}
