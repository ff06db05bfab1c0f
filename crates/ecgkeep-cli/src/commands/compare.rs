//! `compare`: two recordings, field by field and sample by sample.

use ecgkeep::format::Error;
use ecgkeep::recording::{Difference, differences};
use serde::Serialize;

use super::open;
use crate::args::Compare;
use crate::exit::Exit;
use crate::output::{Outcome, print};

#[derive(Serialize)]
struct Body {
    with: String,
    same_samples: bool,
    fingerprints: [String; 2],
    differences: Vec<Difference>,
}

pub fn run(args: &Compare, json: bool) -> Result<Exit, Error> {
    Ok(print("ecgkeep-compare/1", json, &args.a, compare(args)))
}

fn compare(args: &Compare) -> Result<Outcome, Error> {
    let from = args.reading.from.as_deref();
    let (_, first) = open(&args.a, from)?;
    let (_, second) = open(&args.b, from)?;
    let (a, b) = (first.recording()?, second.recording()?);
    let found = differences(a, b);
    let fingerprints = [a.fingerprint().to_string(), b.fingerprint().to_string()];
    let same_samples = fingerprints[0] == fingerprints[1];
    let mut text: String = found.iter().map(|difference| format!("{difference}\n")).collect();
    let samples = if same_samples { "the same samples" } else { "other samples" };
    text.push_str(&match found.len() {
        0 => format!("no difference; {samples}, digest {}\n", fingerprints[0]),
        1 => format!("1 difference; {samples}\n"),
        count => format!("{count} differences; {samples}\n"),
    });
    let exit = if found.is_empty() { Exit::Done } else { Exit::No };
    let with = args.b.display().to_string();
    let outcome = Outcome::done(text, Body { with, same_samples, fingerprints, differences: found })?;
    Ok(Outcome { exit, ..outcome })
}
