//! `seal`: one checksummed bundle per recording.

use std::path::Path;

use ecgkeep::checks::Verdict;
use ecgkeep::format::{Error, Kind};
use ecgkeep::{Disk, Entry, Found, Sealed, Sealing, Storage as _, seal, sealed_there};
use serde::Serialize;

use super::{Beneath, PROGRAM, found, open, verdict, who_and_when};
use crate::args::{Listed, Seal};
use crate::exit::Exit;
use crate::output::{Outcome, each};

#[derive(Serialize)]
struct Body {
    bundle: String,
    sha256: String,
    /// Whether the same was sealed there already and left as it is.
    already_there: bool,
    entry: Entry,
    losses: Vec<String>,
    notes: Vec<String>,
}

/// The policy that is not mentioned on the line.
const SHIPPED_POLICY: &str = "resting-adult 1";

pub fn run(args: &Seal, json: bool) -> Result<Exit, Error> {
    let inputs = found(&args.input)?;
    let beneath = Beneath::of(&args.beside, &inputs)?;
    let usage = |what: &str, remedy: &str| Err(Error::new(Kind::Usage, what).remedy(remedy));
    match (&args.out, &args.into) {
        (None, None) => return usage("no place to write the bundle", "give -o BUNDLE.zip, or --into DIR"),
        (Some(out), _) if !out.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("zip")) => {
            return usage("a bundle is a ZIP file", "let the name of the bundle end in .zip");
        }
        (Some(_), _) if inputs.len() > 1 => return usage("several inputs, one output", "use --into DIR"),
        _ => {}
    }
    if let Some(into) = &args.into {
        Disk.make_folder(into)?;
    }
    let from = args.input.reading.from.as_deref();
    Ok(each(
        "ecgkeep-seal/1",
        json,
        &inputs,
        |input| input.path.clone(),
        |found| {
            let (input, opened) = open(&found.path, from)?;
            let filing = beneath.filing.for_input(&input, &found.path)?;
            let sealing = Sealing {
                filing: filing.as_ref(),
                policy: &beneath.policy,
                at: beneath.now,
                program: PROGRAM,
            };
            let sealed = seal(&opened, &sealing)?;
            refuse(args, &sealed)?;
            let path = match (&args.out, &args.into) {
                (Some(out), _) => out.clone(),
                (None, into) => into.clone().unwrap_or_default().join(format!("{}.zip", sealed.stem)),
            };
            let there = place(&path, &sealed, args.overwrite)?;
            let already_there = there.is_some();
            // What is said is what the bundle says.
            let entry = there.unwrap_or(sealed.entry);
            let notes: Vec<String> = opened.read.notes.iter().map(ToString::to_string).collect();
            let losses: Vec<String> = sealed.losses.iter().map(ToString::to_string).collect();
            let text = line(found, &entry, &path, already_there);
            let remarks = losses.iter().map(|loss| format!("WFDB copy, not kept: {loss}")).collect();
            let stored = if already_there { std::fs::read(&path).unwrap_or_default() } else { sealed.bytes };
            let sha256 = ecgkeep::sha256(&stored);
            let bundle = path.display().to_string();
            let body = Body { bundle, sha256, already_there, entry, losses, notes };
            Ok(Outcome { notes: opened.read.notes, remarks, ..Outcome::done(text, body)? })
        },
    ))
}

fn refuse(args: &Seal, sealed: &Sealed) -> Result<(), Error> {
    let refused = |what: String| Err(Error::new(Kind::Refused, what).remedy("nothing was written"));
    if args.findings == Listed::Refuse && sealed.assessment.verdict() == Some(Verdict::Fail) {
        return refused(format!(
            "checks: {}: {}",
            sealed.assessment.headline(),
            sealed.entry.checks.fails.join(", ")
        ));
    }
    match sealed.losses.first() {
        Some(loss) if args.losses == Listed::Refuse => {
            refused(format!("the WFDB copy would not keep: {loss}"))
        }
        _ => Ok(()),
    }
}

/// Writes the bundle; the entry of the one there where the same was sealed there already.
fn place(path: &Path, sealed: &Sealed, overwrite: bool) -> Result<Option<Entry>, Error> {
    match Disk.write(path, &sealed.bytes, overwrite) {
        Ok(()) => Ok(None),
        Err(error) if overwrite => Err(error),
        Err(error) => sealed_there(path, sealed).map(Some).ok_or(error),
    }
}

/// Who, when, verdict, bundle.
fn line(found: &Found, entry: &Entry, path: &Path, already_there: bool) -> String {
    let policy = match entry.checks.policy.as_str() {
        SHIPPED_POLICY => String::new(),
        policy => format!(", policy {policy}"),
    };
    let there = if already_there { " (already sealed, left as it is)" } else { "" };
    format!(
        "{} | {} | {}{policy} | {}{there}\n",
        found.path.display(),
        who_and_when(entry),
        verdict(entry),
        path.display()
    )
}
