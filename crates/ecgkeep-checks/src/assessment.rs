//! Running the rules over a recording, and the answer as a whole.

use ecgkeep_recording::{CivilTime, Filing, Recording};
use serde::Serialize;

use crate::evidence::Evidence;
use crate::identity::Identifiers;
use crate::{Finding, Policy, RULES, Verdict};

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
    Assessment {
        policy: policy.name.clone(),
        policy_version: policy.version.clone(),
        unidentified: identifiers.count() < policy.identifiers_at_least,
        identity: identifiers.line(),
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
    /// Whether fewer identifiers of the patient are present than the policy asks for.
    pub unidentified: bool,
    /// Which identifiers of the patient are present, as a sentence; they are never compared with the patient.
    pub identity: String,
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

    /// Whether the recording can be used, as far as technique was checked: `technically usable, as far as checked`,
    /// `technically usable with reservations: baseline-wander`, or `not technically usable: lead-flat`. The rules on
    /// identity have no part in it, and it says nothing about the heart.
    #[must_use]
    pub fn usability(&self) -> String {
        let codes = |verdict: Verdict| {
            let is_technical = |code: &&str| !code.starts_with("identity-") && *code != "filing-conflict";
            let has = |code: &&str| {
                self.findings.iter().any(|finding| finding.code == *code && finding.verdict == verdict)
            };
            self.performed.iter().copied().filter(is_technical).filter(has).collect::<Vec<_>>().join(", ")
        };
        match (codes(Verdict::Fail), codes(Verdict::Warn)) {
            (fail, _) if !fail.is_empty() => format!("not technically usable: {fail}"),
            (_, warn) if !warn.is_empty() => format!("technically usable with reservations: {warn}"),
            _ => "technically usable, as far as checked".to_owned(),
        }
    }

    /// How many of the rules performed could not be judged, wholly or for some lead.
    #[must_use]
    pub fn not_assessed(&self) -> usize {
        let is_open = |code: &str| {
            self.findings
                .iter()
                .any(|finding| finding.code == code && finding.verdict == Verdict::NotAssessed)
        };
        self.performed.iter().filter(|code| is_open(code)).count()
    }
}
