//! The one list of rules.

use std::fmt;

use crate::evidence::Evidence;
use crate::finding::{Finding, Verdict};
use crate::policy::Policy;
use crate::{identity, interchange, polarity, relations, signal, structure};

/// Every rule, in the order in which they are judged and printed.
pub const RULES: &[Rule] = &[
    identity::two_identifiers::RULE,
    identity::operator::RULE,
    identity::time::RULE,
    identity::filing_conflict::RULE,
    structure::leads_missing::RULE,
    structure::lead_flat::RULE,
    structure::lead_gap::RULE,
    structure::duration::RULE,
    structure::sampling_rate::RULE,
    structure::resolution::RULE,
    structure::filters::RULE,
    relations::einthoven::RULE,
    relations::goldberger::RULE,
    signal::duplicate::RULE,
    signal::clipped::RULE,
    signal::range::RULE,
    signal::low_voltage::RULE,
    signal::step::RULE,
    signal::spikes::RULE,
    signal::pacing::RULE,
    signal::wander::RULE,
    signal::mains::RULE,
    signal::muscle::RULE,
    signal::heart_rate::RULE,
    polarity::lead_i::RULE,
    polarity::lead_avr::RULE,
    interchange::neutral::RULE,
    interchange::limb::RULE,
    interchange::chest::RULE,
];

/// The rule of this code.
#[must_use]
pub fn rule(code: &str) -> Option<&'static Rule> {
    RULES.iter().find(|rule| rule.code == code)
}

/// One rule, with what a person needs to weigh its findings.
#[derive(Clone, Copy)]
pub struct Rule {
    /// Its code: short, never reused for another rule.
    pub code: &'static str,
    /// Its title, a few words.
    pub title: &'static str,
    /// What is wrong with a lead or a recording that it finds fault with, in two or three words.
    pub word: &'static str,
    /// What is judged, and when which verdict is given.
    pub rule: &'static str,
    /// Where the rule comes from.
    pub source: &'static str,
    /// Its thresholds under a policy, in words; empty where it has none.
    pub threshold: fn(&Policy) -> String,
    /// What it cannot see, and what else gives the same picture.
    pub limits: &'static str,
    /// What to do at the bedside or at the desk.
    pub what_to_do: &'static str,
    /// The rule itself.
    pub(crate) judge: fn(&Rule, &Evidence) -> Vec<Finding>,
}

impl Rule {
    /// A finding of this rule about the whole recording, without figures.
    pub(crate) fn finding(&self, verdict: Verdict, text: impl Into<String>) -> Finding {
        Finding {
            code: self.code,
            verdict,
            places: Vec::new(),
            text: text.into(),
            measured: None,
            threshold: None,
            source: self.source,
        }
    }
}

impl fmt::Debug for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Rule").field("code", &self.code).finish_non_exhaustive()
    }
}
