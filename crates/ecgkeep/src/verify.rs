//! Whether a bundle is complete and unaltered, and whether its original still reads as it did.

use ecgkeep_archive::Entry;
use ecgkeep_bundle::{Bundle, Fault};
use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::differences;

use crate::correct::unlike_the_amendments;
use crate::input::original_of;
use crate::seal::{ENTRY, stored, stored_recording};

/// What a bundle alone can prove and what it cannot.
pub const SELF_CONSISTENT: &str = "consistent in itself; not anchored: who alters a bundle could seal it again, so keep its digest elsewhere";

/// What verifying a bundle showed.
pub struct Verified {
    /// What is missing, unlisted or altered; these alone decide whether the bundle is good.
    pub faults: Vec<Fault>,
    /// What the bundle says of itself; `None` where that cannot be read.
    pub entry: Option<Entry>,
    /// How the original reads differently now from the stored model, or that it cannot be read; no fault.
    pub notes: Vec<String>,
    /// Members that were checked.
    pub members: usize,
}

/// Checks structure, completeness and every digest, then reads the original again.
/// # Errors
/// Those of [`Bundle::open`].
pub fn verify(name: &str, bytes: std::sync::Arc<[u8]>) -> Result<Verified> {
    let bundle = Bundle::open(name, bytes)?;
    let faults = bundle.verify();
    let members = bundle.members().count();
    if !faults.is_empty() {
        return Ok(Verified { entry: stored(&bundle, ENTRY).ok(), faults, notes: Vec::new(), members });
    }
    let entry: Result<Entry> = stored(&bundle, ENTRY);
    let mut notes = Vec::new();
    match &entry {
        Ok(entry) => {
            notes.extend(
                reread(bundle, entry)
                    .unwrap_or_else(|error| vec![format!("the original was not read again: {error}")]),
            );
        }
        Err(error) => notes.push(format!("a valid bag, but not a bundle of this program: {error}")),
    }
    Ok(Verified { faults, entry: entry.ok(), notes, members })
}

/// What differs between the stored model and the original read with this program, besides what was corrected.
fn reread(bundle: Bundle, entry: &Entry) -> Result<Vec<String>> {
    let stored = stored_recording(&bundle)?;
    let opened = original_of(&bundle, entry)?;
    let original = opened.recording()?;
    let mut notes = match &entry.amends {
        None => differences(&stored, original)
            .iter()
            .map(|difference| {
                format!("the original now reads differently from the stored model: {difference}")
            })
            .collect(),
        Some(_) => unlike_the_amendments(&bundle, &differences(original, &stored))?,
    };
    if entry.fingerprint != stored.fingerprint().to_string() {
        notes.push("the fingerprint in entry.json is not that of the stored model".to_owned());
    }
    Ok(notes)
}

/// The error that stands for a bundle's faults.
#[must_use]
pub fn altered(name: &str, faults: &[Fault]) -> Option<Error> {
    let first = faults.first()?;
    let more =
        if faults.len() > 1 { format!(" (and {} more faults)", faults.len() - 1) } else { String::new() };
    Some(
        Error::new(Kind::Altered, format!("{first}{more}"))
            .at(Place::file(name))
            .remedy("do not use this copy; take another copy of the bundle and verify that"),
    )
}
