//! What is printed where: data to standard output, everything else to standard error.

use std::collections::BTreeMap;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use ecgkeep::format::{Error, Kind, Note};
use ecgkeep::kind_word;
use serde::Serialize;

use crate::exit::Exit;
pub use crate::progress::Progress;

/// What one input came to: text for a person, the body of its JSON object, an exit.
pub struct Outcome {
    /// For standard output; ends in a line feed where it is not empty.
    pub text: String,
    /// What the reader noticed; for standard error.
    pub notes: Vec<Note>,
    /// Further lines for standard error.
    pub remarks: Vec<String>,
    /// The command's own part of the JSON object.
    pub body: serde_json::Value,
    /// How it ended.
    pub exit: Exit,
}

impl Outcome {
    /// Done, with text and JSON body.
    pub fn done(text: String, body: impl Serialize) -> Result<Outcome, Error> {
        let body = serde_json::to_value(body).map_err(|error| {
            Error::new(Kind::Internal, "the result cannot be written as JSON").because(error)
        })?;
        Ok(Outcome { text, notes: Vec::new(), remarks: Vec::new(), body, exit: Exit::Done })
    }
}

/// The JSON object of one input.
#[derive(Serialize)]
struct Object<'a> {
    schema: &'a str,
    input: String,
    exit: u8,
    error: Option<ErrorObject<'a>>,
    #[serde(flatten)]
    body: serde_json::Value,
}

#[derive(Serialize)]
struct ErrorObject<'a> {
    kind: String,
    text: String,
    file: Option<&'a str>,
    part: Option<&'a str>,
    line: Option<u64>,
    byte: Option<u64>,
    remedy: Option<&'a str>,
}

/// Does `work` on every input, in parallel, printing in order; one failing does not stop the rest.
pub fn each<T: Sync>(
    schema: &str,
    json: bool,
    inputs: &[T],
    path: impl Fn(&T) -> PathBuf + Sync,
    work: impl Fn(&T) -> Result<Outcome, Error> + Sync,
) -> Exit {
    each_counted(schema, json, inputs, path, work).0
}

/// [`each`], and how many inputs ended with which exit.
pub fn each_counted<T: Sync>(
    schema: &str,
    json: bool,
    inputs: &[T],
    path: impl Fn(&T) -> PathBuf + Sync,
    work: impl Fn(&T) -> Result<Outcome, Error> + Sync,
) -> (Exit, BTreeMap<u8, usize>) {
    let (mut exit, mut counts) = (Exit::Done, BTreeMap::new());
    let mut progress = Progress::of(inputs.len(), "inputs");
    ecgkeep::in_order(
        inputs,
        |_, input| (path(input), work(input)),
        |index, (path, result)| {
            progress.clear();
            let ended = print(schema, json, &path, result);
            *counts.entry(ended.code()).or_default() += 1;
            exit = exit.or(ended);
            progress.step(index + 1);
        },
    );
    (exit, counts)
}

/// Prints one result about a file and returns its exit.
pub fn print(schema: &str, json: bool, path: &Path, result: Result<Outcome, Error>) -> Exit {
    let lines = |error: &Error| located(path, error);
    print_with(schema, json, &path.display().to_string(), result, &lines, &|note| note_line(path, note))
}

/// Prints one result about something that is no file beside others, such as a key: its name stands before every line.
pub fn print_about(schema: &str, json: bool, subject: &str, result: Result<Outcome, Error>) -> Exit {
    let lines = |error: &Error| format!("{subject}: {error}");
    print_with(schema, json, subject, result, &lines, &|note| format!("{subject}: {note}"))
}

fn print_with(
    schema: &str,
    json: bool,
    shown: &str,
    result: Result<Outcome, Error>,
    error_line: &dyn Fn(&Error) -> String,
    note_line: &dyn Fn(&Note) -> String,
) -> Exit {
    match result {
        Ok(outcome) => {
            for remark in &outcome.remarks {
                remark_line(&format!("{shown}: {remark}"));
            }
            for note in &outcome.notes {
                remark_line(&note_line(note));
            }
            if json {
                let exit = outcome.exit.code();
                data(&line(&Object {
                    schema,
                    input: shown.to_owned(),
                    exit,
                    error: None,
                    body: outcome.body,
                }));
            } else {
                data(&outcome.text);
            }
            outcome.exit
        }
        Err(error) => {
            let exit = Exit::of(&error);
            if json {
                let place = error.place();
                let object = ErrorObject {
                    kind: kind_word(error.kind()).to_owned(),
                    text: error.to_string(),
                    file: place.file.as_deref(),
                    part: place.part.as_deref(),
                    line: place.line,
                    byte: place.byte,
                    remedy: error.what_to_do(),
                };
                let body = serde_json::Value::Object(serde_json::Map::new());
                let (input, exit) = (shown.to_owned(), exit.code());
                data(&line(&Object { schema, input, exit, error: Some(object), body }));
            }
            remark_line(&error_line(&error));
            exit
        }
    }
}

/// The error with the path of the input: `folder/1.hea, line 2: …`.
fn located(path: &Path, error: &Error) -> String {
    format!("{}{error}", before(path, error.place().file.as_deref()))
}

/// The note likewise, its weight after its place: `folder/1.hea, line 2: departure: …`.
fn note_line(path: &Path, note: &Note) -> String {
    let before = before(path, note.place.file.as_deref());
    let place = if note.place.is_empty() { String::new() } else { format!("{}: ", note.place) };
    let clause = note.clause.map_or_else(String::new, |clause| format!(" ({clause})"));
    format!("{before}{place}{}: {}{clause}", note.weight, note.text)
}

/// What stands before a message about `file`: the folder of the input where `file` lies in it, else its path.
fn before(path: &Path, file: Option<&str>) -> String {
    let is_bundle = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("zip"));
    let own_name = path.file_name().and_then(|name| name.to_str());
    match file {
        Some(file) if file == path.display().to_string() => String::new(),
        Some(file) if file.contains(['/', '\\']) || (is_bundle && Some(file) != own_name) => {
            format!("{}: ", path.display())
        }
        Some(_) => path.parent().map(|folder| folder.join("").display().to_string()).unwrap_or_default(),
        None => format!("{}: ", path.display()),
    }
}

fn line(object: &impl Serialize) -> String {
    // Strings, numbers and values that were JSON already always serialise.
    let mut text = serde_json::to_string(object).unwrap_or_default();
    text.push('\n');
    text
}

/// Whether the reader of standard output went away.
static NOBODY_READS: AtomicBool = AtomicBool::new(false);

/// Standard output. Where its reader went away nothing more is printed there; the work goes on, and ends as it would have.
pub fn data(text: &str) {
    data_bytes(text.as_bytes());
}

/// [`data`] for bytes.
pub fn data_bytes(bytes: &[u8]) {
    if NOBODY_READS.load(Ordering::Relaxed) {
        return;
    }
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Ok(()) => {}
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => {
            NOBODY_READS.store(true, Ordering::Relaxed)
        }
        Err(error) => {
            remark_line(&format!("standard output: {error}"));
            std::process::exit(i32::from(Exit::Io.code()));
        }
    }
}

/// Standard error.
pub fn remark_line(text: &str) {
    // Nothing is left to tell when standard error itself is gone.
    let _ = writeln!(io::stderr(), "ecgkeep: {text}");
}
