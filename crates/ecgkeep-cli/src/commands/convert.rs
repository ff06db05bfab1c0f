//! `convert`: another format; lists what is not kept.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ecgkeep::format::{Error, File, Format, Kind, Options, Written};
use ecgkeep::{Disk, FORMATS, Found, Opened, Storage as _, format_by_id, write, write_files};
use serde::Serialize;

use super::{FilingChoice, inputs, mirrored, open, stem_of};
use crate::args::{Convert, Listed};
use crate::exit::Exit;
use crate::output::{Outcome, data_bytes, each};

#[derive(Serialize)]
struct Body {
    format: &'static str,
    files: Vec<String>,
    written: bool,
    losses: Vec<String>,
    notes: Vec<String>,
}

/// One conversion.
struct Job {
    found: Found,
    folder: PathBuf,
    stem: String,
    to_standard_output: bool,
}

pub fn run(args: &Convert, json: bool) -> Result<Exit, Error> {
    let options = options(&args.options)?;
    let (jobs, format) = plan(args, json)?;
    options.check(format.about().id, format.options())?;
    let found: Vec<Found> = jobs.iter().map(|job| job.found.clone()).collect();
    let filing = FilingChoice::of(args.filing.as_deref(), &found, true)?;
    let from = args.reading.from.as_deref();
    Ok(each(
        "ecgkeep-convert/1",
        json,
        &jobs,
        |job| job.found.path.clone(),
        |job| {
            let (input, opened) = open(&job.found.path, from)?;
            opened.refuse_damage(args.accept_damage)?;
            let Written { mut files, losses } = write(format, &opened.read.recordings, &job.stem, &options)?;
            if let Some(filing) = filing.for_input(&input, &job.found.path)? {
                files.insert(0, filing_file(&job.stem, &filing)?);
            }
            let losses: Vec<String> = losses.iter().map(ToString::to_string).collect();
            if args.losses == Listed::Refuse && !losses.is_empty() {
                return Err(Error::new(
                    Kind::Refused,
                    format!("{} would not keep: {}", format.about().id, losses.join("; ")),
                )
                .remedy("nothing was written; without --losses refuse the losses are listed"));
            }
            refuse_own_source(job, &opened, &files)?;
            let names = put(job, &files, args)?;
            let notes: Vec<String> = opened.read.notes.iter().map(ToString::to_string).collect();
            let remarks = losses.iter().map(|loss| format!("not kept: {loss}")).collect();
            let verb = if args.dry_run { "would write" } else { "wrote" };
            let kept = match losses.len() {
                0 => "everything kept".to_owned(),
                1 => "1 loss listed".to_owned(),
                count => format!("{count} losses listed"),
            };
            let text = if job.to_standard_output {
                String::new()
            } else {
                format!("{}: {verb} {} ({kept})\n", job.found.path.display(), names.join(", "))
            };
            let body =
                Body { format: format.about().id, files: names, written: !args.dry_run, losses, notes };
            Ok(Outcome { notes: opened.read.notes, remarks, ..Outcome::done(text, body)? })
        },
    ))
}

fn options(given: &[String]) -> Result<Options, Error> {
    given.iter().try_fold(Options::default(), |options, pair| match pair.split_once('=') {
        Some((name, value)) => Ok(options.with(name, value)),
        None => Err(Error::new(Kind::Usage, format!("--option {pair} is not NAME=VALUE"))),
    })
}

