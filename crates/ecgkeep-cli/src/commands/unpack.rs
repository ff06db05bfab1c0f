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
    faults: Vec<String>,
    left_out: Vec<String>,
}

pub fn run(args: &Unpack, json: bool) -> Result<Exit, Error> {
    Ok(print("ecgkeep-unpack/1", json, &args.bundle, unpacked(args)))
}

fn unpacked(args: &Unpack) -> Result<Outcome, Error> {
    let folder = Folder::of(&args.bundle)?;
    let bundle = Bundle::open(folder.main(), folder.bytes(folder.main(), u64::MAX)?)?;
    let out = unpack(&bundle, folder.main(), &args.into, &Disk, args.overwrite, args.accept_damage)?;
    let shown = out.top.display().to_string();
    let mut remarks: Vec<String> = out.faults.iter().map(ToString::to_string).collect();
    remarks.extend(out.left_out.iter().map(|member| format!("{member}: cannot be read, left out")));
    let (exit, how) = if remarks.is_empty() {
        (Exit::Done, "unpacked")
    } else {
        (Exit::Altered, "DAMAGED, unpacked as far as it goes")
    };
    let text = format!("{}: {how} into {shown}\n", args.bundle.display());
    let faults = out.faults.iter().map(ToString::to_string).collect();
    let body = Body { folder: shown, faults, left_out: out.left_out };
    Ok(Outcome { exit, remarks, ..Outcome::done(text, body)? })
}
