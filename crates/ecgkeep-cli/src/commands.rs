//! One file per command; what several share is here.

mod archive;
mod check;
mod compare;
mod completions;
mod convert;
mod detect;
mod explain;
mod formats;
mod identity;
mod manual;
mod report;
mod seal;
mod show;
mod unpack;
mod verify;

use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock};

use ecgkeep::checks::Policy;
use ecgkeep::format::{Error, Kind, Limits, Listings, Place};
use ecgkeep::recording::{CivilTime, Filing};
use ecgkeep::{Entry, Found, Input, Inputs, Opened, is_filing};

use crate::args::{Arguments, Beside, Command, InputArgs};
use crate::exit::Exit;
use crate::output;

/// The program and its version, as pages, bundles and events name it.
pub const PROGRAM: &str = concat!("ecgkeep ", env!("CARGO_PKG_VERSION"));

/// Runs the command.
pub fn run(arguments: &Arguments) -> Exit {
    let json = arguments.json;
    let result = match &arguments.command {
        Command::Detect(args) => detect::run(args, json),
        Command::Show(args) => show::run(args, json),
        Command::Convert(args) => convert::run(args, json),
        Command::Compare(args) => compare::run(args, json),
        Command::Check(args) => check::run(args, json),
        Command::Report(args) => report::run(args, json),
        Command::Seal(args) => seal::run(args, json),
        Command::Unpack(args) => unpack::run(args, json),
        Command::Verify(args) => verify::run(args, json),
        Command::Archive(args) => archive::run(args, json),
        Command::Formats(args) => formats::run(args, json),
        Command::Explain(args) => explain::run(args, json),
        Command::Completions(args) => completions::run(args),
        Command::Manual(args) => manual::run(args),
    };
    // What is wrong before any input is looked at.
    result.unwrap_or_else(|error| {
        output::remark_line(&error.to_string());
        Exit::of(&error)
    })
}

/// What the folders of the inputs hold, each listed once in a run.
static LISTINGS: LazyLock<Arc<Listings>> = LazyLock::new(Arc::default);

/// Files passed over in folders that are named one by one.
const PASSED_OVER_SHOWN: usize = 10;

/// The inputs named, folders walked; what folders hold besides is said on standard error.
fn inputs(paths: &[PathBuf]) -> Result<Vec<Found>, Error> {
    let dash = Path::new("-");
    if paths.iter().any(|path| path == dash) {
        if paths.len() > 1 {
            return Err(Error::new(Kind::Usage, "standard input (-) goes alone"));
        }
        return Ok(vec![Found::new(dash.to_owned(), PathBuf::from("standard-input"), 1)]);
    }
    let inputs = Inputs::of(paths)?;
    say_passed_over(&inputs.passed_over);
    at_least_one(inputs.found)
}

fn say_passed_over(paths: &[PathBuf]) {
    for path in paths.iter().take(PASSED_OVER_SHOWN) {
        output::remark_line(&format!("{}: no recording, passed over", path.display()));
    }
    if let Some(more @ 1..) = paths.len().checked_sub(PASSED_OVER_SHOWN) {
        output::remark_line(&format!("passed over, no recordings: {more} more"));
    }
}

fn at_least_one(found: Vec<Found>) -> Result<Vec<Found>, Error> {
    if found.is_empty() {
        return Err(Error::new(Kind::Unrecognised, "no recording found in the folders named")
            .remedy("name a folder that holds recordings, or the files themselves"));
    }
    Ok(found)
}

/// The same for the commands that take inputs and a reading.
fn found(args: &InputArgs) -> Result<Vec<Found>, Error> {
    inputs(&args.inputs)
}

/// The input at a path, or standard input for `-`.
fn input_at(path: &Path) -> Result<Input, Error> {
    if path != Path::new("-") {
        return Input::among(path, &LISTINGS);
    }
    let mut bytes = Vec::new();
    std::io::stdin()
        .lock()
        .read_to_end(&mut bytes)
        .map_err(|error| Error::new(Kind::Io, "cannot read standard input").because(error))?;
    Ok(Input::of_bytes(bytes))
}

