//! `archive hold` and `archive release`.

use ecgkeep::archive;
use ecgkeep::format::Error;
use serde_json::json;

use super::{Doing, one};
use crate::args::archive::{Hold, Release};
use crate::exit::Exit;
use crate::output::Outcome;

pub fn hold(args: &Hold, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-hold/1", json, &args.dir, held(args))
}

fn held(args: &Hold) -> Result<Outcome, Error> {
    let mut doing = Doing::of(&args.dir, &args.acting)?;
    let keys = doing.keys(&args.keys)?;
    archive::hold(&mut doing.archive, &keys, &args.authority, &doing.acting, doing.signer.as_ref())?;
    let text: String = keys.iter().map(|key| format!("{key} | held under {}\n", args.authority)).collect();
    let keys: Vec<String> = keys.iter().map(ToString::to_string).collect();
    Outcome::done(text, json!({ "keys": keys, "authority": args.authority }))
}

pub fn release(args: &Release, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-release/1", json, &args.dir, released(args))
}

fn released(args: &Release) -> Result<Outcome, Error> {
    let mut doing = Doing::of(&args.dir, &args.acting)?;
    let keys = doing.keys(&args.keys)?;
    let holds =
        archive::release(&mut doing.archive, &keys, &args.authority, &doing.acting, doing.signer.as_ref())?;
    let still = doing.archive.held(&keys.iter().copied().collect())?;
    let line = |key: &archive::Key| {
        let still = if still.contains_key(key) { "; still held under another authority" } else { "" };
        format!("{key} | released from {}{still}\n", args.authority)
    };
    let text: String = keys.iter().map(line).collect();
    let still: Vec<String> = still.keys().map(ToString::to_string).collect();
    let keys: Vec<String> = keys.iter().map(ToString::to_string).collect();
    let body = json!({ "keys": keys, "authority": args.authority, "holds": holds, "still_held": still });
    Outcome::done(text, body)
}
