//! `convert`: another format; lists what is not kept. One input to OUT, or a batch into a folder.

mod together;

use std::collections::{BTreeMap, BTreeSet};
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use ecgkeep::format::{Error, Format, Kind, Loss, Note, Options, Place, Weight};
use ecgkeep::{
    Batch, Conversion, Disk, DoneList, FORMATS, Fate, Filed, Found, Inputs, Put, Target, format_by_id,
    parse_manifest, put, targets, without_identity,
};
use serde::Serialize;

use super::identity::{self, kept, said};
use super::{FilingChoice, PROGRAM, at_least_one, inputs, open, say_passed_over, stem_of};
use crate::args::{Convert, Losses};
use crate::exit::{Exit, MEANINGS};
use crate::output::{Outcome, data_bytes, each, each_counted, remark_line};

#[derive(Serialize)]
struct Body {
    format: &'static str,
    files: Vec<String>,
    written: bool,
    /// Whether an earlier run had done it.
    done_before: bool,
    /// In one file for all: which recordings of it, counted from 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    recordings: Option<Vec<usize>>,
    losses: Vec<String>,
    /// What taking the identity out took, by field.
    #[serde(skip_serializing_if = "Option::is_none")]
    taken: Option<Vec<String>>,
    notes: Vec<String>,
}

pub fn run(args: &Convert, json: bool) -> Result<Exit, Error> {
    let options = options(&args.options)?;
    let into = args.into.iter().map(|into| (into.as_path(), "in the output folder"));
    let deidentifier = identity::deidentifier(&args.identity, &into.collect::<Vec<_>>())?;
    let conversion = |format| Conversion {
        format,
        options: &options,
        accept_damage: args.accept_damage,
        refuse_losses: args.losses == Losses::Refuse,
        deidentifier: deidentifier.as_ref(),
        program: PROGRAM,
    };
    match (&args.into, &args.to) {
        (Some(into), Some(to)) => {
            let format = format_by_id(to)?;
            options.check(format.about().id, format.options())?;
            batch(args, json, into, conversion(format))
        }
        _ if args.out.is_some() => together::run(args, json, conversion),
        _ => single(args, json, conversion),
    }
}

fn options(given: &[String]) -> Result<Options, Error> {
    given.iter().try_fold(Options::default(), |options, pair| match pair.split_once('=') {
        Some((name, value)) => Ok(options.with(name, value)),
        None => Err(Error::new(Kind::Usage, format!("--option {pair} is not NAME=VALUE"))),
    })
}

/// Many inputs into a folder.
fn batch(args: &Convert, json: bool, into: &Path, conversion: Conversion<'_>) -> Result<Exit, Error> {
    let hides = args.identity.deidentify;
    let all = if hides {
        // Files are not named after their inputs, so that these may be called the same.
        let target = |found| Target { found, folder: PathBuf::new(), stem: String::new() };
        listed(args, |paths| Inputs::outside(paths, into))?.into_iter().map(target).collect()
    } else {
        targets(listed(args, |paths| Inputs::outside(paths, into))?, conversion.format)?
    };
    let filing = FilingChoice::of(
        args.filing.as_deref(),
        &all.iter().map(|one| one.found.clone()).collect::<Vec<_>>(),
        !hides,
    )?;
    let of_shard = |target: &Target| args.shard.is_none_or(|shard| shard.holds(target.found.number));
    let own: Vec<Target> = all.into_iter().filter(of_shard).collect();
    let done = if args.dry_run { None } else { Some(DoneList::open(into, args.shard)?) };
    let from = args.reading.from.as_deref();
    let id = conversion.format.about().id;
    let batch =
        Batch { conversion, from, storage: &Disk, into, done: done.as_ref(), overwrite: args.overwrite };
    let (with_losses, before) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let lists = args.losses.are_listed();
    let not_kept = NotKept::default();
    let (exit, counts) = each_counted(
        "ecgkeep-convert/1",
        json,
        &own,
        |target| called(&target.found, hides),
        |target| {
            let work = || {
                let (input, opened) = open(&target.found.path, from)?;
                let filing = filing.for_input(&input, &target.found.path)?;
                batch.file(target, opened, filing.as_ref())
            };
            let filed = work().map_err(|error| if hides { without_identity(&error) } else { error })?;
            with_losses.fetch_add(usize::from(filed.losses > 0), Ordering::Relaxed);
            before.fetch_add(usize::from(filed.fate == Fate::DoneBefore), Ordering::Relaxed);
            if !lists {
                not_kept.add(&filed.listed);
            }
            outcome(id, &called(&target.found, hides), filed, hides, lists)
        },
    );
    not_kept.say(own.len());
    let closed = done.map_or(Ok(()), DoneList::close);
    summary(&counts, before.into_inner(), with_losses.into_inner(), args.dry_run);
    Ok(match closed {
        Ok(()) => exit,
        Err(error) => {
            remark_line(&error.to_string());
            exit.or(Exit::of(&error))
        }
    })
}

