//! `archive find`.

use ecgkeep::archive::{self, Hit, Query, Verdict};
use ecgkeep::checks::rule;
use ecgkeep::format::{Error, Kind};
use serde_json::json;

use super::{one, row_line, text_of};
use crate::args::archive::{Find, VerdictName};
use crate::exit::Exit;
use crate::output::Outcome;

pub fn run(args: &Find, json: bool) -> Result<Exit, Error> {
    one("ecgkeep-archive-find/1", json, &args.dir, found(args))
}

fn found(args: &Find) -> Result<Outcome, Error> {
    let query = query(args)?;
    let catalogue = archive::catalogue(&archive::open(&args.dir)?)?;
    let (mut text, mut recordings, mut corrected_away) = (String::new(), Vec::new(), Vec::new());
    for hit in catalogue.find(&query)? {
        match hit {
            Hit::Recording(row) => {
                text.push_str(&row_line(&row));
                recordings.push(row);
            }
            Hit::CorrectedAway { key, revision, why } => {
                let what = match why.as_str() {
                    "" => "corrected, and what it was corrected to cannot be read".to_owned(),
                    why => format!("corrected away: {why}; it is somebody else's now"),
                };
                text.push_str(&format!("{key}.r{revision} | {what}\n"));
                corrected_away.push(json!({ "key": key, "revision": revision, "why": why }));
            }
        }
    }
    if let Some(code) = query.finding.as_deref().filter(|code| text.is_empty() && rule(code).is_none()) {
        return Err(Error::new(Kind::Usage, format!("nothing found, and no finding has the code {code}"))
            .remedy("`ecgkeep explain` without a code lists them all"));
    }
    let unread = super::unread_line(&catalogue)?;
    let exit = match (recordings.is_empty(), &unread) {
        (false, _) => Exit::Done,
        (true, None) => Exit::No,
        (true, Some(_)) => Exit::Altered,
    };
    let mut remarks = if text.is_empty() { vec!["nothing found".to_owned()] } else { Vec::new() };
    remarks.extend(unread);
    let body = json!({ "recordings": recordings, "corrected_away": corrected_away });
    Ok(Outcome { exit, remarks, ..Outcome::done(text, body)? })
}

fn query(args: &Find) -> Result<Query, Error> {
    let given = Query {
        key: args.key.clone(),
        identifier: args.identifier.clone(),
        name: args.name.clone(),
        born: args.born,
        from: args.from,
        to: args.to,
        operator: args.operator.clone(),
        finding: args.finding.clone(),
        verdict: args.verdict.map(|verdict| match verdict {
            VerdictName::Fail => Verdict::Fail,
            VerdictName::Warn => Verdict::Warn,
            VerdictName::Clear => Verdict::Clear,
        }),
        digest: args.digest.clone(),
        order: args.order.clone(),
    };
    let Some(path) = &args.query else { return Ok(given) };
    Ok(given.or(Query::parse(&super::shown(path), &text_of(path)?)?))
}
