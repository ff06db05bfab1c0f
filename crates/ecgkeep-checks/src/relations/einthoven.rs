//! III = II - I.

use ecgkeep_recording::Lead;

use super::mismatch::{LIMITS, Relation, SOURCE, WHAT_TO_DO};
use crate::evidence::Evidence;
use crate::{Finding, Rule};

pub(crate) const RULE: Rule = Rule {
    code: "einthoven",
    title: "Lead III against II - I",
    word: "does not fit I and II",
    rule: "The stored lead III against II - I, sample by sample. WARN where the largest difference exceeds the tolerance; \
           FAIL where moreover the root mean square of the difference exceeds the policy's share of that of lead III.",
    source: SOURCE,
    threshold: super::mismatch::threshold,
    limits: LIMITS,
    what_to_do: WHAT_TO_DO,
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let relation = Relation { lead: Lead::III, words: "II - I", parts: [(Lead::II, 1.0), (Lead::I, -1.0)] };
    relation.judge(rule, evidence).into_iter().collect()
}
