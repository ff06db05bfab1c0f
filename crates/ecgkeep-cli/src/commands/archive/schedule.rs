//! `archive schedule`: adopt a retention schedule, or show the one in force.

use ecgkeep::archive::{self, Schedule as Adopted};
use ecgkeep::format::Error;
use serde_json::{Value, json};

use super::{Doing, one, text_of};
use crate::args::archive::Schedule;
use crate::commands::now;
use crate::exit::Exit;
use crate::output::Outcome;

pub fn run(args: &Schedule, json: bool) -> Result<Exit, Error> {
    let outcome = if args.adopt.is_some() { adopted(args) } else { shown(args) };
    one("ecgkeep-archive-schedule/1", json, &args.dir, outcome)
}

fn adopted(args: &Schedule) -> Result<Outcome, Error> {
    let authority = args.authorised_by.as_deref().unwrap_or_default();
    let path = args.adopt.as_deref().unwrap_or(std::path::Path::new(""));
    let mut doing = Doing::maybe(&args.dir, &args.acting)?;
    let text = text_of(path)?;
    let (schedule, digest, is_new) = archive::adopt(
        &mut doing.archive,
        &super::shown(path),
        &text,
        authority,
        &doing.acting,
        doing.signer.as_ref(),
    )?;
    let there = if is_new { "adopted" } else { "adopted already" };
    let text = format!("{there}: {}, from {}, {digest}\n", schedule.name, schedule.effective_from);
    Outcome::done(text, body(Some((&schedule, digest.to_string()))))
}

fn shown(args: &Schedule) -> Result<Outcome, Error> {
    let archive = archive::open(&args.dir)?;
    let in_force = archive::in_force(&archive, archive::moment(&now(args.acting.at)?)?)?;
    let Some((schedule, digest)) = in_force else {
        return Outcome::done(
            "no retention schedule is in force: everything is kept\n".to_owned(),
            body(None),
        );
    };
    let mut text = format!("{}, from {}, {digest}\n", schedule.name, schedule.effective_from);
    for rule in &schedule.rules {
        text.push_str(&format!("  {}: {}\n", rule.id, rule.citation));
    }
    Outcome::done(text, body(Some((&schedule, digest.to_string()))))
}

fn body(schedule: Option<(&Adopted, String)>) -> Value {
    let of = |(schedule, digest): (&Adopted, String)| {
        let rules: Vec<&str> = schedule.rules.iter().map(|rule| rule.id.as_str()).collect();
        json!({
            "name": schedule.name, "effective_from": schedule.effective_from, "sha256": digest, "rules": rules,
        })
    };
    json!({ "schedule": schedule.map(of) })
}
