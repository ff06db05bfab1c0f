//! `archive correct`.

use std::path::Path;

use ecgkeep::archive::{self, Catalogue, HandedOver, Key, Viewed};
use ecgkeep::checks::Policy;
use ecgkeep::format::{Error, Kind};
use ecgkeep::recording::Filing;
use ecgkeep::{Correction, Disk, Reason, Storage as _};
use serde_json::json;

use super::{Doing, about_key, text_of, write_once};
use crate::args::archive::Correct;
use crate::exit::Exit;
use crate::output::Outcome;

pub fn run(args: &Correct, json: bool) -> Result<Exit, Error> {
    let mut doing = Doing::of(&args.dir, &args.acting)?;
    about_key("ecgkeep-archive-correct/1", json, &mut doing, &args.key, |doing, key| {
        corrected(args, doing, key)
    })
}

fn corrected(args: &Correct, doing: &mut Doing, key: Key) -> Result<Outcome, Error> {
    let reason = Reason::ALL.iter().find(|(_, code)| *code == args.reason).map(|(reason, _)| *reason);
    let reason = reason.ok_or_else(|| Error::new(Kind::Usage, "no such reason"))?;
    let filing = ecgkeep::parse_filing(&super::shown(&args.filing), &text_of(&args.filing)?)?;
    let policy = args.policy.as_deref().map_or_else(|| Ok(Policy::default()), ecgkeep::policy_from)?;
    let mut catalogue = doing.catalogue()?;
    // Before anything is filed: the notices must be writable.
    let was_there = args.into.is_dir();
    Disk.make_folder(&args.into)?;
    let outcome = filed(args, doing, &mut catalogue, &Correcting { filing, reason, policy }, key);
    if !was_there {
        // Only an empty folder can be removed so.
        let _ = std::fs::remove_dir(&args.into);
    }
    outcome
}

/// What is corrected, and how.
struct Correcting {
    filing: Filing,
    reason: Reason,
    policy: Policy,
}

fn filed(
    args: &Correct,
    doing: &mut Doing,
    catalogue: &mut Catalogue,
    correcting: &Correcting,
    key: Key,
) -> Result<Outcome, Error> {
    let Correcting { filing, reason, policy } = correcting;
    let by = doing.acting.by.to_string();
    let correction = Correction { filing, reason: *reason, authorised_by: &args.authorised_by, by: &by };
    let amended = archive::amend(
        &mut doing.archive,
        catalogue,
        key,
        &correction,
        policy,
        &doing.acting,
        doing.signer.as_ref(),
    )?;
    let mut text = format!(
        "{key}.r{} | corrected from revision {}: {} | {} | not sent\n",
        amended.revision,
        amended.before,
        reason.code(),
        crate::commands::verdict(&amended.entry)
    );
    let mut notices = Vec::new();
    for handed_over in &amended.handed_over {
        let notice = archive::retraction(&amended, handed_over)?;
        let path = args.into.join(&notice.name);
        write_once(&path, &notice.bytes, false).map_err(|error| not_written(error, handed_over))?;
        text.push_str(&handed_over_line(handed_over, &path));
        notices.push(path.display().to_string());
    }
    if amended.handed_over.is_empty() {
        text.push_str("  no receiver had it: no notice was written\n");
    }
    for Viewed { by, at, .. } in &amended.viewed {
        text.push_str(&format!("  revision {} was viewed by {by} on {at}: tell them\n", amended.before));
    }
    let mut remarks = Vec::new();
    if !amended.handed_over.is_empty() {
        remarks.push(format!(
            "revision {} was handed over: see to it that every receiver gets the notice and answers it",
            amended.before
        ));
    }
    remarks.extend(amended.kept.iter().map(|field| {
        format!("the {field} is kept as it was: if it is the wrong patient's, correct it too (wrong-order)")
    }));
    let body = json!({
        "revision": amended.revision,
        "sha256": amended.sha256.to_string(),
        "corrects": { "revision": amended.before, "sha256": amended.before_sha256.to_string() },
        "why": reason.code(),
        "fingerprint": amended.entry.fingerprint,
        "handed_over": amended.handed_over,
        "viewed": amended.viewed,
        "notices": notices,
    });
    Ok(Outcome { remarks, ..Outcome::done(text, body)? })
}

fn handed_over_line(handed_over: &HandedOver, notice: &Path) -> String {
    let HandedOver { receiver, revision, exported_at, acknowledged, .. } = handed_over;
    let acknowledged = if *acknowledged { ", acknowledged" } else { "" };
    format!(
        "  revision {revision} was handed to {receiver} on {exported_at}{acknowledged}; notice: {}\n",
        notice.display()
    )
}

fn not_written(error: Error, handed_over: &HandedOver) -> Error {
    Error::new(
        error.kind(),
        format!(
            "the correction is filed, but the notice for {} (export line {}) was not written",
            handed_over.receiver, handed_over.line
        ),
    )
    .because(error)
    .remedy("tell every receiver of the revision before, by hand")
}
