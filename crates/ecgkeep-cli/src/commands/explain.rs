//! `explain`: what a finding means.

use ecgkeep::checks::{Policy, RULES, rule};
use ecgkeep::format::{Error, Kind};
use serde::Serialize;

use crate::args::Explain;
use crate::exit::Exit;
use crate::output::{Outcome, data, print};

/// Goes with every explanation.
const CAUTION: &str = "Technical checks only; not a diagnosis. Local policy decides; an ECG is to be over-read by a \
qualified clinician. No finding is a reason to discard or delay an urgent ECG.";

#[derive(Serialize)]
struct Body {
    title: &'static str,
    rule: &'static str,
    threshold: String,
    policy: String,
    source: &'static str,
    limits: &'static str,
    what_to_do: &'static str,
    caution: &'static str,
}

pub fn run(args: &Explain, json: bool) -> Result<Exit, Error> {
    if args.shipped_policy {
        data(&ecgkeep::shipped_policy());
        return Ok(Exit::Done);
    }
    let policy = args.policy.as_deref().map_or_else(|| Ok(Policy::default()), ecgkeep::policy_from)?;
    let rules = match &args.code {
        None if !json => {
            for rule in RULES {
                data(&format!("{:<28} {}\n", rule.code, rule.title));
            }
            data(&format!("\n{CAUTION}\n"));
            return Ok(Exit::Done);
        }
        None => RULES.iter().collect(),
        Some(code) => vec![rule(code).ok_or_else(|| {
            Error::new(Kind::Usage, format!("no finding has the code {code}"))
                .remedy("`ecgkeep explain` without a code lists them all")
        })?],
    };
    let mut exit = Exit::Done;
    for rule in rules {
        let threshold = Some((rule.threshold)(&policy)).filter(|text| !text.is_empty());
        let body = Body {
            title: rule.title,
            rule: rule.rule,
            threshold: threshold.unwrap_or_else(|| "none".to_owned()),
            policy: format!("{} {}", policy.name, policy.version),
            source: rule.source,
            limits: rule.limits,
            what_to_do: rule.what_to_do,
            caution: CAUTION,
        };
        let text = text(rule.code, &body);
        exit = exit.or(print("ecgkeep-explain/1", json, rule.code.as_ref(), Outcome::done(text, body)));
    }
    Ok(exit)
}

fn text(code: &str, body: &Body) -> String {
    let Body { title, rule, threshold, policy, source, limits, what_to_do, caution } = body;
    let parts = [
        ("rule", *rule),
        ("threshold", threshold.as_str()),
        ("policy", policy.as_str()),
        ("source", source),
        ("limits", limits),
        ("what to do", what_to_do),
    ];
    let lines: String = parts.iter().map(|(label, part)| format!("{label:<12}{}\n", wrapped(part))).collect();
    format!("{code}: {title}\n\n{lines}\n{caution}\n")
}

/// The text in lines of at most 88 characters, the second and further ones indented under the first.
fn wrapped(text: &str) -> String {
    let mut out = String::new();
    let mut width = 0;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if width > 0 && width + 1 + length > 88 {
            out.push_str("\n            ");
            width = 0;
        } else if width > 0 {
            out.push(' ');
            width += 1;
        }
        out.push_str(word);
        width += length;
    }
    out
}
