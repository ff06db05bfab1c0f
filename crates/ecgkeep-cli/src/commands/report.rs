//! `report`: the printable page.

use std::path::Path;

use ecgkeep::format::{Error, File, Kind};
use ecgkeep::report::sheet;
use ecgkeep::{Disk, Found, PageForm, Storage as _, page_facts, page_files, write_files};
use serde::Serialize;

use super::{Beneath, PROGRAM, found, mirrored, open, stem_of};
use crate::args::Report;
use crate::exit::Exit;
use crate::output::{Outcome, data, each};

#[derive(Serialize)]
struct Body {
    pages: Vec<String>,
    headline: String,
}

pub fn run(args: &Report, json: bool) -> Result<Exit, Error> {
    let inputs = found(&args.input)?;
    let beneath = Beneath::of(&args.beside, &inputs)?;
    let target = Target::of(args, &inputs, json)?;
    let paper = args.paper.paper();
    if let Some(fault) = paper.filters.fault() {
        return Err(Error::new(Kind::Usage, fault).remedy("give other frequencies in hertz"));
    }
    let from = args.input.reading.from.as_deref();
    Ok(each(
        "ecgkeep-report/1",
        json,
        &inputs,
        |input| input.path.clone(),
        |found| {
            let (input, opened) = open(&found.path, from)?;
            opened.refuse_damage(args.accept_damage)?;
            let filing = beneath.filing.for_input(&input, &found.path)?;
            let recording = opened.recording()?;
            let assessment = ecgkeep::checks::run(recording, filing.as_ref(), &beneath.policy, &beneath.now);
            let facts = page_facts(&opened, recording, filing.as_ref(), &beneath.policy, PROGRAM);
            let sheet = sheet(recording, &assessment, &facts, &paper);
            let files = page_files(&sheet, &target.stem(found), target.form(), &beneath.now)?;
            let written = target.write(found, &files, args.overwrite)?;
            let text = written.iter().map(|path| format!("{}: {path}\n", found.path.display())).collect();
            let outcome = Outcome::done(text, Body { pages: written, headline: assessment.headline() })?;
            Ok(Outcome { notes: opened.read.notes, ..outcome })
        },
    ))
}

/// Where the pages go.
enum Target<'a> {
    StandardOutput,
    File(&'a Path, PageForm),
    Folder(&'a Path, PageForm),
}

impl<'a> Target<'a> {
    fn of(args: &'a Report, inputs: &[Found], json: bool) -> Result<Target<'a>, Error> {
        let usage = |what: &str, remedy: &str| Err(Error::new(Kind::Usage, what).remedy(remedy));
        let form = args.form.page();
        let Some(out) = args.out.as_deref() else {
            return match args.into.as_deref() {
                Some(into) => Ok(Target::Folder(into, form)),
                None => {
                    usage("no place to write the page", "give -o OUT.svg, or --into DIR for several inputs")
                }
            };
        };
        if inputs.len() > 1 {
            return usage("several inputs, one output", "use --into DIR");
        }
        if out == Path::new("-") {
            return match json {
                true => usage("the page and JSON cannot both go to standard output", "give -o OUT.svg"),
                false => Ok(Target::StandardOutput),
            };
        }
        let ending = out.extension().map(|ending| ending.to_string_lossy()).unwrap_or_default();
        match PageForm::from_ending(&ending) {
            Some(form) => Ok(Target::File(out, form)),
            None => usage(
                "the ending does not say how to write the page",
                "let the name end in .svg, .pdf or .html",
            ),
        }
    }

    fn form(&self) -> PageForm {
        match self {
            Target::StandardOutput => PageForm::Svg,
            Target::File(_, form) | Target::Folder(_, form) => *form,
        }
    }

    fn stem(&self, found: &Found) -> String {
        match self {
            Target::File(path, _) => stem_of(path),
            _ => stem_of(&found.below),
        }
    }

    fn write(&self, found: &Found, files: &[File], overwrite: bool) -> Result<Vec<String>, Error> {
        let folder = match self {
            Target::StandardOutput => {
                let [page] = files else {
                    return Err(Error::new(
                        Kind::Usage,
                        format!("{} pages, one standard output", files.len()),
                    )
                    .remedy("give -o OUT.svg"));
                };
                data(&String::from_utf8_lossy(&page.bytes));
                return Ok(Vec::new());
            }
            Target::File(path, _) => path.parent().map(Path::to_owned).unwrap_or_default(),
            Target::Folder(into, _) => {
                let folder = mirrored(into, &found.below);
                Disk.make_folder(&folder)?;
                folder
            }
        };
        let paths = write_files(&Disk, &folder, files, overwrite)?;
        Ok(paths.iter().map(|path| path.display().to_string()).collect())
    }
}