/// The inputs that arguments or a list name.
fn listed(args: &Convert, walk: impl Fn(&[PathBuf]) -> Result<Inputs, Error>) -> Result<Vec<Found>, Error> {
    let Some(list) = &args.manifest else {
        if args.paths.iter().any(|path| path == Path::new("-")) {
            return inputs(&args.paths);
        }
        let inputs = walk(&args.paths)?;
        match (inputs.passed_over.len(), args.identity.deidentify) {
            (0, _) => {}
            (count, true) => remark_line(&format!("passed over, no recordings: {count}")),
            _ => say_passed_over(&inputs.passed_over),
        }
        return at_least_one(inputs.found);
    };
    let failed = |error| {
        Error::new(Kind::Io, "cannot read the list")
            .at(Place::file(list.display().to_string()))
            .because(error)
    };
    let mut text = String::new();
    if list == Path::new("-") {
        std::io::stdin().lock().read_to_string(&mut text).map_err(failed)?;
    } else {
        text = std::fs::read_to_string(list).map_err(failed)?;
    }
    at_least_one(parse_manifest(&list.display().to_string(), &text)?)
}

/// What an input is called in messages.
fn called(found: &Found, hides: bool) -> PathBuf {
    if hides { PathBuf::from(format!("input {}", found.number)) } else { found.path.clone() }
}

/// What is said of an input that went through.
fn outcome(
    id: &'static str,
    called: &Path,
    filed: Filed,
    hides: bool,
    lists: bool,
) -> Result<Outcome, Error> {
    let files: Vec<String> = filed.paths.iter().map(|path| path.display().to_string()).collect();
    let (written, verb) = match filed.fate {
        Fate::Written => (true, "wrote"),
        Fate::DoneBefore => (true, "done before:"),
        Fate::WouldWrite => (false, "would write"),
    };
    // What an earlier run took and lost it said then.
    let is_taken = !filed.taken.is_empty() || (hides && filed.fate == Fate::DoneBefore);
    let kept = kept(filed.losses, is_taken, lists && filed.fate != Fate::DoneBefore);
    let text = format!("{}: {verb} {} ({kept})\n", called.display(), files.join(", "));
    let damage = damage_line(&filed.notes);
    let (notes, mut remarks) = notes(filed.notes, hides);
    remarks.extend(damage);
    remarks.extend(filed.remarks);
    remarks.extend(said(if lists { &filed.listed } else { &[] }, &filed.taken));
    let body = Body {
        format: id,
        files,
        written,
        done_before: filed.fate == Fate::DoneBefore,
        recordings: None,
        losses: filed.listed.iter().map(ToString::to_string).collect(),
        taken: hides.then(|| filed.taken.iter().map(ToString::to_string).collect()),
        notes: notes.iter().map(ToString::to_string).collect(),
    };
    Ok(Outcome { notes, remarks, ..Outcome::done(text, body)? })
}

/// A copy holds what could be read and no word of the damage.
fn damage_line(notes: &[Note]) -> Option<String> {
    let is_damaged = notes.iter().any(|note| note.weight == Weight::Damage);
    is_damaged.then(|| {
        "DAMAGED source: the copy holds what could be read and does not say so; keep the source".to_owned()
    })
}

/// The notes that may be printed; where identity is hidden, only how many there are.
fn notes(notes: Vec<Note>, hides: bool) -> (Vec<Note>, Vec<String>) {
    match notes.len() {
        0 => (notes, Vec::new()),
        count if hides => (Vec::new(), vec![format!("{count} notes of the reader, not shown")]),
        _ => (notes, Vec::new()),
    }
}

/// Which fields were not kept, with the number of inputs, where losses are counted and not listed.
#[derive(Default)]
struct NotKept(Mutex<BTreeMap<String, usize>>);

impl NotKept {
    /// Takes up what one input lost.
    fn add(&self, losses: &[Loss]) {
        let fields: BTreeSet<String> = losses.iter().map(|loss| loss.field.to_string()).collect();
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        fields.into_iter().for_each(|field| *known.entry(field).or_default() += 1);
    }

    fn say(self, all: usize) {
        for (field, inputs) in self.0.into_inner().unwrap_or_else(PoisonError::into_inner) {
            remark_line(&format!("not kept, or not all of it, in {inputs} of {all} inputs: {field}"));
        }
    }
}

/// Counts per verdict, on standard error.
fn summary(counts: &BTreeMap<u8, usize>, before: usize, with_losses: usize, dry_run: bool) {
    let total: usize = counts.values().sum();
    let done = counts.get(&Exit::Done.code()).copied().unwrap_or(0);
    let verb = if dry_run { "would be converted" } else { "converted" };
    let mut parts = vec![format!("{} {verb}", done - before)];
    if before > 0 {
        parts.push(format!("{before} done before"));
    }
    for (exit, meaning) in MEANINGS.iter().filter(|(exit, _)| *exit != Exit::Done) {
        if let Some(count) = counts.get(&exit.code()) {
            let meaning = meaning.split([':', ',']).next().unwrap_or(meaning);
            parts.push(format!("{count} failed with exit {} ({meaning})", exit.code()));
        }
    }
    if let Some(count) = counts.get(&Exit::Internal.code()) {
        parts.push(format!("{count} failed with exit 101 (a fault of ecgkeep)"));
    }
    let losses = if with_losses > 0 { format!("; {with_losses} with losses") } else { String::new() };
    let inputs = if total == 1 { "input" } else { "inputs" };
    remark_line(&format!("{total} {inputs}: {}{losses}", parts.join(", ")));
}

