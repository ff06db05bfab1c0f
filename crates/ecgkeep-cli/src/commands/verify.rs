//! `verify`: whether bundles are complete and unaltered.

use std::path::PathBuf;

use ecgkeep::format::{Error, Folder, Kind, Source as _};
use ecgkeep::{Entry, Inputs, SELF_CONSISTENT};
use serde::Serialize;

use crate::args::Verify;
use crate::exit::Exit;
use crate::output::{Outcome, each};

#[derive(Serialize)]
struct Body {
    valid: bool,
    members: usize,
    faults: Vec<FaultBody>,
    notes: Vec<String>,
    anchored: bool,
    sha256: String,
    entry: Option<Entry>,
}

#[derive(Serialize)]
struct FaultBody {
    member: Option<String>,
    text: String,
}

pub fn run(args: &Verify, json: bool) -> Result<Exit, Error> {
    let paths = bundles(&args.bundles)?;
    Ok(each("ecgkeep-verify/1", json, &paths, PathBuf::clone, |path| {
        let folder = Folder::of(path)?;
        let bytes = folder.bytes(folder.main(), u64::MAX)?;
        let sha256 = ecgkeep::sha256(&bytes);
        let verified = ecgkeep::verify(folder.main(), bytes)?;
        let valid = verified.faults.is_empty();
        let shown = path.display();
        let mut text = String::new();
        if valid {
            text.push_str(&format!(
                "{shown}: complete and unaltered ({} files); {SELF_CONSISTENT}\n",
                verified.members
            ));
            text.push_str(&format!("  sha256 {sha256}\n"));
        } else {
            text.push_str(&format!("{shown}: ALTERED OR INCOMPLETE\n"));
        }
        for fault in &verified.faults {
            text.push_str(&format!("  {fault}\n"));
        }
        for note in &verified.notes {
            text.push_str(&format!("  note: {note}\n"));
        }
        let faults = verified
            .faults
            .iter()
            .map(|fault| FaultBody { member: fault.member.clone(), text: fault.to_string() })
            .collect();
        let body = Body {
            valid,
            members: verified.members,
            faults,
            notes: verified.notes,
            anchored: false,
            sha256,
            entry: verified.entry,
        };
        let exit = if valid { Exit::Done } else { Exit::Altered };
        Ok(Outcome { exit, ..Outcome::done(text, body)? })
    }))
}

/// Files as named; of folders the files that end in .zip.
fn bundles(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    let mut bundles = Vec::new();
    for path in paths {
        if path.is_dir() {
            let inputs = Inputs::of(std::slice::from_ref(path))?;
            let mut inside: Vec<PathBuf> =
                inputs.found.into_iter().map(|found| found.path).chain(inputs.passed_over).collect();
            inside.retain(|path| path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("zip")));
            inside.sort();
            bundles.extend(inside);
        } else {
            bundles.push(path.clone());
        }
    }
    if bundles.is_empty() {
        return Err(Error::new(Kind::Unrecognised, "no bundle (.zip) in the folders named"));
    }
    Ok(bundles)
}
