//! The augmented leads from I and II.

use ecgkeep_recording::Lead;

use super::mismatch::{LIMITS, Relation, SOURCE, WHAT_TO_DO};
use crate::evidence::Evidence;
use crate::{Finding, Rule};

pub(crate) const RULE: Rule = Rule {
    code: "goldberger",
    title: "Augmented leads against leads I and II",
    word: "does not fit I and II",
    rule: "The stored leads aVR against -(I + II)/2, aVL against I - II/2, aVF against II - I/2, sample by sample. WARN \
           where the largest difference exceeds the tolerance; FAIL where moreover the root mean square of the \
           difference exceeds the policy's share of that of the lead.",
    source: SOURCE,
    threshold: super::mismatch::threshold,
    limits: LIMITS,
    what_to_do: WHAT_TO_DO,
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let minus_avr_stored = evidence.strips.iter().any(|strip| strip.lead(&Lead::NegativeAVR).is_some());
    let avr_stored = evidence.strips.iter().any(|strip| strip.lead(&Lead::AVR).is_some());
    let mut relations = Vec::with_capacity(4);
    if avr_stored || !minus_avr_stored {
        let parts = [(Lead::I, -0.5), (Lead::II, -0.5)];
        relations.push(Relation { lead: Lead::AVR, words: "-(I + II)/2", parts });
    }
    if minus_avr_stored {
        let parts = [(Lead::I, 0.5), (Lead::II, 0.5)];
        relations.push(Relation { lead: Lead::NegativeAVR, words: "(I + II)/2", parts });
    }
    let parts = [(Lead::I, 1.0), (Lead::II, -0.5)];
    relations.push(Relation { lead: Lead::AVL, words: "I - II/2", parts });
    let parts = [(Lead::II, 1.0), (Lead::I, -0.5)];
    relations.push(Relation { lead: Lead::AVF, words: "II - I/2", parts });
    relations.iter().filter_map(|relation| relation.judge(rule, evidence)).collect()
}
