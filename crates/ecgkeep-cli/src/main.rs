//! The ecgkeep program: arguments, one call of the library, print, exit.

mod args;
mod commands;
mod exit;
mod output;
mod progress;

use std::process::ExitCode;

use clap::{CommandFactory as _, FromArgMatches as _};

fn main() -> ExitCode {
    let meanings: Vec<String> =
        exit::MEANINGS.iter().map(|(exit, meaning)| format!("  {} {meaning}", exit.code())).collect();
    let command = args::Arguments::command().after_help(format!("Exit codes:\n{}", meanings.join("\n")));
    let parsed = command.try_get_matches().and_then(|matches| args::Arguments::from_arg_matches(&matches));
    match parsed {
        Ok(arguments) => commands::run(&arguments).into(),
        Err(error) => error.exit(),
    }
}
