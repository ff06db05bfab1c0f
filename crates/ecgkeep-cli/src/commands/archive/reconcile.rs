//! `archive reconcile`.

use ecgkeep::archive::{self, Gap};
use ecgkeep::format::Error;
use serde_json::json;

use super::{one, text_of};
use crate::args::archive::Reconcile;
use crate::exit::Exit;
use crate::output::Outcome;

pub fn run(args: &Reconcile, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-reconcile/1", json, &args.dir, reconciled(args))
}

fn reconciled(args: &Reconcile) -> Result<Outcome, Error> {
    let expected = archive::parse_expected(&super::shown(&args.expected), &text_of(&args.expected)?)?;
    let catalogue = archive::catalogue(&archive::open(&args.dir)?)?;
    let filed = archive::filed_recordings(&catalogue.all()?);
    let quarantined = catalogue.quarantined()?.len();
    let result = archive::reconcile(&expected, &filed);
    let mut text = String::new();
    for entry in &result.missing {
        text.push_str(&format!("entry {entry}: MISSING\n"));
    }
    for duplicate in &result.duplicate {
        text.push_str(&format!(
            "entry {}: filed {} times: {}\n",
            duplicate.entry,
            duplicate.keys.len(),
            duplicate.keys.join(", ")
        ));
    }
    for key in &result.unexpected {
        text.push_str(&format!("{key}: not on the list\n"));
    }
    for gap in &result.gaps {
        text.push_str(&gap_line(gap));
    }
    let mut delays: Vec<i64> = result.matched.iter().filter_map(|matched| matched.delay_seconds).collect();
    delays.sort_unstable();
    text.push_str(&format!(
        "{} expected: {} found, {} missing, {} more than once; {} unexpected; {} gaps\n",
        expected.len(),
        result.matched.len(),
        result.missing.len(),
        result.duplicate.len(),
        result.unexpected.len(),
        result.gaps.len()
    ));
    if let (Some(median), Some(longest)) = (delays.get(delays.len() / 2), delays.last()) {
        text.push_str(&format!(
            "from recording to filing: {} in the middle, {} at most\n",
            duration(*median),
            duration(*longest)
        ));
    }
    let mut remarks = Vec::new();
    if quarantined > 0 && !result.missing.is_empty() {
        remarks.push(format!("{quarantined} sources are in quarantine: what is missing may be among them"));
    }
    Ok(Outcome { remarks, ..Outcome::done(text, json!({ "expected": expected.len(), "result": result }))? })
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
