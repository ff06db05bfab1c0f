//! The promise as a table: what each format carries of each field.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use ecgkeep_format::Carries;
use ecgkeep_recording::Field;

use crate::formats::FORMATS;

/// The table, field by format, in Markdown: `exact`, `limited` or `no`.
#[must_use]
pub fn carries_table() -> String {
    let writing = || FORMATS.iter().filter(|format| !format.about().writes.is_empty());
    let ids: Vec<&str> = writing().map(|format| format.about().id).collect();
    let mut table = format!("| field | {} |\n|---|{}\n", ids.join(" | "), "---|".repeat(ids.len()));
    for field in Field::ALL {
        let cells: Vec<&str> = writing().map(|format| cell(format.carries(*field))).collect();
        // Writing to a String cannot fail.
        let _ = writeln!(table, "| {field} | {} |", cells.join(" | "));
    }
    table
}

/// For each format the reasons of what it does not carry exactly, in Markdown, fields with the same reason together.
#[must_use]
pub fn carries_list() -> String {
    let mut list = String::new();
    for format in FORMATS.iter().filter(|format| !format.about().writes.is_empty()) {
        let mut reasons: Vec<(&str, &str, &str)> = Vec::new();
        let mut fields: BTreeMap<(&str, &str, &str), Vec<&str>> = BTreeMap::new();
        for field in Field::ALL {
            let carries = format.carries(*field);
            if let Carries::Limited { why, clause } | Carries::No { why, clause } = carries {
                let reason = (cell(carries), why, clause);
                if !reasons.contains(&reason) {
                    reasons.push(reason);
                }
                fields.entry(reason).or_default().push(field.name());
            }
        }
        let about = format.about();
        let _ = writeln!(list, "\n**{}** (`{}`)\n", about.title, about.id);
        if reasons.is_empty() {
            list.push_str("- every field: exact\n");
        }
        for reason in reasons {
            let (how, why, clause) = reason;
            let _ = writeln!(list, "- {how}: {}: {why} ({clause})", fields[&reason].join(", "));
        }
    }
    list
}

fn cell(carries: Carries) -> &'static str {
    match carries {
        Carries::Exact => "exact",
        Carries::Limited { .. } => "limited",
        Carries::No { .. } => "no",
    }
}
