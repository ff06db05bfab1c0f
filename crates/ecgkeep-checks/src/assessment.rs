//! Running the rules over a recording, and the answer as a whole.

use ecgkeep_recording::{CivilTime, Filing, Lead, Recording};
use serde::Serialize;

use crate::evidence::Evidence;
use crate::identity::Identifiers;
use crate::quality::{self, LeadQuality};
use crate::rhythm::{RhythmFigures, states_rhythm};
use crate::{Finding, Policy, RULES, Verdict, rule};

/// What goes with every assessment, in the order in which it is printed.
pub const CAUTIONS: &[&str] = &[
    "Technical checks of the recording only. Not a diagnosis and not a medical interpretation. No abnormality found \
     by the technical checks does not mean a normal ECG.",
    "Exchange of the left arm and left leg cables, exchange of the two leg cables and wrong chest positions are not \
     reliably detectable. Electrode contact is not assessed.",
    "Local policy decides acceptance. To be over-read by a qualified clinician.",
];

/// Judges every rule that the policy leaves on.
///
/// `now` is the caller's clock (this crate reads none); without a date in it the acquisition time is NOT ASSESSED
/// against it. The samples are read, never changed.
#[must_use]
pub fn run(recording: &Recording, filing: Option<&Filing>, policy: &Policy, now: &CivilTime) -> Assessment {
    let evidence = Evidence::new(recording, filing, policy, now);
    let mut performed = Vec::new();
    let mut findings = Vec::new();
    for rule in RULES.iter().filter(|rule| !policy.is_off(rule.code)) {
        performed.push(rule.code);
        findings.extend((rule.judge)(rule, &evidence));
    }
    let identifiers = Identifiers::of(&evidence);
    let leads = quality::leads(&evidence, &findings);
    let figures = || RhythmFigures::of(evidence.main()?, evidence.beats.as_ref().ok()?);
    Assessment {
        policy: policy.name.clone(),
        policy_version: policy.version.clone(),
        policy_changes: policy.changes(),
        unidentified: identifiers.count() < policy.identifiers_at_least,
        identity: identifiers.line(),
        usability: usability(&performed, &findings),
        leads,
        rhythm: if states_rhythm(recording) { None } else { figures() },
        performed,
        findings,
    }
}

/// The answer of all rules over one recording.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Assessment {
    /// The policy's name.
    pub policy: String,
    /// The policy's version.
    pub policy_version: String,
    /// In what the policy differs from the shipped one, an entry each; empty for the shipped one.
    pub policy_changes: Vec<String>,
    /// Whether fewer identifiers of the patient are present than the policy asks for.
    pub unidentified: bool,
    /// Which identifiers of the patient are present, as a sentence; they are never compared with the patient.
    pub identity: String,
    /// Whether the recording can be used, as far as technique was checked, as a sentence: `technically usable, as far
    /// as checked`, `technically usable with reservations: baseline wander (V1, V2)`, or `not technically usable: no
    /// tracing (V4)`. The rules on identity have no part in it, and it says nothing about the heart.
    pub usability: String,
    /// How well each lead was recorded, in the order of the recording; expected leads that are not there at the end.
    pub leads: Vec<LeadQuality>,
    /// Rate and RR intervals as computed here; `None` where the source states its own, or too few beats were found.
    pub rhythm: Option<RhythmFigures>,
    /// The codes of the rules that were judged, in order; those that came out NOT ASSESSED included.
    pub performed: Vec<&'static str>,
    /// The findings, in the order of the rules.
    pub findings: Vec<Finding>,
}

impl Assessment {
    /// The gravest of WARN and FAIL; `None` where there is neither, which says nothing about the heart.
    #[must_use]
    pub fn verdict(&self) -> Option<Verdict> {
        self.findings.iter().map(|finding| finding.verdict).max().filter(|verdict| *verdict >= Verdict::Warn)
    }

