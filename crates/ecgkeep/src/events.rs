//! metadata/events.jsonl: what was done to a recording up to sealing.

use ecgkeep_archive::Entry;
use ecgkeep_format::{Loss, Note, Weight};
use ecgkeep_recording::CivilTime;
use serde::Serialize;

/// One event, one line of JSON. Types are terms of the PREMIS event type vocabulary,
/// except `technical check`, which is ours.
#[derive(Serialize)]
struct Event<'a> {
    schema: &'static str,
    #[serde(rename = "type")]
    kind: &'static str,
    at: CivilTime,
    agent: &'a str,
    outcome: String,
    detail: String,
}

/// The events of one sealing, in order.
pub(crate) fn events(entry: &Entry, notes: &[Note], copied: bool, losses: &[Loss]) -> String {
    let mut lines = String::new();
    let mut put = |kind, outcome: String, detail: String| {
        let agent = entry.program.as_str();
        let event = Event { schema: "ecgkeep-event/1", kind, at: entry.sealed_at, agent, outcome, detail };
        // A struct of strings always serialises.
        lines.push_str(&serde_json::to_string(&event).unwrap_or_default());
        lines.push('\n');
    };
    let files = entry.files.len();
    put("capture", "accepted".into(), format!("{files} source files, key {}", entry.key));
    let edition = entry.edition.as_ref().map_or_else(String::new, |edition| format!(" {edition}"));
    put("format identification", "identified".into(), format!("{}{edition}", entry.format));
    let count = |weight| notes.iter().filter(|note| note.weight == weight).count();
    let (damage, departures) = (count(Weight::Damage), count(Weight::Departure));
    let outcome = if damage > 0 {
        "damaged"
    } else if departures > 0 {
        "valid with departures"
    } else {
        "valid"
    };
    let detail = format!("{departures} departures from the format's standard, {damage} places of damage");
    put("validation", outcome.into(), detail);
    if let Some(person) = &entry.supplied_by {
        put(
            "metadata modification",
            "supplied beside the source".into(),
            format!("by {person}; the source is unchanged"),
        );
    }
    if let Some(amends) = &entry.amends {
        let outcome = format!("corrected from revision {}", amends.revision);
        let detail = format!("{}; by {}, authorised by {}", amends.why, amends.by, amends.authorised_by);
        put("metadata modification", outcome, detail);
    }
    if copied {
        let outcome =
            if losses.is_empty() { "nothing lost".into() } else { format!("{} losses listed", losses.len()) };
        put("normalization", outcome, "copy in WFDB under data/wfdb".into());
    }
    put(
        "technical check",
        entry.checks.headline.clone(),
        format!("technical checks under policy {}", entry.checks.policy),
    );
    put("creation", "drawn".into(), "report under data/, 25 mm/s and 10 mm/mV, nothing filtered".into());
    put("message digest calculation", "done".into(), "SHA-512 of every member".into());
    put("packing", "sealed".into(), "BagIt 1.0 in one ZIP".into());
    lines
}
