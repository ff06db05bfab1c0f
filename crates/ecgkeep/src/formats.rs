//! The one list of formats.

use std::fmt::Write as _;

use ecgkeep_format::{Error, Format, Kind, Match, PROBE_BYTES, Result, Source};

/// Every format, one line each; detection, conversion, the tests and the tables walk this slice.
pub const FORMATS: &[&dyn Format] = &[
    #[cfg(feature = "wfdb")]
    &ecgkeep_wfdb::WFDB,
    #[cfg(feature = "scp")]
    &ecgkeep_scp::SCP,
    #[cfg(feature = "aecg")]
    &ecgkeep_aecg::AECG,
    &ecgkeep_hdf5::HDF5,
    #[cfg(feature = "json")]
    &ecgkeep_json::JSON,
];

/// File name endings that many files have which are no recording; in folders such a file is taken only by its bytes.
pub(crate) const GENERAL_ENDINGS: &[&str] = &["json", "xml"];

/// The format with this id.
/// # Errors
/// [`Kind::Usage`] that lists the ids there are.
pub fn format_by_id(id: &str) -> Result<&'static dyn Format> {
    FORMATS.iter().copied().find(|format| format.about().id == id).ok_or_else(|| {
        Error::new(Kind::Usage, format!("no format is called {id}")).remedy(format!("use one of {}", ids()))
    })
}

/// How sure each format is that a source's main file is its own, the surest first; formats that say no are left
/// out.
/// # Errors
/// Those of reading the main file.
pub fn detect(source: &dyn Source) -> Result<Vec<(&'static dyn Format, Match)>> {
    let name = source.main().to_owned();
    let bytes = source.bytes(&name, u64::MAX)?;
    Ok(probe(&name, &bytes))
}

/// [`detect`] on bytes at hand.
#[must_use]
pub fn probe(name: &str, bytes: &[u8]) -> Vec<(&'static dyn Format, Match)> {
    let head = &bytes[..bytes.len().min(PROBE_BYTES)];
    let mut found: Vec<(&'static dyn Format, Match)> = FORMATS
        .iter()
        .map(|format| (*format, format.probe(name, head)))
        .filter(|found| found.1 > Match::No)
        .collect();
    found.sort_by_key(|found| std::cmp::Reverse(found.1));
    found
}

/// The format that a source is read with: the one named `from`, else the one that is surest.
/// # Errors
/// [`Kind::Usage`] for an unknown id; [`Kind::Unrecognised`] where no format or more than one claims it.
pub fn choose(source: &dyn Source, from: Option<&str>) -> Result<&'static dyn Format> {
    if let Some(id) = from {
        return format_by_id(id);
    }
    let found = detect(source)?;
    let main = ecgkeep_format::Place::file(source.main());
    match found.as_slice() {
        [] => Err(Error::new(Kind::Unrecognised, "not recognised as any ECG format known here")
            .at(main)
            .remedy(format!(
                "give the record's main file (for WFDB the .hea file), or name the format with --from ({})",
                ids()
            ))),
        [(first, sure), (second, also), ..] if sure == also => {
            let (first, second) = (first.about().id, second.about().id);
            Err(Error::new(Kind::Unrecognised, format!("may be {first} or {second}"))
                .at(main)
                .remedy(format!("settle it with --from {first} or --from {second}")))
        }
        [(first, _), ..] => Ok(*first),
    }
}

/// The ids of all formats, comma-separated.
fn ids() -> String {
    FORMATS.iter().map(|format| format.about().id).collect::<Vec<_>>().join(", ")
}

/// The table of formats in Markdown, as the README shows it.
#[must_use]
pub fn format_table() -> String {
    let mut table = String::from(
        "| id | format | standard followed | reads | writes | how far tested |\n|---|---|---|---|---|---|\n",
    );
    for format in FORMATS {
        let about = format.about();
        let writes = if about.writes.is_empty() { "nothing" } else { about.writes };
        let (id, title, standard, reads, status) =
            (about.id, about.title, about.standard, about.reads, about.status);
        // Writing to a String cannot fail.
        let _ = writeln!(table, "| `{id}` | {title} | {standard} | {reads} | {writes} | {status} |");
    }
    table
}
