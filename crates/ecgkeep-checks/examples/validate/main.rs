//! Measures the rules on real recordings and prints the tables of this crate's README.
//!
//! `cargo run --release -p ecgkeep-checks --example validate -- FOLDER [TABLE...]`, where FOLDER holds `ptbxl`, `ludb`
//! and `wfdb-vectors` (subsets of PTB-XL, LUDB and MIT-BIH as published on PhysioNet), and TABLE is one of `findings`,
//! `beats`, `exchanges`, `hum` and `speed`; all of them where none is named.

use std::path::PathBuf;
use std::process::ExitCode;

mod annotations;
mod beats;
mod csv;
mod exchanges;
mod findings;
mod hum;
mod interval;
mod judged;
mod sets;
mod speed;

type Table = fn(&sets::Sets) -> Result<(), sets::Failure>;

const TABLES: [(&str, Table); 5] = [
    ("findings", findings::tables),
    ("beats", beats::table),
    ("exchanges", exchanges::tables),
    ("hum", hum::table),
    ("speed", speed::table),
];

fn main() -> ExitCode {
    let mut arguments = std::env::args_os().skip(1);
    let Some(folder) = arguments.next().map(PathBuf::from) else {
        eprintln!("validate: names no folder of recordings");
        return ExitCode::from(2);
    };
    let wanted: Vec<String> = arguments.map(|name| name.to_string_lossy().into_owned()).collect();
    if let Some(other) = wanted.iter().find(|name| TABLES.iter().all(|(table, _)| table != name)) {
        eprintln!("validate: {other}: is none of the tables findings, beats, exchanges, hum and speed");
        return ExitCode::from(2);
    }
    match tables(&folder, &wanted) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("validate: {error}");
            ExitCode::from(7)
        }
    }
}

fn tables(folder: &std::path::Path, wanted: &[String]) -> Result<(), sets::Failure> {
    let sets = sets::Sets::read(folder)?;
    for (name, table) in TABLES {
        if wanted.is_empty() || wanted.iter().any(|wanted| wanted == name) {
            table(&sets)?;
        }
    }
    Ok(())
}
