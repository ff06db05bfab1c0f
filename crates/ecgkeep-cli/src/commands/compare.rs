//! `compare`: two recordings, field by field and sample by sample.

use ecgkeep::Opened;
use ecgkeep::format::Error;
use ecgkeep::recording::{Difference, differences};
use serde::Serialize;

use super::open;
use crate::args::Compare;
use crate::exit::Exit;
use crate::output::{Outcome, print};

const SCHEMA: &str = "ecgkeep-compare/1";

#[derive(Serialize)]
struct Body {
    with: String,
    same_samples: bool,
    fingerprints: [String; 2],
    differences: Vec<Difference>,
}

pub fn run(args: &Compare, json: bool) -> Result<Exit, Error> {
    let from = args.reading.from.as_deref();
    let read =
        |path| open(path, from).and_then(|(_, opened)| opened.recording().map(|_| ()).map(|()| opened));
    let second = match read(&args.b) {
        Ok(second) => second,
        Err(error) => return Ok(print(SCHEMA, json, &args.b, Err(error))),
    };
    let result = read(&args.a).and_then(|first| compare(args, &first, &second));
    Ok(print(SCHEMA, json, &args.a, result))
}

fn compare(args: &Compare, first: &Opened, second: &Opened) -> Result<Outcome, Error> {
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
