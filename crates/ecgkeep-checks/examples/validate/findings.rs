//! On which real recordings each rule fires, beside the data sets' own labels.

use std::collections::BTreeMap;

use ecgkeep_checks::{Assessment, Finding, Policy, RULES, Verdict, run};

use super::interval::interval;
use super::judged::judgement;
use super::sets::{Failure, Record, Sets};

pub fn tables(sets: &Sets) -> Result<(), Failure> {
    let (policy, now) = (Policy::default(), "2026-03-02T12:00Z".parse()?);
    let records: Vec<&Record> = sets.twelve_leads().collect();
    let answers: Vec<Assessment> =
        records.iter().map(|record| run(&record.recording, None, &policy, &now)).collect();
    by_rule(&records, &answers);
    by_label(&records, &answers);
    by_pacing(&records, &answers);
    one_by_one(&records, &answers)
}

fn has(answer: &Assessment, code: &str, verdict: Verdict) -> bool {
    answer.findings.iter().any(|finding| finding.code == code && finding.verdict == verdict)
}

fn by_rule(records: &[&Record], answers: &[Assessment]) {
    println!("### Findings on real recordings\n");
    println!("On how many of the {} twelve-lead recordings each rule fires.\n", records.len());
    println!("| rule | FAIL | WARN | NOTE | NOT ASSESSED | WARN and FAIL on | NOTE on |");
    println!("|---|---|---|---|---|---|---|");
    for rule in RULES {
        let count = |verdict| answers.iter().filter(|answer| has(answer, rule.code, verdict)).count();
        let named = |verdicts: &[Verdict]| {
            let fires = |answer: &Assessment| verdicts.iter().any(|verdict| has(answer, rule.code, *verdict));
            let pairs = records.iter().zip(answers).filter(|(_, answer)| fires(answer));
            let on: Vec<&str> = pairs.map(|(record, _)| record.name.as_str()).collect();
            match on.len() {
                0 => "-".to_owned(),
                n if n == records.len() => "all".to_owned(),
                1..=12 => on.join(", "),
                n => format!("{}, ... ({n} in all)", on[..3].join(", ")),
            }
        };
        println!(
            "| `{}` | {} | {} | {} | {} | {} | {} |",
            rule.code,
            count(Verdict::Fail),
            count(Verdict::Warn),
            count(Verdict::Note),
            count(Verdict::NotAssessed),
            named(&[Verdict::Fail, Verdict::Warn]),
            named(&[Verdict::Note])
        );
    }
    println!();
}

/// The rules that look at what a label of PTB-XL names.
const LABELS: [(&str, &[&str]); 4] = [
    ("baseline_drift", &["baseline-wander", "baseline-step"]),
    ("static_noise", &["muscle-noise", "mains-hum"]),
    ("burst_noise", &["muscle-noise", "mains-hum", "spikes"]),
    (
        "electrodes_problems",
        &["baseline-wander", "baseline-step", "lead-flat", "signal-clipped", "amplitude-range", "spikes"],
    ),
];

fn by_label(records: &[&Record], answers: &[Assessment]) {
    println!("Against the quality labels of PTB-XL (a NOTE counts as fired):\n");
    println!(
        "| label: rules | labelled, fired | sensitivity, % (95 % interval) | unlabelled, silent | specificity, % (95 % \
         interval) | labelled, of these fired in bold | fired without the label |"
    );
    println!("|---|---|---|---|---|---|---|");
    let ptbxl: Vec<(&&Record, &Assessment)> =
        records.iter().zip(answers).filter(|(record, _)| record.name.starts_with("ptbxl")).collect();
    for (label, codes) in LABELS {
        let fired = |answer: &Assessment| answer.findings.iter().any(|finding| codes.contains(&finding.code));
        let words = |record: &Record| {
            record.quality.iter().find(|(column, _)| *column == label).map(|(_, words)| words.clone())
        };
        let (labelled, others): (Vec<_>, Vec<_>) =
            ptbxl.iter().partition(|(record, _)| words(record).is_some());
        let hits = labelled.iter().filter(|(_, answer)| fired(answer)).count();
        let silent = others.iter().filter(|(_, answer)| !fired(answer)).count();
        let number = |record: &Record| record.name.trim_start_matches("ptbxl ").to_owned();
        let shown = |(record, answer): &(&&Record, &Assessment)| {
            let text = format!("{} ({})", number(record), words(record).unwrap_or_default());
            if fired(answer) { format!("**{text}**") } else { text }
        };
        let list = |texts: Vec<String>| if texts.is_empty() { "-".to_owned() } else { texts.join(", ") };
        println!(
            "| {label}: {} | {hits} of {} | {} | {silent} of {} | {} | {} | {} |",
            codes.join(", "),
            labelled.len(),
            interval(hits, labelled.len()),
            others.len(),
            interval(silent, others.len()),
            list(labelled.iter().map(shown).collect()),
            list(
                others.iter().filter(|(_, answer)| fired(answer)).map(|(record, _)| number(record)).collect()
            )
        );
    }
    println!();
}

