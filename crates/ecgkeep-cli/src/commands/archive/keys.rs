//! `archive keys`: make, admit and list keys.

use std::path::{Path, PathBuf};

use ecgkeep::archive::{self, Signer};
use ecgkeep::format::{Error, Kind, Place};
use ecgkeep::{Disk, Storage as _};
use serde_json::json;

use super::{Doing, one, text_of};
use crate::args::archive::Keys;
use crate::exit::Exit;
use crate::output::Outcome;

const SCHEMA: &str = "ecgkeep-archive-keys/1";

pub fn run(args: &Keys, json: bool) -> Result<Exit, Error> {
    if let (Some(path), Some(name)) = (&args.make, &args.name) {
        return one(SCHEMA, json, path, made(path, name));
    }
    let Some(dir) = &args.dir else { return Err(Error::new(Kind::Usage, "no archive is named")) };
    one(SCHEMA, json, dir, if args.admit.is_some() { admitted(dir, args) } else { listed(dir) })
}

fn made(path: &Path, name: &str) -> Result<Outcome, Error> {
    let public = make_key(path, name)?.public().written();
    let text = format!(
        "{}: a private key, readable by its owner only; {}: its public part, to be admitted to archives\n",
        path.display(),
        public_path(path).display()
    );
    Outcome::done(text, json!({ "keys": [public] }))
}

/// A new private key in a file of its owner's, the public part beside it.
pub fn make_key(path: &Path, name: &str) -> Result<Signer, Error> {
    let mut seed = [0; 32];
    random(&mut seed)?;
    let (signer, pem) = archive::new_key(name, &seed)?;
    write_private(path, pem.as_bytes())?;
    let public = signer.public().written() + "\n";
    Disk.write(&public_path(path), public.as_bytes(), false)?;
    Ok(signer)
}

fn public_path(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".pub");
    PathBuf::from(name)
}

/// Bytes that nobody can guess, from the operating system.
pub fn random(bytes: &mut [u8]) -> Result<(), Error> {
    getrandom::fill(bytes)
        .map_err(|error| Error::new(Kind::Io, "the operating system gives no random numbers").because(error))
}

fn write_private(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    use std::io::Write as _;
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.mode(0o600);
    }
    let written =
        options.open(path).and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()));
    written.map_err(|error| {
        let what = match error.kind() {
            std::io::ErrorKind::AlreadyExists => "already exists; a private key is never replaced",
            _ => "cannot write",
        };
        Error::new(Kind::Io, what).at(Place::file(super::shown(path))).because(error)
    })
}

fn admitted(dir: &Path, args: &Keys) -> Result<Outcome, Error> {
    let mut doing = Doing::maybe(dir, &args.acting)?;
    let path = args.admit.as_deref().unwrap_or(Path::new(""));
    let public = text_of(path)?;
    let (key, is_new) = archive::admit(&mut doing.archive, &public, &doing.acting, doing.signer.as_ref())
        .map_err(|error| error.at(Place::file(super::shown(path))))?;
    let there = if is_new { "admitted" } else { "admitted already" };
    Outcome::done(format!("{}: {there}\n", key.written()), json!({ "keys": [key.written()] }))
}

fn listed(dir: &Path) -> Result<Outcome, Error> {
    let keys: Vec<String> = archive::open(dir)?.keys()?.iter().map(|key| key.written()).collect();
    let text = if keys.is_empty() { "no key is admitted\n".to_owned() } else { keys.join("\n") + "\n" };
    Outcome::done(text, json!({ "keys": keys }))
}
