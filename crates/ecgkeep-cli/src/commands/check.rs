//! `check`: identity and technical checks.

use ecgkeep::checks::{Assessment, Finding, Verdict};
use ecgkeep::format::Error;
use serde::Serialize;

use super::{Beneath, found, open};
use crate::args::Check;
use crate::exit::Exit;
use crate::output::{Outcome, each};

#[derive(Serialize)]
struct Body {
    headline: String,
    assessment: Assessment,
    notes: Vec<String>,
}

pub fn run(args: &Check, json: bool) -> Result<Exit, Error> {
    let inputs = found(&args.input)?;
    let beneath = Beneath::of(&args.beside, &inputs)?;
    let from = args.input.reading.from.as_deref();
    Ok(each(
        "ecgkeep-check/1",
        json,
        &inputs,
        |input| input.path.clone(),
        |found| {
            let (input, opened) = open(&found.path, from)?;
            let filing = beneath.filing.for_input(&input, &found.path)?;
            let recording = opened.recording()?;
            let assessment = ecgkeep::checks::run(recording, filing.as_ref(), &beneath.policy, &beneath.now);
            let notes: Vec<String> = opened.read.notes.iter().map(ToString::to_string).collect();
            let damaged = if opened.read.is_damaged() { "DAMAGED; " } else { "" };
            let off = match beneath.policy.off.as_slice() {
                [] => String::new(),
                off => format!("; switched off: {}", off.join(", ")),
            };
            let mut text = format!(
                "{}: {damaged}{}\n  {}\n  policy {} {}{off}\n",
                found.path.display(),
                assessment.headline(),
                assessment.identity_line(),
                assessment.policy,
                assessment.policy_version
            );
            for finding in gravest_first(&assessment) {
                text.push_str(&format!("  {}\n", finding_line(finding)));
            }
            let exit = if assessment.verdict() == Some(Verdict::Fail) { Exit::No } else { Exit::Done };
            let headline = assessment.headline();
            let outcome = Outcome::done(text, Body { headline, assessment, notes })?;
            Ok(Outcome { exit, notes: opened.read.notes, ..outcome })
        },
    ))
}

/// Findings, FAIL before WARN before the rest.
pub fn gravest_first(assessment: &Assessment) -> Vec<&Finding> {
    let mut findings: Vec<&Finding> = assessment.findings.iter().collect();
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.verdict));
    findings
}

/// One finding on one line: verdict, text, measured value and threshold, code.
pub fn finding_line(finding: &Finding) -> String {
    let measured = finding.measured.as_ref().map_or_else(String::new, |value| format!(" [measured {value}"));
    let threshold = match (&finding.measured, &finding.threshold) {
        (Some(_), Some(value)) => format!(", threshold {value}]"),
        (Some(_), None) => "]".to_owned(),
        (None, Some(value)) => format!(" [threshold {value}]"),
        (None, None) => String::new(),
    };
    format!("{} {}{measured}{threshold} ({})", finding.verdict, finding.text, finding.code)
}
