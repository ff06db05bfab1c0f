//! The ecgkeep program: arguments, one call of the library, print, exit.

mod args;
mod commands;
mod examples;
mod exit;
mod output;
mod progress;

use std::process::ExitCode;

use clap::FromArgMatches as _;

fn main() -> ExitCode {
    let parsed = args::command().try_get_matches();
    match parsed.and_then(|matches| args::Arguments::from_arg_matches(&matches)) {
        Ok(arguments) => commands::run(&arguments).into(),
        Err(error) => error.exit(),
    }
}
