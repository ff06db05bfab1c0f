//! At least two of identifier, name and birth date.

use ecgkeep_recording::Quantity;

use super::Identifiers;
use crate::evidence::Evidence;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "identity-two-identifiers",
    title: "Identifiers of the patient",
    word: "patient not identified",
    rule: "Of patient identifier, name and birth date at least two must be stated, in the file or supplied beside it. \
           FAIL otherwise; WARN, marked UNIDENTIFIED, where the policy allows an unidentified patient to be recorded. \
           Sex and age do not count; placeholder words do not count.",
    source: "two-identifier rule: Joint Commission NPSG.01.01.01; WHO Patient Identification 2007 (from memory)",
    threshold: |policy| format!("at least {} of 3", policy.identifiers_at_least),
    limits: "Says that they are present, not that they are right: nothing here compares them with the patient.",
    what_to_do: "Ask the patient, read the wristband, and supply what is missing beside the file.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let (policy, present) = (evidence.policy, Identifiers::of(evidence));
    if present.count() >= policy.identifiers_at_least {
        return Vec::new();
    }
    let (verdict, mark) = if policy.unidentified_allowed {
        (Verdict::Warn, "UNIDENTIFIED patient: ")
    } else {
        (Verdict::Fail, "")
    };
    let text = format!(
        "{mark}{} of the {} identifiers asked for are present ({})",
        present.count(),
        policy.identifiers_at_least,
        present.list()
    );
    let count = |n: usize| i64::try_from(n).ok().map(|n| Quantity::new(n, "1"));
    vec![Finding {
        measured: count(present.count()),
        threshold: count(policy.identifiers_at_least),
        ..rule.finding(verdict, text)
    }]
}
