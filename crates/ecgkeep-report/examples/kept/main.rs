//! Writes the pages of which the project keeps digests, as SVG, HTML and PDF:
//! `cargo run -p ecgkeep-report --features pdf --example kept FOLDER`.
//!
//! Look at a changed page before its digest is renewed (tests/it/kept.rs).

mod sheets;

use std::error::Error;
use std::fs;
use std::path::PathBuf;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("usage: kept FOLDER")?);
    fs::create_dir_all(&folder)?;
    for (name, sheet) in sheets::sheets()? {
        for page in 0..sheet.pages.len() {
            fs::write(folder.join(format!("{name}-{}.svg", page + 1)), ecgkeep_report::svg(&sheet, page))?;
        }
        fs::write(folder.join(format!("{name}.html")), ecgkeep_report::html(&sheet))?;
        #[cfg(feature = "pdf")]
        fs::write(
            folder.join(format!("{name}.pdf")),
            ecgkeep_report::pdf(&sheet, &ecgkeep_recording::CivilTime::default())?,
        )?;
    }
    Ok(())
}
