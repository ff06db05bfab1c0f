//! On which real recordings each rule fires, beside the data sets' own labels.

use ecgkeep_checks::{Assessment, Policy, RULES, Verdict, run};
use ecgkeep_recording::CivilTime;

use super::sets::{Failure, Record, Sets};

/// The files carry no identity; these rules would fire on every one.
const NOT_HERE: [&str; 4] =
    ["identity-two-identifiers", "identity-operator", "identity-time", "filing-conflict"];

pub fn tables(sets: &Sets) -> Result<(), Failure> {
    let policy = Policy { off: NOT_HERE.map(str::to_owned).to_vec(), ..Policy::default() };
    let records: Vec<&Record> = sets.twelve_leads().collect();
    let answers: Vec<Assessment> =
        records.iter().map(|record| run(&record.recording, None, &policy, &CivilTime::default())).collect();
    by_rule(&records, &answers);
    by_label(&records, &answers);
    Ok(())
}

fn by_rule(records: &[&Record], answers: &[Assessment]) {
    println!("### Findings on real recordings\n");
    println!("| rule | FAIL | WARN | NOTE | NOT ASSESSED | WARN and FAIL on | NOTE on |");
    println!("|---|---|---|---|---|---|---|");
    for rule in RULES.iter().filter(|rule| !NOT_HERE.contains(&rule.code)) {
        let has = |answer: &Assessment, verdict: Verdict| {
            answer.findings.iter().any(|finding| finding.code == rule.code && finding.verdict == verdict)
        };
        let count = |verdict| answers.iter().filter(|answer| has(answer, verdict)).count();
        let named = |verdicts: &[Verdict]| {
            let fires = |answer: &Assessment| verdicts.iter().any(|verdict| has(answer, *verdict));
            let pairs = records.iter().zip(answers).filter(|(_, answer)| fires(answer));
            let on: Vec<&str> = pairs.map(|(record, _)| record.name.as_str()).collect();
            match on.len() {
                0 => "-".to_owned(),
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
    ("burst_noise", &["muscle-noise", "mains-hum"]),
    (
        "electrodes_problems",
        &["baseline-wander", "baseline-step", "lead-flat", "signal-clipped", "amplitude-range"],
    ),
];

fn by_label(records: &[&Record], answers: &[Assessment]) {
    println!("Against the quality labels of PTB-XL (a NOTE counts as fired):\n");
    println!("| label | labelled | of these fired | fired without the label |");
    println!("|---|---|---|---|");
    for (label, codes) in LABELS {
        let fired = |answer: &Assessment| answer.findings.iter().any(|finding| codes.contains(&finding.code));
        let ptbxl = || records.iter().zip(answers).filter(|(record, _)| record.name.starts_with("ptbxl"));
        let words = |record: &Record| {
            record.quality.iter().find(|(column, _)| *column == label).map(|(_, words)| words.clone())
        };
        let names = |with_label: bool, with_fire: Option<bool>| {
            let matches = |(record, answer): &(&&Record, &Assessment)| {
                words(record).is_some() == with_label && with_fire.is_none_or(|fire| fired(answer) == fire)
            };
            let shown = |(record, _): (&&Record, &Assessment)| match words(record) {
                Some(words) => format!("{} ({words})", record.name.trim_start_matches("ptbxl ")),
                None => record.name.trim_start_matches("ptbxl ").to_owned(),
            };
            let list: Vec<String> = ptbxl().filter(matches).map(shown).collect();
            if list.is_empty() { "-".to_owned() } else { list.join(", ") }
        };
        println!(
            "| {label}: {} | {} | {} | {} |",
            codes.join(", "),
            names(true, None),
            names(true, Some(true)),
            names(false, Some(true))
        );
    }
    println!();
}
