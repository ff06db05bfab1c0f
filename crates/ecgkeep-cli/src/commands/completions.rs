//! `completions`: what a shell needs to complete commands and options.

use clap_complete::generate;
use ecgkeep::format::Error;

use crate::args::{Completions, command};
use crate::exit::Exit;
use crate::output::data_bytes;

pub fn run(args: &Completions) -> Result<Exit, Error> {
    let mut script = Vec::new();
    let mut command = command();
    let name = command.get_name().to_owned();
    generate(args.shell, &mut command, name, &mut script);
    data_bytes(&script);
    Ok(Exit::Done)
}