/// What is converted to where, decided before anything is written.
fn plan(args: &Convert, json: bool) -> Result<(Vec<Job>, &'static dyn Format), Error> {
    let usage = |what: String, remedy: &str| Error::new(Kind::Usage, what).remedy(remedy);
    if let (Some(into), Some(to)) = (&args.into, &args.to) {
        let format = format_by_id(to)?;
        let jobs: Vec<Job> = inputs(&args.paths)?
            .into_iter()
            .map(|found| Job {
                folder: mirrored(into, &found.below),
                stem: plain_stem(&stem_of(&found.below)),
                found,
                to_standard_output: false,
            })
            .collect();
        let mut targets: BTreeMap<(&Path, &str), &Path> = BTreeMap::new();
        for job in &jobs {
            if let Some(other) = targets.insert((&job.folder, &job.stem), &job.found.path) {
                let (one, two) = (other.display(), job.found.path.display());
                return Err(usage(
                    format!(
                        "{one} and {two} would both be written as {} in {}",
                        job.stem,
                        job.folder.display()
                    ),
                    "convert them into different folders",
                ));
            }
        }
        return Ok((jobs, format));
    }
    let [input, output] = args.paths.as_slice() else {
        return Err(usage(
            format!("{} paths where IN OUT are expected", args.paths.len()),
            "give IN OUT, or several inputs with --to FORMAT --into DIR",
        ));
    };
    let below = input.file_name().map_or_else(|| input.clone(), PathBuf::from);
    let found = Found { path: input.clone(), below };
    let to_standard_output = output == Path::new("-");
    let format = match &args.to {
        Some(to) => format_by_id(to)?,
        None => by_ending(output)?,
    };
    let ending = output.extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    if ending.as_deref().is_some_and(|ending| !format.about().endings.contains(&ending)) {
        return Err(usage(
            format!("{} does not end like {}", output.display(), format.about().id),
            "let the name end as the format's files do (see `ecgkeep formats`), or leave the ending out",
        ));
    }
    if to_standard_output && json {
        return Err(usage(
            "the recording and JSON cannot both go to standard output".into(),
            "give a file for OUT",
        ));
    }
    let folder = output.parent().map(Path::to_owned).unwrap_or_default();
    let stem = if to_standard_output { plain_stem(&stem_of(input)) } else { stem_of(output) };
    Ok((vec![Job { found, folder, stem, to_standard_output }], format))
}

/// The one format with this file name ending.
fn by_ending(path: &Path) -> Result<&'static dyn Format, Error> {
    let ending =
        path.extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase()).unwrap_or_default();
    let mut matching =
        FORMATS.iter().copied().filter(|format| format.about().endings.contains(&ending.as_str()));
    match (matching.next(), matching.next()) {
        (Some(format), None) => Ok(format),
        _ => Err(Error::new(
            Kind::Usage,
            format!("the ending of {} does not say which format to write", path.display()),
        )
        .remedy("name it with --to FORMAT (see `ecgkeep formats`)")),
    }
}

/// A stem that every format takes: letters, digits and underscores.
fn plain_stem(stem: &str) -> String {
    stem.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).take(50).collect()
}

fn filing_file(stem: &str, filing: &ecgkeep::recording::Filing) -> Result<File, Error> {
    let bytes = serde_json::to_vec_pretty(filing)
        .map_err(|error| Error::new(Kind::Internal, "the filing cannot be written as JSON").because(error))?;
    Ok(File { name: format!("{stem}.filing.json"), bytes })
}

/// Refuses to write over a file that was just read.
fn refuse_own_source(job: &Job, opened: &Opened, files: &[File]) -> Result<(), Error> {
    if job.to_standard_output {
        return Ok(());
    }
    let source = job.found.path.parent().map(Path::to_owned).unwrap_or_default();
    let read = opened.files.iter().map(|file| source.join(&file.name)).chain([job.found.path.clone()]);
    let read: Vec<PathBuf> = read.filter_map(|path| path.canonicalize().ok()).collect();
    let target = |file: &File| job.folder.join(&file.name);
    match files.iter().map(target).find(|path| path.canonicalize().is_ok_and(|path| read.contains(&path))) {
        Some(path) => Err(Error::new(Kind::Refused, format!("{} is the source itself", path.display()))
            .remedy("an original is never written over; choose another name or folder")),
        None => Ok(()),
    }
}

/// Writes the files, or only says which.
fn put(job: &Job, files: &[File], args: &Convert) -> Result<Vec<String>, Error> {
    if job.to_standard_output {
        let [file] = files else {
            return Err(Error::new(Kind::Usage, format!("{} files, one standard output", files.len()))
                .remedy("give a file for OUT"));
        };
        if !args.dry_run {
            data_bytes(&file.bytes);
        }
        return Ok(vec![file.name.clone()]);
    }
    if args.dry_run {
        return Ok(files.iter().map(|file| job.folder.join(&file.name).display().to_string()).collect());
    }
    if args.into.is_some() {
        Disk.make_folder(&job.folder)?;
    }
    let paths = write_files(&Disk, &job.folder, files, args.overwrite)?;
    Ok(paths.iter().map(|path| path.display().to_string()).collect())
}
