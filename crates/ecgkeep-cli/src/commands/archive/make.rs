//! `archive new`.

use std::path::Path;
use std::sync::Arc;

use ecgkeep::archive::{self, Acting, Archive, Signer};
use ecgkeep::format::{Error, Kind};
use serde_json::json;

use super::{PROGRAM, one, refuse_inside, text_of};
use crate::args::archive::{Acting as ActingArgs, New};
use crate::commands::archive::keys::{make_key, random};
use crate::commands::now;
use crate::exit::Exit;
use crate::output::{Outcome, remark_line};

pub fn run(args: &New, json: bool) -> Result<Exit, Error> {
    let made = make(&args.dir, &args.acting, args.origin.as_deref());
    one("ecgkeep-archive-new/1", json, &args.dir, made.and_then(|made| outcome(&args.dir, &made)))
}

fn outcome(dir: &Path, archive: &Archive) -> Result<Outcome, Error> {
    let identity = archive.identity();
    let text = format!("{}: an archive, {}\n", dir.display(), identity.origin);
    let keys: Vec<String> = archive.keys()?.iter().map(|key| key.written()).collect();
    let checkpoint = archive.checkpoint().written();
    Outcome::done(
        text,
        json!({ "id": identity.id, "origin": identity.origin, "keys": keys, "checkpoint": checkpoint }),
    )
}

/// The name that an archive's own key is admitted under.
const OWN_KEY: &str = "archive";

/// Makes an archive; its private key too, where one is named that is not there.
pub fn make(dir: &Path, args: &ActingArgs, origin: Option<&str>) -> Result<Archive, Error> {
    let acting = Acting::new(&args.by, now(args.at)?, PROGRAM)?;
    if dir.join("archive.json").exists() {
        return Err(Error::new(Kind::Io, "there is an archive already")
            .remedy("file with archive add, or name another folder"));
    }
    let signer = args.signing_key.as_deref().map(|key| own_signer(dir, key)).transpose()?;
    let mut number = [0; 8];
    random(&mut number)?;
    let id: String = number.iter().map(|byte| format!("{byte:02x}")).collect();
    let origin = origin.map_or_else(|| format!("ecgkeep.invalid/{id}"), str::to_owned);
    archive::create(Arc::new(archive::Disk), dir, &id, &origin, &acting, signer.as_ref())
}

fn own_signer(dir: &Path, key: &Path) -> Result<Signer, Error> {
    refuse_inside(dir, key)?;
    if key.exists() {
        return archive::named_signer(OWN_KEY, &key.display().to_string(), &text_of(key)?);
    }
    let signer = make_key(key, OWN_KEY)?;
    remark_line(&format!(
        "{}: a new private key, readable by its owner only; keep a copy in a safe, and never inside the archive",
        key.display()
    ));
    Ok(signer)
}
