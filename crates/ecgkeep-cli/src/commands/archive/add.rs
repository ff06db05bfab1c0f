//! `archive add`: files and folders into the archive, one line each.
//!
//! What is printed may be kept as a log, so it names neither patients nor the files found in folders unless
//! `--show-identity` asks for them: an input is the path that was typed, and its place in that folder.

use std::path::{Path, PathBuf};

use ecgkeep::archive::{self, Added, Adding, Fate, Key, Warning};
use ecgkeep::checks::Policy;
use ecgkeep::format::{Error, Kind, Place};
use ecgkeep::{Entry, Input, Inputs, kind_word};
use serde_json::json;

use super::Doing;
use super::make::make;
use crate::args::archive::Add;
use crate::commands::{FilingChoice, input_at, lies_in, verdict, who_and_when};
use crate::exit::Exit;
use crate::output::{Outcome, Progress, print_about, remark_line};

const SCHEMA: &str = "ecgkeep-archive-add/1";

/// One input.
struct ToAdd {
    path: PathBuf,
    /// The path that was typed, and the place among the inputs of that folder.
    shown: String,
}

pub fn run(args: &Add, json: bool) -> Result<Exit, Error> {
    if args.new && !args.dir.join("archive.json").exists() {
        let archive = make(&args.dir, &args.acting, None)?;
        remark_line(&format!("{}: made an archive, {}", args.dir.display(), archive.identity().origin));
    }
    let mut doing = Doing::of(&args.dir, &args.acting).map_err(|error| match error.kind() {
        Kind::Io if !args.dir.exists() => Error::new(Kind::Io, "no such archive")
            .at(Place::file(super::shown(&args.dir)))
            .remedy("make one with archive new, or add with --new"),
        _ => error,
    })?;
    let inputs = if args.quarantined { Vec::new() } else { inputs(args)? };
    let filing = filing(args, &inputs)?;
    let policy = args.policy.as_deref().map_or_else(|| Ok(Policy::default()), ecgkeep::policy_from)?;
    let mut catalogue = doing.catalogue()?;
    let adding = Adding {
        acting: &doing.acting,
        signer: doing.signer.as_ref(),
        policy: &policy,
        from: args.reading.from.as_deref(),
    };
    let mut exit = Exit::Done;
    let mut progress = Progress::of(inputs.len(), "recordings");
    if args.quarantined {
        archive::retry_quarantined(&mut doing.archive, &mut catalogue, &adding, &mut |key, added| {
            exit = exit.or(tell(args, json, &key.to_string(), added));
        })?;
        return Ok(exit);
    }
    let open = |input: &ToAdd| {
        let source = input_at(&input.path).or_else(|error| Input::broken(&input.path, error))?;
        let filing = filing.for_input(&source, &input.path)?;
        Ok((source, filing))
    };
    archive::add(&mut doing.archive, &mut catalogue, &inputs, &open, &adding, &mut |index, added| {
        progress.clear();
        let input = &inputs[index];
        exit = exit.or(tell(args, json, &input.shown, added));
        progress.step(index + 1);
    })?;
    progress.clear();
    Ok(exit)
}

/// The inputs, folders walked.
fn inputs(args: &Add) -> Result<Vec<ToAdd>, Error> {
    let mut all = Vec::new();
    let mut passed_over = 0;
    for (place, named) in (1..).zip(&args.inputs) {
        if named == Path::new("-") {
            all.push(ToAdd { path: named.clone(), shown: "-".to_owned() });
            continue;
        }
        let mut found =
            Inputs::of(std::slice::from_ref(named)).map_err(|error| without_names(args, error))?;
        // An archive that lies in the folder is no source for itself.
        found.found.retain(|one| !lies_in(&one.path, &args.dir));
        found.passed_over.retain(|path| !lies_in(path, &args.dir));
        if args.show_identity {
            for path in &found.passed_over {
                remark_line(&format!("{}: no recording, passed over", path.display()));
            }
        }
        passed_over += found.passed_over.len();
        let count = found.found.len();
        for (number, one) in (1..).zip(found.found) {
            let is_file = one.path == *named;
            let shown = match (args.show_identity, is_file) {
                (true, _) => one.path.display().to_string(),
                (false, true) => format!("input {place}"),
                (false, false) => format!("{}, {number} of {count}", named.display()),
            };
            all.push(ToAdd { path: one.path, shown });
        }
    }
    if passed_over > 0 && !args.show_identity {
        remark_line(&format!("passed over, no recordings: {passed_over} (--show-identity names them)"));
    }
    if all.is_empty() {
        return Err(Error::new(Kind::Unrecognised, "no recording found in the folders named")
            .remedy("name a folder that holds recordings, or the files themselves"));
    }
    Ok(all)
}

fn filing(args: &Add, inputs: &[ToAdd]) -> Result<FilingChoice, Error> {
    let found: Vec<ecgkeep::Found> =
        inputs.iter().map(|input| ecgkeep::Found::new(input.path.clone(), input.path.clone(), 1)).collect();
    FilingChoice::of(args.filing.as_deref(), &found, args.show_identity)
}

