//! `check`: identity and technical checks.

use ecgkeep::checks::{Assessment, CAUTIONS, Finding, Verdict};
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
    cautions: &'static [&'static str],
}

/// Stands below every answer.
const CAUTION: &str = "technical checks only, not a diagnosis and no word on whether the ECG is normal; to be over-read by a \
qualified clinician";

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
            let test = ecgkeep::checks::test_recording(recording, filing.as_ref(), &beneath.policy);
            let test = test.map_or_else(String::new, |reason| format!("TEST RECORDING: {reason}\n  "));
            let text = format!("{}: {test}{damaged}{}", found.path.display(), text(&assessment));
            let exit = if assessment.verdict() == Some(Verdict::Fail) { Exit::No } else { Exit::Done };
            let headline = assessment.headline();
            let outcome = Outcome::done(text, Body { headline, assessment, notes, cautions: CAUTIONS })?;
            Ok(Outcome { exit, notes: opened.read.notes, ..outcome })
        },
    ))
}

/// The answer, from the headline to the caution, a line each.
fn text(assessment: &Assessment) -> String {
    let mut lines = vec![assessment.headline(), assessment.usability.clone()];
    if !assessment.leads.is_empty() {
        lines.push(format!("leads: {}", assessment.leads_in_words().join("; ")));
    }
    lines.push(assessment.identity_line().to_owned());
    lines.extend(assessment.rhythm.as_ref().map(|figures| format!("computed: {}", figures.line())));
    lines.push(format!("policy {}", assessment.policy_line()));
    lines.extend(gravest_first(assessment).into_iter().map(finding_line));
    lines.push(CAUTION.to_owned());
    lines.join("\n  ") + "\n"
}

/// Findings, FAIL before WARN before the rest.
fn gravest_first(assessment: &Assessment) -> Vec<&Finding> {
    let mut findings: Vec<&Finding> = assessment.findings.iter().collect();
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.verdict));
    findings
}

/// One finding on one line: verdict, text (what was measured and the limit stand in it), code.
fn finding_line(finding: &Finding) -> String {
    format!("{} {} ({})", finding.verdict, finding.text, finding.code)
}
