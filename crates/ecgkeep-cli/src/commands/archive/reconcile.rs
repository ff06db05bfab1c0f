//! `archive reconcile`.

use std::collections::BTreeMap;

use ecgkeep::archive::{self, Expected, Gap, Reconciled, Row};
use ecgkeep::format::Error;
use ecgkeep::recording::CivilTime;
use serde_json::json;

use super::{one, row_line, text_of};
use crate::args::archive::Reconcile;
use crate::exit::Exit;
use crate::output::Outcome;

pub fn run(args: &Reconcile, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-reconcile/1", json, &args.dir, reconciled(args, json))
}

fn reconciled(args: &Reconcile, json: bool) -> Result<Outcome, Error> {
    let list = archive::parse_expected(&super::shown(&args.expected), &text_of(&args.expected)?)?;
    let catalogue = archive::catalogue(&archive::open(&args.dir)?)?;
    let rows = catalogue.all()?;
    let quarantined = catalogue.quarantined()?.len();
    let result = archive::reconcile(&list, &archive::filed_recordings(&rows));
    let differences = differences(&result, &list, &rows, args.show_identity);
    let mut remarks = Vec::new();
    if !args.show_identity && !json && !differences.is_empty() {
        remarks.push("--show-identity says which orders and which patients".to_owned());
    }
    if quarantined > 0 && !result.missing.is_empty() {
        remarks.push(format!("{quarantined} sources are in quarantine: what is missing may be among them"));
    }
    let unread = super::unread_line(&catalogue)?;
    let exit = match (&unread, result.missing.is_empty()) {
        (Some(_), _) => Exit::Altered,
        (None, false) => Exit::No,
        (None, true) => Exit::Done,
    };
    remarks.extend(unread);
    let text = differences + &counts(&result, list.len()) + &delays(&result);
    let body = json!({ "expected": list.len(), "result": result });
    Ok(Outcome { exit, remarks, ..Outcome::done(text, body)? })
}

/// Everything in which list and archive differ, a line each; nothing where they agree.
fn differences(result: &Reconciled, list: &[Expected], rows: &[Row], show_identity: bool) -> String {
    let entry = |number: usize| entry_line(&list[number - 1], show_identity);
    let rows: BTreeMap<&str, &Row> = rows.iter().map(|row| (row.key.as_str(), row)).collect();
    let recording = |key: &str| match rows[key] {
        row if show_identity => row_line(row),
        Row { key, revision, start, .. } => format!("{key}.r{revision} | {start}\n"),
    };
    let mut text = String::new();
    for number in &result.missing {
        text.push_str(&format!("{}: MISSING, no recording found for it\n", entry(*number)));
    }
    for duplicate in &result.duplicate {
        text.push_str(&format!("{}: filed {} times\n", entry(duplicate.entry), duplicate.keys.len()));
        duplicate.keys.iter().for_each(|key| text.push_str(&format!("  {}", recording(key))));
    }
    for repeated in &result.repeated {
        repeated.entries.iter().for_each(|number| text.push_str(&format!("{}\n", entry(*number))));
        text.push_str(&format!("  these mean one recording: {}", recording(&repeated.key)));
    }
    for key in &result.unexpected {
        text.push_str(&format!("filed, but not on the list: {}", recording(key)));
    }
    result.gaps.iter().for_each(|gap| text.push_str(&gap_line(gap)));
    text
}

fn counts(result: &Reconciled, listed: usize) -> String {
    let found = result.matched.len();
    let twice: usize = result.repeated.iter().map(|repeated| repeated.entries.len() - 1).sum();
    let by = if twice > 0 { format!(" (by {} recordings)", found - twice) } else { String::new() };
    format!(
        "{listed} on the list: {found} found{by}, {} missing, {} filed more than once; {} of the same time not on the list; \
         {} gaps in sequence numbers\n",
        result.missing.len(),
        result.duplicate.len(),
        result.unexpected.len(),
        result.gaps.len()
    )
}

/// How long it took from recording to filing, where both are known.
fn delays(result: &Reconciled) -> String {
    let mut delays: Vec<i64> = result.matched.iter().filter_map(|matched| matched.delay_seconds).collect();
    delays.sort_unstable();
    let (Some(median), Some(longest)) = (delays.get(delays.len() / 2), delays.last()) else {
        return String::new();
    };
    format!("from recording to filing: {} in the middle, {} at most\n", duration(*median), duration(*longest))
}

/// Where an entry stands in the list and when it was expected; what names the patient or the order only on request.
fn entry_line(entry: &Expected, show_identity: bool) -> String {
    let Expected { order, sequence, device, identifier, time, line } = entry;
    let mut said = format!("line {line} of the list");
    let named =
        [("order", order), ("sequence number", sequence), ("device", device), ("patient", identifier)];
    for (what, value) in named.into_iter().filter(|_| show_identity) {
        value.iter().for_each(|value| said.push_str(&format!(", {what} {value}")));
    }
    if *time != CivilTime::default() {
        said.push_str(&format!(", {time}"));
    }
    said
}

fn gap_line(gap: &Gap) -> String {
    let Gap { device, first, last } = gap;
    let device = if device.is_empty() { "device not stated" } else { device };
    if first == last {
        return format!("{device}: sequence number {first} is nowhere\n");
    }
    format!("{device}: sequence numbers {first} to {last} are nowhere\n")
}

fn duration(seconds: i64) -> String {
    let sign = if seconds < 0 { "-" } else { "" };
    let (days, rest) = (seconds.abs() / 86_400, seconds.abs() % 86_400);
    let days = if days > 0 { format!("{days} d ") } else { String::new() };
    format!("{sign}{days}{:02}:{:02}:{:02} h", rest / 3600, rest / 60 % 60, rest % 60)
}