    /// The answer on one line: `no technical fault found (14 checks)` or `1 FAIL, 2 WARN (14 checks, 1 not
    /// assessed)`.
    #[must_use]
    pub fn headline(&self) -> String {
        let count = |verdict| self.findings.iter().filter(|finding| finding.verdict == verdict).count();
        let graver: Vec<String> = [Verdict::Fail, Verdict::Warn]
            .into_iter()
            .filter_map(|verdict| Some(count(verdict)).filter(|n| *n > 0).map(|n| format!("{n} {verdict}")))
            .collect();
        let not_assessed = self.not_assessed();
        let checks = match (self.performed.len(), not_assessed) {
            (1, 0) => "1 check".to_owned(),
            (all, 0) => format!("{all} checks"),
            (all, some) => format!("{all} checks, {some} not assessed"),
        };
        match graver.as_slice() {
            [] if self.performed.len() == not_assessed => format!("nothing could be assessed ({checks})"),
            [] => format!("no technical fault found ({checks})"),
            some => format!("{} ({checks})", some.join(", ")),
        }
    }

    /// Which identifiers of the patient are present, as a sentence.
    #[must_use]
    pub fn identity_line(&self) -> &str {
        &self.identity
    }

    /// How well the leads were recorded, in words, the worst first, those of which the same is to be said together: `V4
    /// not usable: no tracing (throughout)`, `I, II good`.
    #[must_use]
    pub fn leads_in_words(&self) -> Vec<String> {
        quality::in_words(&self.leads)
    }

    /// Policy name and version, and whether they are the shipped ones: `resting-adult 1`, `larkmoor 3, not the shipped
    /// one: hum_uv_warn 80 (shipped 50)`.
    #[must_use]
    pub fn policy_line(&self) -> String {
        let Assessment { policy, policy_version, policy_changes, .. } = self;
        match policy_changes.as_slice() {
            [] => format!("{policy} {policy_version}"),
            some => format!("{policy} {policy_version}, not the shipped one: {}", some.join("; ")),
        }
    }

    /// Whether the rule with this code came out NOT ASSESSED, for every lead or for some.
    #[must_use]
    pub fn is_open(&self, code: &str) -> bool {
        self.findings.iter().any(|finding| finding.code == code && finding.verdict == Verdict::NotAssessed)
    }

    /// How many of the rules performed could not be judged, wholly or for some lead.
    #[must_use]
    pub fn not_assessed(&self) -> usize {
        self.performed.iter().filter(|code| self.is_open(code)).count()
    }
}

fn usability(performed: &[&'static str], findings: &[Finding]) -> String {
    let is_technical = |code: &&&str| !code.starts_with("identity-") && **code != "filing-conflict";
    let faults = |verdict: Verdict| {
        // One entry for each word, with the leads of all its findings.
        let mut faults: Vec<(&str, Vec<&Lead>)> = Vec::new();
        for code in performed.iter().filter(is_technical) {
            let word = rule(code).map_or(*code, |rule| rule.word);
            for finding in
                findings.iter().filter(|finding| finding.code == *code && finding.verdict == verdict)
            {
                let index = faults.iter().position(|(known, _)| *known == word).unwrap_or_else(|| {
                    faults.push((word, Vec::new()));
                    faults.len() - 1
                });
                for place in &finding.places {
                    if !faults[index].1.contains(&&place.lead) {
                        faults[index].1.push(&place.lead);
                    }
                }
            }
        }
        let words = faults.iter().map(|(word, leads)| match leads.len() {
            0 => (*word).to_owned(),
            many if many >= Lead::TWELVE.len() => format!("{word} (all leads)"),
            _ => format!("{word} ({})", leads.iter().map(|lead| lead.name()).collect::<Vec<_>>().join(", ")),
        });
        words.collect::<Vec<_>>().join("; ")
    };
    match (faults(Verdict::Fail), faults(Verdict::Warn)) {
        (fail, _) if !fail.is_empty() => format!("not technically usable: {fail}"),
        (_, warn) if !warn.is_empty() => format!("technically usable with reservations: {warn}"),
        _ => "technically usable, as far as checked".to_owned(),
    }
}
