//! The fuzz targets on their seeds and on every input that once broke one. `tests/fuzz/run` runs them on what a fuzzer
//! makes; an input that it finds goes to `fixtures/fuzz/TARGET/` and is tried here ever after.
//!
//! `ECGKEEP_SEEDS=FOLDER cargo test -p ecgkeep-tests --test fuzzed` writes the seeds, one folder per target.

use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use ecgkeep_tests::fuzzed::{TARGETS, target};
use ecgkeep_tests::repository::root;
use ecgkeep_tests::seeds::seeds;

/// Round trips of every seed through every format take minutes; one in this many is tried here.
const SPARSE: &[(&str, usize)] = &[("round_trip", 25), ("check_and_page", 25)];

#[test]
fn every_seed_is_taken() {
    let mut faults = Vec::new();
    for (name, target) in TARGETS {
        let seeds = seeds(name);
        assert!(!seeds.is_empty(), "{name} has no seed");
        let step = SPARSE.iter().find(|(sparse, _)| sparse == name).map_or(1, |(_, step)| *step);
        for (number, seed) in seeds.iter().enumerate().step_by(step) {
            if catch_unwind(AssertUnwindSafe(|| target(seed))).is_err() {
                faults.push(format!("{name}: seed {number}"));
            }
        }
        if let Some(folder) = std::env::var_os("ECGKEEP_SEEDS") {
            write(&Path::new(&folder).join(name), &seeds);
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

fn write(folder: &Path, seeds: &[Vec<u8>]) {
    std::fs::create_dir_all(folder).expect("the folder of the seeds can be made");
    for (number, seed) in seeds.iter().enumerate() {
        std::fs::write(folder.join(format!("seed-{number:04}")), seed).expect("a seed can be written");
    }
}

#[test]
fn every_input_that_once_broke_a_target_is_taken() {
    let mut tried = 0;
    for folder in sorted(&root().join("fixtures/fuzz")).iter().filter(|path| path.is_dir()) {
        let name = folder.file_name().unwrap_or_default().to_string_lossy();
        for path in sorted(folder) {
            println!("{}", path.display());
            target(&name)(&std::fs::read(&path).expect("a fixture can be read"));
            tried += 1;
        }
    }
    assert!(tried > 0, "no fixture was found");
}

#[test]
fn the_fuzz_targets_are_those_of_the_list() {
    let listed: BTreeSet<String> = TARGETS.iter().map(|(name, _)| format!("{name}.rs")).collect();
    let files = sorted(&root().join("tests/fuzz/targets"));
    let found: BTreeSet<String> =
        files.iter().filter_map(|path| Some(path.file_name()?.to_string_lossy().into_owned())).collect();
    assert_eq!(found, listed);
    let manifest = std::fs::read_to_string(root().join("tests/fuzz/Cargo.toml")).expect("a manifest");
    for (name, _) in TARGETS {
        assert!(manifest.contains(&format!("path = \"targets/{name}.rs\"")), "{name} is built");
    }
}

fn sorted(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("can be listed").path()).collect();
    paths.sort();
    paths
}
