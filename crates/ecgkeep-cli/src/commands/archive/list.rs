//! `archive list` and `archive rebuild`.

use ecgkeep::archive::{self, Catalogue, Row};
use ecgkeep::format::Error;
use serde::Serialize;
use serde_json::json;

use super::{one, row_line};
use crate::args::archive::{List, Rebuild};
use crate::exit::Exit;
use crate::output::Outcome;

pub fn run(args: &List, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-list/1", json, &args.dir, listed(args))
}

fn listed(args: &List) -> Result<Outcome, Error> {
    let catalogue = archive::catalogue(&archive::open(&args.dir)?)?;
    let which = &args.which;
    if which.quarantined {
        return entries("quarantined", &catalogue.quarantined()?, |one| {
            let (why, by) = (one.why.as_deref().unwrap_or("?"), one.by.as_deref().unwrap_or("?"));
            format!("{} | not readable: {why} | since {}, by {by}\n", one.key, one.at)
        });
    }
    if which.held {
        return entries("held", &catalogue.held()?, |one| {
            let (authority, by) = (one.authority.as_deref().unwrap_or("?"), one.by.as_deref().unwrap_or("?"));
            format!("{} | held under {authority} | since {}, by {by}\n", one.key, one.at)
        });
    }
    if which.destroyed {
        return entries("destroyed", &catalogue.destroyed()?, |one| {
            let (rule, by) = (one.rule.as_deref().unwrap_or("?"), one.by.as_deref().unwrap_or("?"));
            format!("{} | destroyed under {rule} | {}, by {by}\n", one.key, one.at)
        });
    }
    let (name, rows) = recordings(args, &catalogue)?;
    let mut listed = entries(name, &rows, |row| match &row.urgency {
        Some(urgency) if which.unsent => format!("urgency {urgency} | {}", row_line(row)),
        _ => row_line(row),
    })?;
    if let Some(line) = super::unread_line(&catalogue)? {
        listed.remarks.push(line);
        listed.exit = Exit::Altered;
    }
    Ok(listed)
}

fn recordings(args: &List, catalogue: &Catalogue) -> Result<(&'static str, Vec<Row>), Error> {
    let which = &args.which;
    Ok(if which.unsent {
        ("unsent", catalogue.unsent()?)
    } else if which.unidentified {
        ("unidentified", catalogue.unidentified()?)
    } else if which.corrected {
        ("corrected", catalogue.corrected()?)
    } else {
        ("all", catalogue.all()?)
    })
}

fn entries<T: Serialize>(name: &str, entries: &[T], line: impl Fn(&T) -> String) -> Result<Outcome, Error> {
    let text: String = entries.iter().map(line).collect();
    let remarks = if entries.is_empty() { vec![format!("none ({name})")] } else { Vec::new() };
    Ok(Outcome { remarks, ..Outcome::done(text, json!({ "list": name, "entries": entries }))? })
}

/// `archive rebuild`.
pub fn rebuild(args: &Rebuild, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-rebuild/1", json, &args.dir, rebuilt(args))
}

fn rebuilt(args: &Rebuild) -> Result<Outcome, Error> {
    let (catalogue, unreadable) = if args.without_journal {
        let (catalogue, _, unreadable) = archive::rebuild_without_journal(&args.dir)?;
        (catalogue, unreadable)
    } else {
        (archive::rebuild(&archive::open(&args.dir)?)?, 0)
    };
    let (recordings, revisions) = catalogue.counts()?;
    let lines = catalogue.position()?.lines;
    let text = format!("catalogue of {recordings} recordings in {revisions} revisions, from {lines} lines\n");
    let text = if args.without_journal {
        format!(
            "catalogue of {recordings} recordings in {revisions} revisions, from the bundles alone: what was sent, held or \
             acknowledged is not in it\n"
        )
    } else {
        text
    };
    let text = if args.without_journal {
        // No other command reads the catalogue of an archive without a journal.
        let rows: String = catalogue.all()?.iter().map(row_line).collect();
        rows + &text
    } else {
        text
    };
    let mut remarks = Vec::new();
    if unreadable > 0 {
        remarks.push(format!("{unreadable} bundles could not be read: run archive verify"));
    }
    let unread = catalogue.unread()?;
    for (key, revision) in &unread {
        remarks.push(format!("{key}.r{revision}: filed, and its bundle is missing or cannot be read"));
    }
    remarks.extend(super::unread_line(&catalogue)?);
    let unreadable = unreadable + unread.len();
    let body = json!({
        "recordings": recordings, "revisions": revisions, "lines": lines, "unreadable": unreadable,
    });
    let exit = if unreadable > 0 { Exit::Altered } else { Exit::Done };
    Ok(Outcome { remarks, exit, ..Outcome::done(text, body)? })
}
