//! `archive verify` and `archive repair`.

use std::sync::Mutex;

use ecgkeep::archive::{self, Archive, Disk, Level, Trouble, VerifyArgs, VerifyReport};
use ecgkeep::format::{Error, Kind, Place};
use serde_json::{Value, json};

use super::{Doing, one, text_of};
use crate::args::archive::{LevelName, Repair, Verify};
use crate::exit::Exit;
use crate::output::{Outcome, Progress};

pub fn run(args: &Verify, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-verify/1", json, &args.dir, verified(args))
}

fn verified(args: &Verify) -> Result<Outcome, Error> {
    let against = args.against.as_deref().map(text_of).transpose()?;
    let verify_args = VerifyArgs {
        level: match args.level {
            LevelName::Quick => Level::Quick,
            LevelName::Full => Level::Full,
            LevelName::Deep => Level::Deep,
        },
        part: args.part.as_deref().map(part).transpose()?,
        against: against.as_deref(),
    };
    let progress: Mutex<Option<Progress>> = Mutex::new(None);
    let told = |done: u64, of: u64| {
        // Whoever holds it tells; the others need not wait.
        if let Ok(mut progress) = progress.try_lock() {
            let count = |count: u64| usize::try_from(count).unwrap_or(usize::MAX);
            progress.get_or_insert_with(|| Progress::of(count(of), "files")).step(count(done));
        }
    };
    let report = archive::verify(&Disk, &args.dir, &verify_args, &archive::reread, &told)?;
    if let Ok(mut progress) = progress.lock() {
        progress.as_mut().map(Progress::clear);
    }
    outcome(args, &report)
}

fn part(text: &str) -> Result<(u64, u64), Error> {
    let parsed = text.split_once('/').and_then(|(k, n)| Some((k.parse().ok()?, n.parse().ok()?)));
    parsed.ok_or_else(|| Error::new(Kind::Usage, "--part takes K/N, such as 3/30"))
}

fn outcome(args: &Verify, report: &VerifyReport) -> Result<Outcome, Error> {
    let VerifyReport { lines, files, read, bytes, signed_by, .. } = report;
    let mut text = String::new();
    let groups = [
        ("DAMAGED", &report.damaged),
        ("CANNOT BE READ", &report.unreadable),
        ("MISSING", &report.missing),
        ("ALTERED", &report.altered),
        ("uncommitted", &report.uncommitted),
    ];
    for (word, troubles) in groups {
        text.extend(troubles.iter().map(|trouble| format!("{word}: {trouble}\n")));
    }
    let state = match (report.has_faults(), report.unreadable.len()) {
        (true, _) => "NOT SOUND".to_owned(),
        (false, 0) if args.level_word() == "quick" => {
            "the journal is unaltered, every file is there with its length, contents NOT READ".to_owned()
        }
        (false, 0) => "everything is there and unaltered".to_owned(),
        (false, count) => format!("NOT VERIFIED, {count} files cannot be read"),
    };
    text.push_str(&format!(
        "{}: {state}: {lines} lines in the journal, {files} files filed; {read} files read, {bytes} bytes\n",
        args.dir.display()
    ));
    if !report.destroyed.is_empty() {
        text.push_str(&format!("  {} destroyed under a rule\n", report.destroyed.len()));
    }
    let signed = if signed_by.is_empty() {
        "not signed".to_owned()
    } else {
        format!("signed by {}", signed_by.join(", "))
    };
    text.push_str(&format!("  newest checkpoint: {signed}\n"));
    if !report.has_faults() || report.anchored.is_some() {
        text.push_str(&format!("  {}\n", report.anchor()));
    }
    let body = json!({
        "sound": report.is_sound(),
        "level": args.level_word(),
        "lines": lines, "files": files, "read": read, "bytes": bytes,
        "signed_by": signed_by, "anchored": report.anchored,
        "damaged": objects(&report.damaged), "unreadable": objects(&report.unreadable),
        "missing": objects(&report.missing),
        "altered": objects(&report.altered), "uncommitted": objects(&report.uncommitted),
        "destroyed": report.destroyed.iter().map(ToString::to_string).collect::<Vec<_>>(),
    });
    let exit = match (report.has_faults(), report.is_sound()) {
        (true, _) => Exit::Altered,
        (false, false) => Exit::Io,
        (false, true) => Exit::Done,
    };
    let mut remarks = Vec::new();
    if !report.unreadable.is_empty() {
        remarks.push(
            "verify as a user who may read the whole archive: what cannot be read may be whole".to_owned(),
        );
    }
    if !report.altered.is_empty() {
        remarks.push(
            "keep this folder as it is: journal, checkpoints or signatures do not fit each other; hold it and a copy of it \
             against a checkpoint that was kept elsewhere"
                .to_owned(),
        );
    } else if report.has_faults() {
        remarks.push("keep this folder as it is; archive repair takes whole bundles from a copy; other files are copied back by hand from a \
                       copy that verifies".to_owned());
    }
    Ok(Outcome { exit, remarks, ..Outcome::done(text, body)? })
}

impl Verify {
    fn level_word(&self) -> &'static str {
        match self.level {
            LevelName::Quick => "quick",
            LevelName::Full => "full",
            LevelName::Deep => "deep",
        }
    }
}

fn objects(troubles: &[Trouble]) -> Vec<Value> {
    troubles
        .iter()
        .map(|trouble| {
            let key = trouble.of.map(|of| of.key().to_string());
            json!({ "place": trouble.place, "line": trouble.line, "key": key, "what": trouble.what })
        })
        .collect()
}

/// `archive repair`.
pub fn repair(args: &Repair, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-repair/1", json, &args.dir, repaired(args))
}

fn repaired(args: &Repair) -> Result<Outcome, Error> {
    if !args.from.join("archive.json").is_file() {
        return Err(Error::new(Kind::Io, "no copy of an archive")
            .at(Place::file(super::shown(&args.from)))
            .remedy("name the folder of a copy of this archive"));
    }
    let key = args.acting.signing_key.as_deref();
    let checkpoint = match archive::open(&args.dir) {
        Ok(_) => false,
        Err(error) if error.kind() == Kind::Altered => {
            // The newest checkpoint is lost: the journal must lead to all that were kept, here and in the copy.
            let signer = key
                .map(|key| archive::named_signer("archive", &key.display().to_string(), &text_of(key)?))
                .transpose()?;
            Archive::mend_checkpoint(&Disk, &args.dir, Some(&args.from), signer.as_ref())?;
            true
        }
        Err(error) => return Err(error),
    };
    let mut doing = Doing::of(&args.dir, &args.acting)?;
    let result = archive::repair(&mut doing.archive, &args.from, &doing.acting, doing.signer.as_ref())?;
    // What was damaged is found again.
    drop(doing.catalogue()?);
    let mut text = String::new();
    if checkpoint {
        text.push_str("checkpoints/latest.note: made anew from the journal\n");
    }
    text.extend(result.repaired.iter().map(|of| format!("repaired: {}\n", of.path().display())));
    text.extend(result.left.iter().map(|trouble| format!("NOT REPAIRED: {trouble}\n")));
    text.push_str(&format!("{} repaired, {} not\n", result.repaired.len(), result.left.len()));
    let paths: Vec<String> = result.repaired.iter().map(|of| of.path().display().to_string()).collect();
    let body = json!({ "repaired": paths, "left": objects(&result.left), "checkpoint": checkpoint });
    let exit = if result.left.is_empty() { Exit::Done } else { Exit::Altered };
    Ok(Outcome { exit, ..Outcome::done(text, body)? })
}
