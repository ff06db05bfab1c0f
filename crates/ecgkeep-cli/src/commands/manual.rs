//! `manual`: the manual pages, made from the definitions of the arguments.

use clap_mangen::Man;
use ecgkeep::format::{Error, File, Kind};
use ecgkeep::{Disk, Storage as _, write_files};

use crate::args::{Manual, command};
use crate::exit::Exit;
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
    // Options that hold for every command are made known to each by `build`.
    let mut whole = command();
    whole.build();
    let mut pages = Vec::new();
    add(&whole, &mut pages)?;
    Ok(pages)
}

fn add(command: &clap::Command, pages: &mut Vec<File>) -> Result<(), Error> {
    let title = command.get_display_name().unwrap_or(command.get_name()).to_owned();
    let mut bytes = Vec::new();
    Man::new(command.clone())
        .title(title.to_uppercase())
        .manual("ecgkeep manual")
        .render(&mut bytes)
        .map_err(|error| Error::new(Kind::Internal, "the page cannot be written").because(error))?;
    pages.push(File { name: format!("{title}.1"), bytes });
    let mut commands = command.get_subcommands().filter(|command| command.get_name() != "help");
    commands.try_for_each(|command| add(command, pages))
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
        let commands = command().get_subcommands().count();
        assert!(pages.len() > commands, "{} pages for {commands} commands", pages.len());
    }
}
