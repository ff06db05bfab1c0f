//! What stands white on black in the head of every page.

use ecgkeep_checks::{Assessment, Finding, Verdict};
use ecgkeep_recording::Lead;

use crate::{PageFacts, words};

/// What the whole recording is, the gravest first; these also stand behind the tracings.
pub(crate) fn banners(assessment: &Assessment, facts: &PageFacts) -> Vec<&'static str> {
    let is_conflict =
        |finding: &Finding| finding.code == "filing-conflict" && finding.verdict == Verdict::Fail;
    let all = [
        (facts.superseded.is_some(), "SUPERSEDED"),
        (facts.test_recording.is_some(), "TEST RECORDING"),
        (facts.damaged, "DAMAGED"),
        (facts.deidentified.is_some(), "DE-IDENTIFIED"),
        (assessment.unidentified, "UNIDENTIFIED"),
        (assessment.findings.iter().any(is_conflict), "FILING CONFLICT"),
        (facts.correction.is_some(), "CORRECTED"),
    ];
    all.into_iter().filter(|(holds, _)| *holds).map(|(_, word)| word).collect()
}

/// All of them in words, where they stand in a text; `None` where there is none.
pub(crate) fn in_words(assessment: &Assessment, facts: &PageFacts) -> Option<String> {
    let boxes = boxes(assessment, facts);
    (!boxes.is_empty()).then(|| boxes.join("; "))
}

/// The banners, then what the checks say of leads and cables that nobody must overlook.
pub(crate) fn boxes(assessment: &Assessment, facts: &PageFacts) -> Vec<String> {
    let mut boxes: Vec<String> = banners(assessment, facts).into_iter().map(str::to_owned).collect();
    boxes.extend(without_tracing(&assessment.findings));
    let is_suspected =
        |finding: &Finding| finding.code.starts_with("cable-") && finding.verdict >= Verdict::Warn;
    if assessment.findings.iter().any(is_suspected) {
        boxes.push("CABLES MAY BE EXCHANGED".to_owned());
    }
    boxes.extend(cables_not_assessed(assessment));
    boxes
}

/// Leads are named as long as their names are no longer than this; a source may call a lead what it likes.
const LETTERS: usize = 20;

/// `NO TRACING: V4, V5`, or how many leads.
fn without_tracing(findings: &[Finding]) -> Option<String> {
    let is_without = |finding: &&Finding| {
        matches!(finding.code, "lead-flat" | "leads-missing") && finding.verdict == Verdict::Fail
    };
    let mut is_any = false;
    let mut leads: Vec<&Lead> = Vec::new();
    for finding in findings.iter().filter(is_without) {
        is_any = true;
        for place in &finding.places {
            if !leads.contains(&&place.lead) {
                leads.push(&place.lead);
            }
        }
    }
    let names = leads.iter().map(|lead| words::lead(lead)).collect::<Vec<_>>().join(", ");
    let which = match leads.len() {
        0 => String::new(),
        _ if names.chars().count() <= LETTERS => format!(": {names}"),
        1 => ": 1 LEAD".to_owned(),
        many => format!(": {many} LEADS"),
    };
    is_any.then(|| format!("NO TRACING{which}"))
}

/// The rules on cables, with the cables that each looks at.
const CABLES: [(&str, &str); 3] =
    [("cable-neutral", "RIGHT LEG"), ("cable-limb", "LIMB"), ("cable-chest", "CHEST")];

/// `CHEST CABLES NOT ASSESSED`, without a name where none of the rules that are on could be judged.
fn cables_not_assessed(assessment: &Assessment) -> Option<String> {
    let performed = CABLES.iter().filter(|(code, _)| assessment.performed.contains(code));
    let (open, judged): (Vec<_>, Vec<_>) = performed.partition(|(code, _)| assessment.is_open(code));
    let mut which = open.iter().map(|(_, name)| *name).collect::<Vec<_>>().join(" AND ");
    if judged.is_empty() {
        which.clear();
    }
    (!open.is_empty()).then(|| format!("{which} CABLES NOT ASSESSED").trim_start().to_owned())
}