/// An input, read.
fn open(path: &Path, from: Option<&str>) -> Result<(Input, Opened), Error> {
    let input = input_at(path)?;
    let opened = input.read(from, &Limits::default())?;
    Ok((input, opened))
}

/// What checking, drawing and sealing need besides the input.
struct Beneath {
    filing: FilingChoice,
    policy: Policy,
    now: CivilTime,
}

/// Where filings come from.
enum FilingChoice {
    None,
    /// The same for every input.
    Given(Box<Filing>),
    /// A file or a folder with one for the inputs that need it.
    At(PathBuf),
}

impl FilingChoice {
    /// `names_files`: whether filings that are not used may be named on standard error.
    fn of(path: Option<&Path>, inputs: &[Found], names_files: bool) -> Result<FilingChoice, Error> {
        let Some(path) = path else {
            say_filings_beside(inputs);
            return Ok(FilingChoice::None);
        };
        if path == Path::new("-") {
            if inputs.iter().any(|input| input.path == Path::new("-")) {
                return Err(Error::new(
                    Kind::Usage,
                    "standard input cannot be both the recording and the filing",
                ));
            }
            let text = std::io::read_to_string(std::io::stdin())
                .map_err(|error| Error::new(Kind::Io, "cannot read standard input").because(error))?;
            return ecgkeep::parse_filing("standard-input", &text)
                .map(|filing| FilingChoice::Given(Box::new(filing)));
        }
        if !path.exists() {
            return Err(Error::new(Kind::Io, "no such filing").at(Place::file(path.display().to_string())));
        }
        if path.is_file() && inputs.len() > 1 {
            return Err(Error::new(Kind::Usage, "one filing for several recordings")
                .remedy("a filing names one patient: give one input, or a folder that holds STEM.filing.toml for each"));
        }
        if path.is_dir() {
            say_unused_filings(path, inputs, names_files);
        }
        Ok(FilingChoice::At(path.to_owned()))
    }

    /// The filing for an input: the one given, else the one stored in the bundle it comes from.
    fn for_input(&self, input: &Input, path: &Path) -> Result<Option<Filing>, Error> {
        let given = match self {
            FilingChoice::None => None,
            FilingChoice::Given(filing) => Some((**filing).clone()),
            FilingChoice::At(given) => ecgkeep::filing_for(given, path)?,
        };
        match given {
            Some(filing) => Ok(Some(filing)),
            None => input.stored_filing(),
        }
    }
}

/// Says that filings lie beside the inputs and none was asked for: a recording that names no patient would be kept
/// unidentified though somebody has supplied who it is.
fn say_filings_beside(inputs: &[Found]) {
    let is_filed = |input: &&Found| {
        input.path.parent().is_some_and(|folder| ecgkeep::filing_in(folder, &input.path).is_some())
    };
    match inputs.iter().filter(is_filed).count() {
        0 => {}
        1 => output::remark_line(
            "a filing lies beside its recording and is not used: --filing takes it, or its folder",
        ),
        many => output::remark_line(&format!(
            "{many} filings lie beside their recordings and are not used: --filing takes their folder"
        )),
    }
}

/// Says which filings in a folder belong to none of the inputs: one with a mistyped name would be missed silently.
fn say_unused_filings(folder: &Path, inputs: &[Found], names_files: bool) {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| is_filing(name))
        .collect();
    names.sort();
    if names.is_empty() {
        output::remark_line(&format!("{}: holds no filing (STEM.filing.toml or .json)", folder.display()));
    }
    let is_used = |name: &String| {
        inputs.iter().any(|input| name.strip_prefix(&stem_of(&input.path)).is_some_and(is_filing_ending))
    };
    names.retain(|name| !is_used(name));
    if !names_files && !names.is_empty() {
        let (count, folder) = (names.len(), folder.display());
        output::remark_line(&format!("{folder}: {count} filings belong to none of the inputs"));
        return;
    }
    for name in names {
        let path = folder.join(&name);
        output::remark_line(&format!("{}: a filing that belongs to none of the inputs", path.display()));
    }
}