/// An error about something in a folder, without the names it may hold.
fn without_names(args: &Add, error: Error) -> Error {
    if args.show_identity {
        return error;
    }
    if error.kind() == Kind::Io {
        // What the operating system says names nothing.
        return Error::new(Kind::Io, error.what()).remedy("--show-identity names the file");
    }
    let (line, byte) = (error.place().line, error.place().byte);
    Error::new(error.kind(), format!("not filed: {}", kind_word(error.kind())))
        .at(Place { line, byte, ..Place::default() })
        .remedy("--show-identity says more, file names and what stands in the file included")
}

/// Prints what became of one input.
fn tell(args: &Add, json: bool, shown: &str, added: Added) -> Exit {
    let Added { fate, key, entry, error, warnings } = added;
    let result = match (fate, error, key) {
        (Fate::Failed | Fate::Destroyed, Some(error), _) => {
            // What concerns what is filed already quotes nothing of the source.
            let keeps_its_text = fate == Fate::Destroyed || key.is_some();
            Err(if keeps_its_text { error } else { without_names(args, error) })
        }
        (Fate::Quarantined | Fate::StillQuarantined, Some(error), Some(key)) => {
            quarantined(args, shown, fate, key, error)
        }
        (_, _, Some(key)) => filed(args, shown, fate, key, entry.as_deref(), &warnings),
        _ => Err(Error::new(Kind::Internal, "an input came to nothing")),
    };
    print_about(SCHEMA, json, shown, result)
}

fn filed(
    args: &Add,
    shown: &str,
    fate: Fate,
    key: Key,
    entry: Option<&Entry>,
    warnings: &[Warning],
) -> Result<Outcome, Error> {
    let revision = entry.map_or(1, |entry| entry.revision);
    let is_new = fate == Fate::Filed;
    let there = if is_new { "filed" } else { "already there, nothing stored" };
    let said = entry.map_or_else(String::new, |entry| format!(" | {}", verdict(entry)));
    let who = match entry {
        Some(entry) if args.show_identity => format!(" | {}", who_and_when(entry)),
        _ => String::new(),
    };
    let text = format!("{shown}{who}{said} | {there}: {key}.r{revision}\n");
    let remarks = warnings.iter().map(warning_text).collect();
    let identity = entry.filter(|_| args.show_identity);
    let body = json!({
        "fate": if is_new { "filed" } else { "already-there" },
        "key": key.to_string(),
        "revision": revision,
        "checks": entry.map(|entry| &entry.checks),
        "damaged": entry.is_some_and(|entry| entry.damaged),
        "entry": identity,
        "why": null,
        "warnings": warnings.iter().map(warning_code).collect::<Vec<_>>(),
    });
    Ok(Outcome { remarks, ..Outcome::done(text, body)? })
}

fn quarantined(args: &Add, shown: &str, fate: Fate, key: Key, error: Error) -> Result<Outcome, Error> {
    let why = kind_word(error.kind());
    let is_new = fate == Fate::Quarantined;
    let there = if is_new { "kept in quarantine" } else { "in quarantine already" };
    let text = format!("{shown} | NOT READ ({why}) | {there}: {key}\n");
    let exit = Exit::of(&error);
    let mut remarks = vec![
        "could not be read and is in no list of patients: see to it that a person looks at this ECG"
            .to_owned(),
    ];
    if args.show_identity {
        remarks.push(error.to_string());
    }
    let body = json!({
        "fate": if is_new { "quarantined" } else { "still-quarantined" },
        "key": key.to_string(),
        "revision": null,
        "checks": null,
        "damaged": false,
        "entry": null,
        "why": why,
        "warnings": [],
    });
    Ok(Outcome { remarks, exit, ..Outcome::done(text, body)? })
}

fn warning_code(warning: &Warning) -> serde_json::Value {
    let (code, keys): (&str, &[String]) = match warning {
        Warning::SameSamplesOtherPatient(keys) => ("same-samples-other-patient", keys),
        Warning::SameSamples(keys) => ("same-samples", keys),
        Warning::SameIdentifierOtherPerson(keys) => ("same-identifier-other-person", keys),
        Warning::FilingNotStored => ("filing-not-stored", &[]),
        Warning::Damaged => ("damaged", &[]),
    };
    json!({ "code": code, "keys": keys })
}

fn warning_text(warning: &Warning) -> String {
    match warning {
        Warning::SameSamplesOtherPatient(keys) => format!(
            "the same samples stand under ANOTHER PATIENT ({}): one of them is wrong",
            keys.join(", ")
        ),
        Warning::SameSamples(keys) => {
            format!("the same samples of the same patient are there already ({})", keys.join(", "))
        }
        Warning::SameIdentifierOtherPerson(keys) => format!(
            "its identifier stands with another name, birth date or sex ({}): one of them may be wrong",
            keys.join(", ")
        ),
        Warning::FilingNotStored => {
            "was filed before with something else beside it; what is supplied now is not stored: use archive correct"
                .to_owned()
        }
        Warning::Damaged => "the source is damaged; what could be read is filed, its page says DAMAGED".to_owned(),
    }
}
