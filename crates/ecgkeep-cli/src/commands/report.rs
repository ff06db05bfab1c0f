//! `report`: the printable page.

use std::path::Path;

use ecgkeep::format::{Error, File, Kind};
use ecgkeep::report::{Paper, sheet, svg};
use ecgkeep::{Disk, Found, Storage as _, page_facts, write_files};
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
            let facts = page_facts(&opened, recording, filing.as_ref(), PROGRAM);
            let sheet = sheet(recording, &assessment, &facts, &Paper::default());
            let pages: Vec<String> = (0..sheet.pages.len()).map(|page| svg(&sheet, page)).collect();
            let written = target.write(found, pages, args.overwrite)?;
            let text = written.iter().map(|path| format!("{}: {path}\n", found.path.display())).collect();
            Outcome::done(text, Body { pages: written, headline: assessment.headline() })
        },
    ))
}

/// Where the pages go.
enum Target<'a> {
    StandardOutput,
    File(&'a Path),
    Folder(&'a Path),
}

impl<'a> Target<'a> {
    fn of(args: &'a Report, inputs: &[Found], json: bool) -> Result<Target<'a>, Error> {
        let usage = |what: &str, remedy: &str| Err(Error::new(Kind::Usage, what).remedy(remedy));
        match (&args.out, &args.into) {
            (None, None) => {
                usage("no place to write the page", "give -o OUT.svg, or --into DIR for several inputs")
            }
            (Some(_), _) if inputs.len() > 1 => usage("several inputs, one output", "use --into DIR"),
            (Some(out), _) if out == Path::new("-") && json => {
                usage("the page and JSON cannot both go to standard output", "give -o OUT.svg")
            }
            (Some(out), _) if out == Path::new("-") => Ok(Target::StandardOutput),
            (Some(out), _) if !out.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("svg")) => {
                usage("a page is written as SVG", "let the name end in .svg")
            }
            (Some(out), _) => Ok(Target::File(out)),
            (None, Some(into)) => Ok(Target::Folder(into)),
        }
    }

    fn write(&self, found: &Found, pages: Vec<String>, overwrite: bool) -> Result<Vec<String>, Error> {
        let (folder, stem) = match self {
            Target::StandardOutput => {
                if pages.len() > 1 {
                    return Err(Error::new(
                        Kind::Usage,
                        format!("{} pages, one standard output", pages.len()),
                    )
                    .remedy("give -o OUT.svg"));
                }
                data(&pages.concat());
                return Ok(Vec::new());
            }
            Target::File(path) => (path.parent().map(Path::to_owned).unwrap_or_default(), stem_of(path)),
            Target::Folder(into) => {
                let folder = mirrored(into, &found.below);
                Disk.make_folder(&folder)?;
                (folder, stem_of(&found.below))
            }
        };
        let files: Vec<File> = pages
            .into_iter()
            .enumerate()
            .map(|(page, svg)| {
                let number = if page == 0 { String::new() } else { format!("-{}", page + 1) };
                File { name: format!("{stem}{number}.svg"), bytes: svg.into_bytes() }
            })
            .collect();
        let paths = write_files(&Disk, &folder, &files, overwrite)?;
        Ok(paths.iter().map(|path| path.display().to_string()).collect())
    }
}