fn by_pacing(records: &[&Record], answers: &[Assessment]) {
    let is_paced =
        |record: &Record| record.rhythm.contains("PACE") || record.rhythm.to_lowercase().contains("pacing");
    let fired = |answer: &Assessment| answer.findings.iter().any(|finding| finding.code == "pacing-like");
    let names = |paced: bool, with_pulses: bool| {
        let chosen = records.iter().zip(answers);
        let chosen =
            chosen.filter(|(record, answer)| is_paced(record) == paced && fired(answer) == with_pulses);
        chosen.map(|(record, _)| record.name.as_str()).collect::<Vec<_>>()
    };
    let (hits, missed, extra, silent) =
        (names(true, true), names(true, false), names(false, true), names(false, false));
    println!("`pacing-like` against what the data sets say of pacing:\n");
    println!(
        "| paced, found | % (95 % interval) | paced, not found | not paced, silent | % (95 % interval) | not paced, found |"
    );
    println!("|---|---|---|---|---|---|");
    let list = |names: &[&str]| if names.is_empty() { "-".to_owned() } else { names.join(", ") };
    println!(
        "| {} of {} ({}) | {} | {} | {} of {} | {} | {} |\n",
        hits.len(),
        hits.len() + missed.len(),
        list(&hits),
        interval(hits.len(), hits.len() + missed.len()),
        list(&missed),
        silent.len(),
        silent.len() + extra.len(),
        interval(silent.len(), silent.len() + extra.len()),
        list(&extra)
    );
}

/// Every WARN and FAIL with what was measured, judged.
fn one_by_one(records: &[&Record], answers: &[Assessment]) -> Result<(), Failure> {
    println!("Every WARN and FAIL, judged by looking at the tracing:\n");
    println!("| rule | recordings | for one of them | judged |");
    println!("|---|---|---|---|");
    let mut rows: BTreeMap<(usize, &str), (Vec<String>, String)> = BTreeMap::new();
    for (record, answer) in records.iter().zip(answers) {
        for finding in answer.findings.iter().filter(|finding| finding.verdict >= Verdict::Warn) {
            let place = RULES.iter().position(|rule| rule.code == finding.code).unwrap_or(RULES.len());
            let judged = judgement(&record.name, finding.code).ok_or_else(|| {
                format!("{}: nobody has judged yet: {} {}", record.name, finding.verdict, finding.text)
            })?;
            let row = rows.entry((place, judged)).or_insert_with(|| (Vec::new(), first_part(finding)));
            if !row.0.contains(&record.name) {
                row.0.push(record.name.clone());
            }
        }
    }
    for ((place, judged), (names, text)) in rows {
        let on = match names.len() {
            n if n == records.len() => format!("all {n}"),
            1..=8 => names.join(", "),
            n => format!("{}, ... ({n} in all)", names[..3].join(", ")),
        };
        println!("| `{}` | {on} | {text} | {judged} |", RULES[place].code);
    }
    println!();
    Ok(())
}

fn first_part(finding: &Finding) -> String {
    finding.text.split(';').next().unwrap_or_default().to_owned()
}
