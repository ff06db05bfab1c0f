//! A named operator.

use ecgkeep_recording::Person;

use crate::evidence::Evidence;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "identity-operator",
    title: "Operator",
    word: "no operator named",
    rule: "The person who recorded must be named or numbered, in the file or beside it; placeholder words are refused. \
           FAIL otherwise.",
    source: "common practice, no source; local policy",
    threshold: |_| String::new(),
    limits: "Says that a name stands there, not that this person recorded.",
    what_to_do: "Find out who recorded, and supply the operator beside the file.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let is_named = |person: &Person| {
        evidence.policy.is_stated(&person.name.line())
            || person.id.as_ref().is_some_and(|id| evidence.policy.is_stated(&id.value))
    };
    let file = &evidence.recording.acquisition.operators;
    let beside = evidence.filing.map(|filing| filing.acquisition.operators.as_slice()).unwrap_or_default();
    if file.iter().chain(beside).any(is_named) {
        return Vec::new();
    }
    let text = match file.iter().chain(beside).map(Person::line).find(|line| !line.trim().is_empty()) {
        Some(word) => format!("no operator is named: \"{word}\" names nobody"),
        None => "no operator is named".to_owned(),
    };
    vec![rule.finding(Verdict::Fail, text)]
}
