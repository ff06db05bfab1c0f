//! `archive acknowledge`.

use ecgkeep::archive::{self, Key};
use ecgkeep::format::{Error, Kind, Place};
use serde_json::json;

use super::{Doing, about_key};
use crate::args::archive::Acknowledge;
use crate::exit::Exit;
use crate::output::Outcome;

/// The longest answer that is kept, in bytes.
const ANSWER_BYTES: u64 = 16 << 20;

pub fn run(args: &Acknowledge, json: bool) -> Result<Exit, Error> {
    let mut doing = Doing::of(&args.dir, &args.acting)?;
    about_key("ecgkeep-archive-acknowledge/1", json, &mut doing, &args.key, |doing, key| {
        acknowledged(args, doing, key)
    })
}

fn acknowledged(args: &Acknowledge, doing: &mut Doing, key: Key) -> Result<Outcome, Error> {
    let place = || Place::file(super::shown(&args.receipt));
    let failed = |error: std::io::Error| Error::new(Kind::Io, "cannot read").at(place()).because(error);
    if std::fs::metadata(&args.receipt).map_err(failed)?.len() > ANSWER_BYTES {
        let what = format!("an answer longer than {ANSWER_BYTES} bytes");
        return Err(Error::new(Kind::Limit, what).at(place()));
    }
    let answer = std::fs::read(&args.receipt).map_err(failed)?;
    let catalogue = doing.catalogue()?;
    let done = archive::acknowledge(
        &mut doing.archive,
        &catalogue,
        key,
        args.revision,
        &answer,
        &doing.acting,
        doing.signer.as_ref(),
    )?;
    let there = if done.is_new { "acknowledged" } else { "acknowledged already by the same answer" };
    let text = format!("{key}.r{} | {there}\n", done.revision);
    let mut remarks = Vec::new();
    if !done.was_exported {
        remarks.push(
            "no export of this revision stands in the journal: make sure that the answer is for it"
                .to_owned(),
        );
    }
    if done.revision < done.newest {
        remarks.push(format!("revision {} is newer and still to be handed over", done.newest));
    }
    let body = json!({
        "revision": done.revision, "newest": done.newest, "was_exported": done.was_exported, "is_new": done.is_new,
    });
    Ok(Outcome { remarks, ..Outcome::done(text, body)? })
}
