//! Reading a bundle again, for the deepest verifying.

use ecgkeep_archive::Entry;
use ecgkeep_bundle::Bundle;
use ecgkeep_format::{Place, Result};
use ecgkeep_recording::{Difference, differences};

use crate::correct::unlike_the_amendments;
use crate::input::original_of;
use crate::quarantine::{is_quarantine, quarantine_of};
use crate::seal::{ENTRY, stored, stored_recording};

/// What is wrong with a bundle beyond its digests: its original no longer reads as it was stored, or what it says of
/// itself does not fit. The sentences name fields and places, never what stands there.
#[must_use]
pub fn reread(bundle: &Bundle) -> Vec<String> {
    read_again(bundle).unwrap_or_else(|error| {
        let place = error.place();
        let place = Place { file: None, ..place.clone() };
        let at = if place.is_empty() { String::new() } else { format!(" ({place})") };
        vec![format!("cannot be read again: {}{at}", crate::kind_word(error.kind()))]
    })
}

fn read_again(bundle: &Bundle) -> Result<Vec<String>> {
    if is_quarantine(bundle) {
        let quarantine = quarantine_of(bundle)?;
        let is_own = bundle.stem() == format!("{}.q1", quarantine.key);
        return Ok(if is_own { Vec::new() } else { vec!["is the quarantine of another source".to_owned()] });
    }
    let entry: Entry = stored(bundle, ENTRY)?;
    let stored = stored_recording(bundle)?;
    let opened = original_of(bundle, &entry)?;
    let original = opened.recording()?;
    let mut wrong = Vec::new();
    if entry.fingerprint != stored.fingerprint().to_string() {
        wrong.push("the fingerprint in entry.json is not that of the stored model".to_owned());
    }
    if bundle.stem() != format!("{}.r{}", entry.key, entry.revision) || opened.key() != entry.key {
        wrong.push("holds the files of another recording".to_owned());
    }
    let found = differences(original, &stored);
    match &entry.amends {
        None if found.is_empty() => {}
        None => {
            wrong.push(format!("its original reads differently from what was stored: {}", fields(&found)))
        }
        Some(_) => wrong.extend(unlike_the_amendments(bundle, &found)?),
    }
    Ok(wrong)
}

fn fields(found: &[Difference]) -> String {
    let mut names: Vec<&str> = found.iter().map(|difference| difference.field.name()).collect();
    names.dedup();
    names.join(", ")
}