fn is_filing_ending(ending: &str) -> bool {
    matches!(ending, ".filing.toml" | ".filing.json")
}

impl Beneath {
    fn of(args: &Beside, inputs: &[Found]) -> Result<Beneath, Error> {
        let filing = FilingChoice::of(args.filing.as_deref(), inputs, true)?;
        let policy = args.policy.as_deref().map_or_else(|| Ok(Policy::default()), ecgkeep::policy_from)?;
        Ok(Beneath { filing, policy, now: now(args.at)? })
    }
}

/// The time given, or that of the clock, to the second, with the offset of the local time zone.
fn now(given: Option<CivilTime>) -> Result<CivilTime, Error> {
    let Some(given) = given else {
        let text = jiff::ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
        return text
            .parse()
            .map_err(|error| Error::new(Kind::Internal, format!("the clock says {text}")).because(error));
    };
    if given.date.is_none_or(|date| date.day().is_none()) || given.time.is_none() {
        return Err(Error::new(Kind::Usage, format!("--at {given} is no full date and time"))
            .remedy("write it like 2026-03-02T09:30+01:00"));
    }
    Ok(given)
}

/// The stem of an input's file name, such as output files are called.
fn stem_of(below: &Path) -> String {
    below.file_stem().map_or_else(|| "recording".to_owned(), |stem| stem.to_string_lossy().into_owned())
}

/// The folder below `into` that mirrors where the input was found.
fn mirrored(into: &Path, below: &Path) -> PathBuf {
    below.parent().map_or_else(|| into.to_owned(), |folder| into.join(folder))
}

/// Who and when, as lines about a sealed recording begin.
fn who_and_when(entry: &Entry) -> String {
    let first = entry.patient.identifiers.first().map(|identifier| identifier.value.as_str());
    said_who(
        entry.patient.name.as_deref(),
        first,
        entry.patient.birth_date.as_deref(),
        &entry.start.to_string(),
    )
}

/// The same from its parts; an empty `when` is a time that is not stated.
fn said_who(name: Option<&str>, identifiers: Option<&str>, born: Option<&str>, when: &str) -> String {
    let born = born.map(|date| format!("born {date}"));
    let said = [name, identifiers, born.as_deref()];
    let said: Vec<&str> = said.into_iter().flatten().filter(|text| !text.is_empty()).collect();
    let who = if said.is_empty() { "patient not stated".to_owned() } else { said.join(", ") };
    let when = if when.is_empty() { "time not stated" } else { when };
    format!("{who} | {when}")
}

/// What the checks of a sealed recording came to, in words and codes.
fn verdict(entry: &Entry) -> String {
    let codes = entry.checks.codes();
    let codes = if codes.is_empty() { String::new() } else { format!(": {}", codes.join(", ")) };
    let damaged = if entry.damaged { "DAMAGED; " } else { "" };
    let test = if entry.test_recording.is_some() { "TEST RECORDING; " } else { "" };
    let unidentified = if entry.unidentified { "UNIDENTIFIED; " } else { "" };
    format!("{test}{unidentified}{damaged}{}{codes}", entry.checks.headline)
}

/// Whether a file lies in a folder; neither need exist yet.
fn lies_in(file: &Path, folder: &Path) -> bool {
    let whole = |path: &Path| {
        let named = path.parent().filter(|above| !above.as_os_str().is_empty());
        let (above, name) = (named.unwrap_or(Path::new(".")), path.file_name());
        let above = above.canonicalize().or_else(|_| std::path::absolute(above)).ok()?;
        path.canonicalize().ok().or_else(|| name.map(|name| above.join(name)))
    };
    whole(file).zip(whole(folder)).is_some_and(|(file, folder)| file.starts_with(folder))
}
