//! `archive due` and `archive destroy`.

use std::path::Path;

use ecgkeep::archive::{self, Due, Note, Overdue};
use ecgkeep::format::{Error, Kind, Place};
use ecgkeep::{Disk, Storage as _};
use serde_json::{Value, json};

use super::{Doing, one, signer, text_of};
use crate::args::archive::{Destroy, Due as DueArgs};
use crate::commands::now;
use crate::exit::Exit;
use crate::output::Outcome;

pub fn due(args: &DueArgs, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-due/1", json, &args.dir, listed(args))
}

fn listed(args: &DueArgs) -> Result<Outcome, Error> {
    let archive = archive::open(&args.dir)?;
    let at = archive::moment(&now(args.at)?)?;
    let Some((schedule, digest)) = archive::in_force(&archive, at)? else {
        let text = "no retention schedule is in force: everything is kept\n".to_owned();
        return Outcome::done(text, json!({ "schedule": null, "due": [], "held": [], "kept": 0 }));
    };
    let all = archive::due(&archive, &archive::catalogue(&archive)?, &schedule, at)?;
    let (due, kept): (Vec<&Overdue>, Vec<&Overdue>) = all.iter().partition(|one| one.is_due);
    let (held, free): (Vec<&Overdue>, Vec<&Overdue>) = due.into_iter().partition(|one| one.is_held);
    let mut text = String::new();
    for one in &free {
        text.push_str(&format!("{} | {}\n", one.key, reason(one)));
    }
    for one in &held {
        text.push_str(&format!("{} | {}, but HELD\n", one.key, reason(one)));
    }
    text.push_str(&format!(
        "{} may be destroyed, {} are due but held, {} are kept; schedule {}\n",
        free.len(),
        held.len(),
        kept.len(),
        schedule.name
    ));
    let objects = |some: &[&Overdue]| some.iter().map(|one| object(one)).collect::<Vec<_>>();
    let body = json!({
        "schedule": digest.to_string(), "due": objects(&free), "held": objects(&held), "kept": kept.len(),
    });
    Outcome::done(text, body)
}

fn reason(one: &Overdue) -> String {
    match &one.due {
        Due::After { day, rule } => format!("due since {day} under {rule}"),
        Due::Never { because } => because.clone(),
    }
}

fn object(one: &Overdue) -> Value {
    match &one.due {
        Due::After { day, rule } => {
            json!({ "key": one.key.to_string(), "since": day.to_string(), "rule": rule })
        }
        _ => json!({ "key": one.key.to_string(), "since": null, "rule": null }),
    }
}

const SCHEMA: &str = "ecgkeep-archive-destroy/1";

pub fn run(args: &Destroy, json: bool) -> Result<Exit, Error> {
    let outcome = match (&args.write, &args.sign, &args.perform) {
        (Some(path), ..) => written(args, path),
        (_, Some(path), _) => signed(args, path),
        (_, _, Some(path)) => performed(args, path),
        _ => {
            return Err(Error::new(Kind::Usage, "nothing is asked for").remedy(
                "first KEY... --rule RULE --write REQUEST, then twice --sign REQUEST --with KEYFILE, then --perform REQUEST",
            ));
        }
    };
    one(SCHEMA, json, &args.dir, outcome)
}

fn written(args: &Destroy, path: &Path) -> Result<Outcome, Error> {
    let archive = archive::open(&args.dir)?;
    let at = archive::moment(&now(args.acting.at)?)?;
    let mut keys = Vec::new();
    for digits in &args.keys {
        keys.push(archive::full_key(&archive, digits)?);
    }
    keys.sort();
    keys.dedup();
    let rule = args.rule.as_deref().unwrap_or_default();
    let note = archive::request(&archive, &archive::catalogue(&archive)?, &keys, rule, at)?;
    Disk.write(path, note.written().as_bytes(), false)?;
    let text = format!(
        "{}: a request to destroy {} recordings under {rule}; nothing is destroyed before two people sign it\n",
        path.display(),
        keys.len()
    );
    Outcome::done(text, body("written", path, &keys, &[]))
}

fn signed(args: &Destroy, path: &Path) -> Result<Outcome, Error> {
    let archive = archive::open(&args.dir)?;
    let key = args.with.as_deref().unwrap_or(Path::new(""));
    let signer = signer(&archive, &args.dir, key)?;
    let note = Note::parse(&text_of(path)?).map_err(|error| error.at(Place::file(super::shown(path))))?;
    let keys = archive::keys_of_request(&note)?;
    let public = signer.public();
    let is_signed = note.signers(&archive.keys()?)?.iter().any(|there| there.is_same_key(&public));
    let note = if is_signed { note } else { note.signed(&signer) };
    Disk.write(path, note.written().as_bytes(), true)?;
    let names: Vec<String> = note.signatures.iter().map(|signed| signed.name.clone()).collect();
    let text = format!("{}: signed by {}\n", path.display(), names.join(", "));
    Outcome::done(text, body("signed", path, &keys, &names))
}

fn performed(args: &Destroy, path: &Path) -> Result<Outcome, Error> {
    let clock = archive::moment(&now(None)?)?;
    let mut doing = Doing::maybe(&args.dir, &args.acting)?;
    if doing.acting.moment() > clock {
        return Err(Error::new(
            Kind::Refused,
            "--at lies in the future: what is not due today is not destroyed today",
        ));
    }
    let request = text_of(path)?;
    let mut catalogue = doing.catalogue()?;
    let keys =
        archive::perform(&mut doing.archive, &catalogue, &request, &doing.acting, doing.signer.as_ref())
            .map_err(|error| error.at(Place::file(super::shown(path))))?;
    archive::catch_up(&doing.archive, &mut catalogue, &std::collections::BTreeMap::new())?;
    let note = Note::parse(&request)?;
    let names: Vec<String> = note.signatures.iter().map(|signed| signed.name.clone()).collect();
    let mut text: String = keys
        .iter()
        .map(|key| {
            let certificate = args.dir.join("certificates").join(format!("{key}.destroyed.json"));
            format!("{key} | destroyed | certificate: {}\n", certificate.display())
        })
        .collect();
    let mut remarks = Vec::new();
    if keys.is_empty() {
        text.push_str("this request was performed before\n");
    } else {
        remarks
            .push("copies elsewhere (exports, backups, other archives) are not reached by this".to_owned());
    }
    Ok(Outcome { remarks, ..Outcome::done(text, body("performed", path, &keys, &names))? })
}

fn body(step: &str, path: &Path, keys: &[archive::Key], signed_by: &[String]) -> Value {
    let keys: Vec<String> = keys.iter().map(ToString::to_string).collect();
    json!({ "step": step, "request": path.display().to_string(), "keys": keys, "signed_by": signed_by })
}
