//! `detect`: which format, how sure.

use ecgkeep::format::{Error, Match};
use serde::Serialize;

use super::{found, input_at};
use crate::args::Detect;
use crate::exit::Exit;
use crate::output::{Outcome, each};

#[derive(Serialize)]
struct Body {
    bundle: bool,
    formats: Vec<Candidate>,
}

#[derive(Serialize)]
struct Candidate {
    format: &'static str,
    title: &'static str,
    standard: &'static str,
    sure: &'static str,
}

pub fn run(args: &Detect, json: bool) -> Result<Exit, Error> {
    if let Some(id) = &args.input.reading.from {
        ecgkeep::format_by_id(id)?;
    }
    let inputs = found(&args.input)?;
    Ok(each(
        "ecgkeep-detect/1",
        json,
        &inputs,
        |input| input.path.clone(),
        |found| {
            let input = input_at(&found.path)?;
            let source = input.source()?;
            let candidates = ecgkeep::detect(&*source)?;
            if candidates.is_empty() {
                // The error that choosing gives says what to do.
                ecgkeep::choose(&*source, None)?;
            }
            let bundle = input.bundle().is_some();
            let formats: Vec<Candidate> = candidates
                .iter()
                .map(|(format, sure)| {
                    let about = format.about();
                    Candidate {
                        format: about.id,
                        title: about.title,
                        standard: about.standard,
                        sure: words(*sure),
                    }
                })
                .collect();
            let text = formats
                .iter()
                .map(|candidate| {
                    let inside = if bundle { "bundle of " } else { "" };
                    let Candidate { format, title, standard, sure } = candidate;
                    format!("{}: {inside}{format}, {sure} ({title}; {standard})\n", found.path.display())
                })
                .collect();
            Outcome::done(text, Body { bundle, formats })
        },
    ))
}

fn words(sure: Match) -> &'static str {
    match sure {
        Match::No => "no",
        Match::ByName => "by its name only",
        Match::ByKind => "by its kind only",
        Match::Likely => "likely",
        Match::Certain => "certain",
    }
}
