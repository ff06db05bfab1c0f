//! What a person supplies beside a source that cannot carry it.

use std::path::{Path, PathBuf};

use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::Filing;

use crate::storage::shown;

/// The longest filing text that is taken, in bytes.
pub const FILING_BYTES: usize = 1 << 20;

/// Reads a filing from TOML or JSON text (shape: schemas/filing.schema.json); `name` is for errors.
/// # Errors
/// [`Kind::Malformed`] with line, for text that is neither, an unknown key, or a filing without `supplied_by` or
/// `at`: who supplied it and when must be known.
pub fn parse_filing(name: &str, text: &str) -> Result<Filing> {
    let filing: Filing = if text.trim_start().starts_with('{') {
        serde_json::from_str(text).map_err(|error| {
            let place = Place::file(name).line(error.line() as u64);
            Error::malformed(place, "not a filing").because(error)
        })?
    } else {
        toml::from_str(text).map_err(|error| {
            let line =
                error.span().map(|span| 1 + text[..span.start.min(text.len())].matches('\n').count() as u64);
            let place = Place { line, ..Place::file(name) };
            Error::malformed(place, format!("not a filing: {}", error.message()))
        })?
    };
    let missing = if filing.supplied_by.line().is_empty() {
        "supplied_by"
    } else if filing.at.is_empty() {
        "at"
    } else {
        return Ok(filing);
    };
    Err(Error::malformed(Place::file(name), format!("a filing without {missing}"))
        .remedy("say who supplied it and when: supplied_by = { name = { text = \"...\" } }, at = \"2026-03-02T09:30\""))
}

/// Whether a file is called like a filing: `STEM.filing.toml` or `STEM.filing.json`.
#[must_use]
pub fn is_filing(name: &str) -> bool {
    name.ends_with(".filing.toml") || name.ends_with(".filing.json")
}

/// The filing of an input in a folder: `STEM.filing.toml` or `STEM.filing.json`; `None` where it holds none.
#[must_use]
pub fn filing_in(folder: &Path, input: &Path) -> Option<PathBuf> {
    let stem = input.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
    let candidates = ["toml", "json"].map(|ending| folder.join(format!("{stem}.filing.{ending}")));
    candidates.into_iter().find(|path| path.is_file())
}

/// The filing for one input: the file `given`, or where `given` is a folder the file `STEM.filing.toml` or
/// `STEM.filing.json` in it, `None` where it holds none.
/// # Errors
/// [`Kind::Io`], or those of [`parse_filing`].
pub fn filing_for(given: &Path, input: &Path) -> Result<Option<Filing>> {
    let path = if given.is_dir() {
        match filing_in(given, input) {
            Some(path) => path,
            None => return Ok(None),
        }
    } else {
        PathBuf::from(given)
    };
    let name = shown(&path);
    let failed =
        |error: std::io::Error| Error::new(Kind::Io, "cannot read").at(Place::file(&name)).because(error);
    if std::fs::metadata(&path).map_err(failed)?.len() > FILING_BYTES as u64 {
        return Err(
            Error::new(Kind::Limit, format!("longer than {FILING_BYTES} bytes")).at(Place::file(&name))
        );
    }
    parse_filing(&name, &std::fs::read_to_string(&path).map_err(failed)?).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = r#"
supplied_by = { name = { text = "R. Quill" } }
at = "2026-03-02T09:30+01:00"

[subject]
identifiers = [{ value = "LK-20417", assigner = "Larkmoor" }]
birth_date = "1958-04-19"
sex = "female"

[subject.name]
family = "Aldous"
given = "Wren"

[acquisition]
operators = [{ name = { text = "R. Quill" } }]
"#;

    #[test]
    fn toml_and_json_say_the_same() {
        let filing = parse_filing("a.toml", TEXT).unwrap();
        assert_eq!(filing.subject.name.line(), "Wren Aldous");
        let json = serde_json::to_string(&filing).unwrap();
        assert_eq!(parse_filing("a.json", &json).unwrap(), filing);
    }

    #[test]
    fn a_wrong_filing_is_refused_with_its_line() {
        let wrong = TEXT.replace("sex = ", "gender = ");
        let error = parse_filing("a.toml", &wrong).unwrap_err().to_string();
        assert!(error.starts_with("a.toml, line 8: not a filing: unknown field `gender`"), "{error}");
        let error = parse_filing("a.toml", &TEXT.replace("at = ", "#")).unwrap_err().to_string();
        assert!(error.contains("a filing without at"), "{error}");
    }
}
