//! `convert IN... -o OUT`: one file for the recordings of all inputs.

use std::path::{Path, PathBuf};

use ecgkeep::deidentify::Taken;
use ecgkeep::format::{Error, Format, Kind, Note, Place};
use ecgkeep::{
    Conversion, Disk, Found, Inputs, Misfit, Part, PartOfFile, in_order, without_identity, write_files,
};

use super::{Body, NotKept, called, damage_line, format_of, listed, notes};
use crate::args::Convert;
use crate::commands::identity::{kept, said};
use crate::commands::{open, stem_of};
use crate::exit::Exit;
use crate::output::{Outcome, Progress, print, remark_line};

const SCHEMA: &str = "ecgkeep-convert/1";

pub fn run<'a>(
    args: &Convert,
    json: bool,
    conversion: impl Fn(&'static dyn Format) -> Conversion<'a>,
) -> Result<Exit, Error> {
    let out = args.out.as_deref().unwrap_or(Path::new("-"));
    if out == Path::new("-") {
        return Err(Error::new(Kind::Usage, "one file for all does not go to standard output")
            .remedy("give it a name, such as -o all.h5"));
    }
    let format = format_of(args, out)?;
    let conversion = conversion(format);
    conversion.options.check(format.about().id, format.options())?;
    format.available()?;
    let inputs = inputs(args, out)?;
    if out.exists() && !args.overwrite && !args.dry_run {
        return Err(Error::new(Kind::Io, "already exists")
            .at(Place::file(out.display().to_string()))
            .remedy("choose another name, or --overwrite to replace it"));
    }
    if inputs.len() > 1 && !format.holds_many() {
        let (id, count) = (format.about().id, inputs.len());
        return Err(Error::new(Kind::Usage, format!("a file of {id} holds one recording, not {count}"))
            .remedy("use a format that holds many (hdf5, json), or --into DIR for a file each"));
    }
    let job = Job { args, json, out, inputs, conversion: &conversion };
    let (read, parts) = job.read();
    match conversion.misfit(&parts) {
        Some(misfit) => Ok(job.refuse(read, misfit)),
        None => job.write(read, parts),
    }
}

/// The inputs, without what an earlier run wrote into a folder that is walked.
fn inputs(args: &Convert, out: &Path) -> Result<Vec<Found>, Error> {
    let own = out.canonicalize().ok();
    let is_own = |found: &Found| own.is_some() && found.path.canonicalize().ok() == own;
    let is_named = args.paths.iter().any(|path| own.is_some() && path.canonicalize().ok() == own);
    if is_named
        || args.manifest.as_deref().is_some_and(|list| own.is_some() && list.canonicalize().ok() == own)
    {
        return Err(Error::new(Kind::Refused, format!("{} is one of the inputs", out.display()))
            .remedy("an original is never written over; choose another name"));
    }
    let mut inputs = listed(args, Inputs::of)?;
    inputs.retain(|found| !is_own(found));
    Ok(inputs)
}

struct Job<'a> {
    args: &'a Convert,
    json: bool,
    out: &'a Path,
    inputs: Vec<Found>,
    conversion: &'a Conversion<'a>,
}

/// What is said of an input that was read.
struct Told {
    leaves_filing: bool,
    taken: Vec<Taken>,
    notes: Vec<Note>,
}

type Read = Vec<Result<Told, Error>>;

