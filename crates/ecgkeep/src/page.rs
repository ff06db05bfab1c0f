//! The printable page as files.

use ecgkeep_checks::{Policy, test_recording};
use ecgkeep_deidentify::stated_method;
use ecgkeep_format::{Error, File, Kind, Result};
use ecgkeep_recording::{CivilTime, Filing, Recording};
use ecgkeep_report::{PageFacts, Sheet};

use crate::input::Opened;
use crate::seal::correction_line;

/// How a sheet is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum PageForm {
    /// One SVG file a page: `STEM.svg`, `STEM-2.svg`, ...
    Svg,
    /// One PDF/A-2u file for all pages.
    Pdf,
    /// One self-contained HTML file for all pages.
    Html,
}

impl PageForm {
    /// The form with this file name ending, upper or lower case.
    #[must_use]
    pub fn from_ending(ending: &str) -> Option<PageForm> {
        [PageForm::Svg, PageForm::Pdf, PageForm::Html]
            .into_iter()
            .find(|form| form.ending().eq_ignore_ascii_case(ending))
    }

    /// Its file name ending.
    #[must_use]
    pub fn ending(self) -> &'static str {
        match self {
            PageForm::Svg => "svg",
            PageForm::Pdf => "pdf",
            PageForm::Html => "html",
        }
    }
}

/// The files of a sheet, named after `stem`. `made` stands in a PDF as the time it was made.
/// # Errors
/// [`Kind::Unsupported`] for PDF where this build leaves it out (feature `pdf`), [`Kind::Refused`] where the rules of
/// PDF/A cannot be kept.
pub fn page_files(sheet: &Sheet, stem: &str, form: PageForm, made: &CivilTime) -> Result<Vec<File>> {
    let whole = |bytes| vec![File { name: format!("{stem}.{}", form.ending()), bytes }];
    match form {
        PageForm::Svg => Ok((0..sheet.pages.len())
            .map(|page| {
                let number = if page == 0 { String::new() } else { format!("-{}", page + 1) };
                let bytes = ecgkeep_report::svg(sheet, page).into_bytes();
                File { name: format!("{stem}{number}.svg"), bytes }
            })
            .collect()),
        PageForm::Html => Ok(whole(ecgkeep_report::html(sheet).into_bytes())),
        PageForm::Pdf => pdf_bytes(sheet, made).map(whole),
    }
}

#[cfg(feature = "pdf")]
fn pdf_bytes(sheet: &Sheet, made: &CivilTime) -> Result<Vec<u8>> {
    ecgkeep_report::pdf(sheet, made).map_err(|error| {
        Error::new(Kind::Refused, "no PDF can be made of this page")
            .because(error)
            .remedy("write it as .svg or .html")
    })
}

#[cfg(not(feature = "pdf"))]
fn pdf_bytes(_: &Sheet, _: &CivilTime) -> Result<Vec<u8>> {
    Err(Error::new(Kind::Unsupported, "this build writes no PDF")
        .remedy("build with the feature pdf, or write the page as .svg or .html"))
}

/// What the page says besides recording and findings; the policy says which words stand for no patient.
#[must_use]
pub fn page_facts(
    opened: &Opened,
    recording: &Recording,
    filing: Option<&Filing>,
    policy: &Policy,
    program: &str,
) -> PageFacts {
    PageFacts {
        digest: recording.fingerprint().to_string(),
        filing: filing.cloned(),
        notes: opened.read.notes.iter().map(ToString::to_string).collect(),
        damaged: opened.read.is_damaged(),
        test_recording: test_recording(recording, filing, policy),
        deidentified: stated_method(recording).map(str::to_owned),
        superseded: None,
        correction: opened.amends.as_ref().map(|amends| correction_line(amends, None)),
        program: program.to_owned(),
    }
}
