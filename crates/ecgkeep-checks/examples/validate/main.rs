//! Measures the rules on real recordings and prints the tables of this crate's README.
//!
//! `cargo run --release -p ecgkeep-checks --example validate -- FOLDER`, where FOLDER holds `ptbxl`, `ludb` and
//! `wfdb-vectors` (subsets of PTB-XL, LUDB and MIT-BIH as published on PhysioNet).

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

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("validate: names no folder of recordings");
        return ExitCode::from(2);
    };
    match tables(&folder) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("validate: {error}");
            ExitCode::from(7)
        }
    }
}

fn tables(folder: &std::path::Path) -> Result<(), Box<dyn std::error::Error>> {
    let sets = sets::Sets::read(folder)?;
    findings::tables(&sets)?;
    beats::table(&sets)?;
    exchanges::tables(&sets)?;
    hum::table(&sets)?;
    speed::table(&sets)?;
    Ok(())
}
