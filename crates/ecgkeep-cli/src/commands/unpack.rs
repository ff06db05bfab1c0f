//! `unpack`: a bundle's files into a folder.

use ecgkeep::format::{Error, Folder, Source as _};
use ecgkeep::{Bundle, Disk, unpack};
use serde::Serialize;

use crate::args::Unpack;
use crate::exit::Exit;
use crate::output::{Outcome, print};

#[derive(Serialize)]
struct Body {
    folder: String,
}

pub fn run(args: &Unpack, json: bool) -> Result<Exit, Error> {
    Ok(print("ecgkeep-unpack/1", json, &args.bundle, unpacked(args)))
}

fn unpacked(args: &Unpack) -> Result<Outcome, Error> {
    let folder = Folder::of(&args.bundle)?;
    let bundle = Bundle::open(folder.main(), folder.bytes(folder.main(), u64::MAX)?)?;
    let top = unpack(&bundle, folder.main(), &args.into, &Disk, args.overwrite, args.accept_damage)?;
    let shown = top.display().to_string();
    Outcome::done(format!("{}: unpacked into {shown}\n", args.bundle.display()), Body { folder: shown })
}
