//! `manual`: the manual pages, made from the definitions of the arguments.

use clap_mangen::Man;
use clap_mangen::roff::{Roff, bold, roman};
use ecgkeep::checks::CAUTIONS;
use ecgkeep::format::{Error, File, Kind};
use ecgkeep::{Disk, Storage as _, write_files};

use super::PROGRAM;
use crate::args::{Manual, command};
use crate::exit::{Exit, MEANINGS, SEVERAL};
use crate::output::{data, data_bytes};

pub fn run(args: &Manual) -> Result<Exit, Error> {
    let pages = pages()?;
    if let Some(into) = &args.into {
        Disk.make_folder(into)?;
        for path in write_files(&Disk, into, &pages, args.overwrite)? {
            data(&format!("{}\n", path.display()));
        }
        return Ok(Exit::Done);
    }
    let wanted = format!("{}.1", [&["ecgkeep".to_owned()][..], &args.words].concat().join("-"));
    match pages.iter().find(|page| page.name == wanted) {
        Some(page) => data_bytes(&page.bytes),
        None => {
            let what = format!("no command is called {}", args.words.join(" "));
            return Err(Error::new(Kind::Usage, what).remedy("`ecgkeep --help` lists the commands"));
        }
    }
    Ok(Exit::Done)
}

/// One page for the program and one for each command, `ecgkeep-COMMAND.1`.
fn pages() -> Result<Vec<File>, Error> {
    // Options that hold for every command are made known to each by `build`; that `help` is a command needs no page.
    let mut whole = command().disable_help_subcommand(true);
    whole.build();
    let mut pages = Vec::new();
    add(&whole, None, &mut pages)?;
    Ok(pages)
}

/// Adds the page of a command, which belongs to another, and the pages of those that belong to it.
fn add(command: &clap::Command, above: Option<&str>, pages: &mut Vec<File>) -> Result<(), Error> {
    let title = command.get_display_name().unwrap_or(command.get_name()).to_owned();
    let failed = |error| Error::new(Kind::Internal, "the page cannot be written").because(error);
    let bytes = page(command, &title, above).map_err(failed)?;
    pages.push(File { name: format!("{title}.1"), bytes });
    command.get_subcommands().try_for_each(|command| add(command, Some(&title), pages))
}

fn page(command: &clap::Command, title: &str, above: Option<&str>) -> std::io::Result<Vec<u8>> {
    let man = Man::new(command.clone().subcommand_help_heading("COMMANDS"))
        .title(title.to_uppercase())
        .source(PROGRAM)
        .manual("ecgkeep manual");
    let mut page = Vec::new();
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    synopsis(command).to_writer(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    if command.has_subcommands() {
        man.render_subcommands_section(&mut page)?;
    }
    let mut more = Roff::new();
    exit_status(&mut more);
    if let (Some(text), Some(_)) = (command.get_after_long_help(), above) {
        examples(&mut more, &text.to_string());
    }
    more.control("SH", ["CAUTION"]).text([roman(CAUTIONS.join(" "))]);
    if let Some(above) = above {
        more.control("SH", ["SEE ALSO"]).text([bold(above), roman("(1)")]);
    }
    more.to_writer(&mut page)?;
    Ok(page)
}

/// The line of usage with its values; the options stand below.
fn synopsis(command: &clap::Command) -> Roff {
    let usage = command.clone().render_usage().to_string();
    let mut roff = Roff::new();
    roff.control("SH", ["SYNOPSIS"]);
    roff.text([roman(usage.trim_start_matches("Usage: ").trim())]);
    roff
}

fn exit_status(roff: &mut Roff) {
    roff.control("SH", ["EXIT STATUS"]);
    for (exit, meaning) in MEANINGS {
        roff.control("TP", ["5"]).text([bold(exit.code().to_string())]).text([roman(*meaning)]);
    }
    roff.control("PP", []).text([roman(SEVERAL)]);
}

/// The examples of the help, whose first line says what they are for.
fn examples(roff: &mut Roff, text: &str) {
    let (what_for, lines) = text.split_once('\n').unwrap_or((text, ""));
    let what_for = what_for.split_once(": ").map_or(what_for, |(_, what_for)| what_for);
    roff.control("SH", ["EXAMPLES"]).text([roman(capitalised(what_for))]);
    roff.control("PP", []).control("nf", []).control("RS", ["4"]);
    lines.lines().for_each(|line| {
        roff.text([roman(line.trim())]);
    });
    roff.control("RE", []).control("fi", []);
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_has_a_page() {
        let pages = pages().expect("the pages are written");
        let text = |name: &str| {
            let page = pages.iter().find(|page| page.name == name).expect("there is such a page");
            String::from_utf8_lossy(&page.bytes).into_owned()
        };
        assert!(text("ecgkeep.1").contains("ecgkeep\\-convert(1)"));
        let convert = text("ecgkeep-convert.1");
        assert!(
            convert.starts_with(".ie") && convert.contains("\\-\\-losses") && convert.contains("\\-\\-json")
        );
        for said in [
            ".SH SYNOPSIS\necgkeep convert [OPTIONS] [FILE]...",
            ".SH \"EXIT STATUS\"\n.TP 5\n\\fB0\\fR\ndone",
            ".SH EXAMPLES\nOne recording; what would be lost in another format",
            "\necgkeep convert . \\-\\-to aecg \\-\\-into copies\n",
            "Not a diagnosis",
            "\\fBecgkeep\\fR(1)",
        ] {
            assert!(convert.contains(said), "{said} in {convert}");
        }
        assert!(!text("ecgkeep.1").contains("ecgkeep\\-help"), "help is no command of its own page");
        let commands = command().get_subcommands().count();
        assert!(pages.len() > commands, "{} pages for {commands} commands", pages.len());
    }
}