impl Job<'_> {
    /// Reads all inputs; what is said of each, and the parts of those that could be read.
    fn read(&self) -> (Read, Vec<Part>) {
        let hides = self.args.identity.deidentify;
        let from = self.args.reading.from.as_deref();
        let (mut read, mut parts) = (Vec::new(), Vec::new());
        let mut progress = Progress::of(self.inputs.len(), "inputs");
        let work = |found: &Found| {
            let (input, opened) = open(&found.path, from)?;
            let filing = input.stored_filing()?;
            let leaves_filing = !hides && filing.is_some();
            Ok((leaves_filing, self.conversion.part(found, opened, filing.as_ref())?))
        };
        in_order(
            &self.inputs,
            |_, found| work(found),
            |index, result| {
                read.push(result.map(|(leaves_filing, mut part)| {
                    let (taken, notes) = (std::mem::take(&mut part.taken), std::mem::take(&mut part.notes));
                    parts.push(part);
                    Told { leaves_filing, taken, notes }
                }));
                progress.step(index + 1);
            },
        );
        progress.clear();
        (read, parts)
    }

    /// Recordings do not go together: says which, and writes nothing.
    fn refuse(&self, mut read: Read, misfit: Misfit) -> Exit {
        let readable: Vec<usize> = (0..read.len()).filter(|input| read[*input].is_ok()).collect();
        let first = self.called(readable[0]);
        read[readable[misfit.part]] = Err(misfit.error);
        let exit = self.tell(read, Vec::new());
        let more = match misfit.more {
            0 => String::new(),
            1 => "; 1 more input differs".to_owned(),
            more => format!("; {more} more inputs differ"),
        };
        remark_line(&format!("nothing is written; the first is {}{more}", first.display()));
        exit
    }

    fn write(&self, read: Read, parts: Vec<Part>) -> Result<Exit, Error> {
        if parts.is_empty() {
            let exit = self.tell(read, Vec::new());
            remark_line("nothing is written: no input could be read");
            return Ok(exit);
        }
        let hides = self.args.identity.deidentify;
        let folder = self.out.parent().map(Path::to_owned).unwrap_or_default();
        let made = self.conversion.together(parts, &stem_of(self.out));
        let made = made.map_err(|error| if hides { without_identity(&error) } else { error });
        let made = made.and_then(|made| {
            if !self.args.dry_run {
                write_files(&Disk, &folder, &made.files, self.args.overwrite)?;
            }
            Ok(made)
        });
        let made = match made {
            Ok(made) => made,
            Err(error) => {
                let exit = self.tell(read, Vec::new());
                return Ok(exit.or(print(SCHEMA, self.json, self.out, Err(error))));
            }
        };
        let (all, readable) = (read.len(), made.parts.len());
        let count: usize = made.parts.iter().map(|part| part.recordings.len()).sum();
        let file = self.file(&made.files);
        let not_kept = NotKept::default();
        if !self.args.losses.are_listed() {
            made.parts.iter().for_each(|part| not_kept.add(&part.losses));
        }
        let exit = self.tell(read, made.parts.into_iter().map(|part| (file.clone(), part)).collect());
        not_kept.say(all);
        let recordings = if count == 1 { "1 recording".to_owned() } else { format!("{count} recordings") };
        let would = if self.args.dry_run { "would hold" } else { "holds" };
        let lacks = match all - readable {
            0 => String::new(),
            lacking => format!("; it LACKS {lacking} of {all} inputs, see above"),
        };
        remark_line(&format!("{file} {would} {recordings}{lacks}"));
        Ok(exit)
    }

    fn file(&self, files: &[ecgkeep::format::File]) -> String {
        let name = files.last().map_or("", |file| file.name.as_str());
        self.out.with_file_name(name).display().to_string()
    }

    /// Says of each input what became of it; without places in a file, only of those that failed.
    fn tell(&self, read: Read, places: Vec<(String, PartOfFile)>) -> Exit {
        let hides = self.args.identity.deidentify;
        let is_written = !places.is_empty();
        let (mut places, mut exit) = (places.into_iter(), Exit::Done);
        for (input, told) in read.into_iter().enumerate() {
            let result = match told {
                Err(error) if hides => Err(without_identity(&error)),
                Err(error) => Err(error),
                Ok(_) if !is_written => continue,
                Ok(told) => match places.next() {
                    Some((file, part)) => self.outcome(input, &file, told, part),
                    None => Err(Error::new(Kind::Internal, "an input has no place").at(Place::default())),
                },
            };
            exit = exit.or(print(SCHEMA, self.json, &self.called(input), result));
        }
        exit
    }

    fn outcome(&self, input: usize, file: &str, told: Told, part: PartOfFile) -> Result<Outcome, Error> {
        let hides = self.args.identity.deidentify;
        let PartOfFile { recordings, losses } = part;
        let place = match recordings.len() {
            _ if hides => format!("in {file}"),
            0 => format!("no recording in {file}"),
            1 => format!("recording {} of {file}", recordings.start),
            _ => format!("recordings {} to {} of {file}", recordings.start, recordings.end - 1),
        };
        let would = if self.args.dry_run { "would be " } else { "" };
        let called = self.called(input);
        let lists = self.args.losses.are_listed();
        let kept = kept(losses.len(), !told.taken.is_empty(), lists);
        let text = format!("{}: {would}{place} ({kept})\n", called.display());
        let damage = damage_line(&told.notes);
        let (notes, mut remarks) = notes(told.notes, hides);
        remarks.extend(damage);
        if told.leaves_filing {
            remarks.push(format!(
                "what was supplied beside it is not in {file}: a file of many has no place for a filing"
            ));
        }
        remarks.extend(said(if lists { &losses } else { &[] }, &told.taken));
        let body = Body {
            format: self.conversion.format.about().id,
            files: vec![file.to_owned()],
            written: !self.args.dry_run,
            done_before: false,
            recordings: (!hides).then(|| recordings.collect()),
            losses: losses.iter().map(ToString::to_string).collect(),
            taken: hides.then(|| told.taken.iter().map(ToString::to_string).collect()),
            notes: notes.iter().map(ToString::to_string).collect(),
        };
        Ok(Outcome { notes, remarks, ..Outcome::done(text, body)? })
    }

    fn called(&self, input: usize) -> PathBuf {
        called(&self.inputs[input], self.args.identity.deidentify)
    }
}
