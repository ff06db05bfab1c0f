//! The identity and technical checks of every recording in a folder, one line each.
//!
//!     cargo run -p ecgkeep-examples --bin check_folder -- examples/larkmoor
//!
//! Technical checks of the recording only, no diagnosis; every ECG is to be over-read by a qualified clinician.

use std::path::{Path, PathBuf};

use ecgkeep::checks::{self, Policy, Verdict};
use ecgkeep::format::{Limits, Result};
use ecgkeep::recording::CivilTime;
use ecgkeep::{Input, Inputs};

fn main() -> std::result::Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args_os().nth(1).ok_or("give a folder")?;
    // The library reads no clock: a program passes the time in.
    let now = "2026-03-02T18:00+01:00".parse()?;
    for found in Inputs::of(&[PathBuf::from(folder)])?.found {
        match headline(&found.path, &now) {
            Ok((Some(Verdict::Fail), headline)) => {
                println!("{}: look at it: {headline}", found.below.display())
            }
            Ok((_, headline)) => println!("{}: {headline}", found.below.display()),
            // One that cannot be read does not stop the rest.
            Err(error) => println!("{}: not read: {error}", found.below.display()),
        }
    }
    Ok(())
}

/// The gravest verdict (`None`: nothing was found) and what stands at the head of the page.
fn headline(path: &Path, now: &CivilTime) -> Result<(Option<Verdict>, String)> {
    let opened = Input::at(path)?.read(None, &Limits::default())?;
    let assessment = checks::run(opened.recording()?, None, &Policy::default(), now);
    Ok((assessment.verdict(), assessment.headline()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_demonstration_recordings_are_told_apart() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("larkmoor");
        let now = "2026-03-02T18:00+01:00".parse().expect("a time");
        let verdict = |name: &str| headline(&folder.join(name), &now).expect("it is read").0;
        assert_eq!(verdict("lm02_flat_lead.hea"), Some(Verdict::Fail));
        assert_ne!(verdict("lm01_faultless.hea"), Some(Verdict::Fail));
    }
}