/// One input, whose OUT is named.
struct Job {
    found: Found,
    folder: PathBuf,
    stem: String,
    to_standard_output: bool,
}

fn single<'a>(
    args: &Convert,
    json: bool,
    conversion: impl Fn(&'static dyn Format) -> Conversion<'a>,
) -> Result<Exit, Error> {
    let (job, format) = job(args, json)?;
    let conversion = conversion(format);
    conversion.options.check(format.about().id, format.options())?;
    let from = args.reading.from.as_deref();
    let hides = args.identity.deidentify;
    let filing = FilingChoice::of(args.filing.as_deref(), std::slice::from_ref(&job.found), !hides)?;
    Ok(each(
        "ecgkeep-convert/1",
        json,
        &[job],
        |job| called(&job.found, hides),
        |job| {
            let work = || {
                let (input, opened) = open(&job.found.path, from)?;
                let filing = filing.for_input(&input, &job.found.path)?;
                let converted = conversion.of(&opened, &job.stem, filing.as_ref())?;
                let paths = place(job, &converted.files, &opened, args)?;
                Ok((converted, paths, opened.read.notes))
            };
            let (converted, paths, notes) =
                work().map_err(|error| if hides { without_identity(&error) } else { error })?;
            let filed = Filed {
                fate: if args.dry_run { Fate::WouldWrite } else { Fate::Written },
                paths,
                losses: converted.losses.len(),
                listed: converted.losses,
                taken: converted.taken,
                notes,
                remarks: Vec::new(),
            };
            let mut outcome = outcome(
                format.about().id,
                &called(&job.found, hides),
                filed,
                hides,
                args.losses.are_listed(),
            )?;
            if job.to_standard_output {
                outcome.text.clear();
            }
            Ok(outcome)
        },
    ))
}

/// What is converted to where, decided before anything is written.
fn job(args: &Convert, json: bool) -> Result<(Job, &'static dyn Format), Error> {
    let usage = |what: String, remedy: &str| Error::new(Kind::Usage, what).remedy(remedy);
    let [input, output] = args.paths.as_slice() else {
        return Err(usage(
            format!("IN OUT are expected, paths given: {}", args.paths.len()),
            "give IN OUT, or several inputs with --to FORMAT --into DIR, or with -o OUT for one file that holds all",
        ));
    };
    let below = input.file_name().map_or_else(|| input.clone(), PathBuf::from);
    let found = Found::new(input.clone(), below, 1);
    let to_standard_output = output == Path::new("-");
    let format = format_of(args, output)?;
    if to_standard_output && json {
        return Err(usage(
            "the recording and JSON cannot both go to standard output".into(),
            "give a file for OUT",
        ));
    }
    let folder = output.parent().map(Path::to_owned).unwrap_or_default();
    let stem = match (to_standard_output, args.identity.deidentify) {
        (true, true) => "recording".to_owned(),
        (true, false) => plain_stem(&stem_of(input)),
        (false, _) => stem_of(output),
    };
    Ok((Job { found, folder, stem, to_standard_output }, format))
}

/// The format to write OUT in: the one named, whose files must end as OUT does; else the one OUT's ending names.
fn format_of(args: &Convert, output: &Path) -> Result<&'static dyn Format, Error> {
    let format = match &args.to {
        Some(to) => format_by_id(to)?,
        None => by_ending(output)?,
    };
    let ending = output.extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    if ending.as_deref().is_some_and(|ending| !format.about().endings.contains(&ending)) {
        return Err(Error::new(
            Kind::Usage,
            format!("{} does not end like {}", output.display(), format.about().id),
        )
        .remedy(
            "let the name end as the format's files do (see `ecgkeep formats`), or leave the ending out",
        ));
    }
    Ok(format)
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

/// Writes the files, or only says which.
fn place(
    job: &Job,
    files: &[ecgkeep::format::File],
    opened: &ecgkeep::Opened,
    args: &Convert,
) -> Result<Vec<PathBuf>, Error> {
    if job.to_standard_output {
        let [file] = files else {
            return Err(Error::new(Kind::Usage, format!("{} files, one standard output", files.len()))
                .remedy("give a file for OUT"));
        };
        if !args.dry_run {
            data_bytes(&file.bytes);
        }
        return Ok(vec![PathBuf::from(&file.name)]);
    }
    if args.dry_run {
        return Ok(files.iter().map(|file| job.folder.join(&file.name)).collect());
    }
    let to = Put { storage: &Disk, folder: &job.folder, overwrite: args.overwrite };
    put(&to, &job.found.path, opened, files)
}
