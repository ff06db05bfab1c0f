//! Leads with the same samples.

use ecgkeep_recording::Lead;

use crate::evidence::Evidence;
use crate::strip::{Strip, Tracing};
use crate::{Finding, Place, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "lead-duplicate",
    title: "Identical leads",
    word: "same as another lead",
    rule: "Leads of one waveform with the same voltage in every sample, or the opposite voltage in every sample: WARN. aVR \
           and -aVR may be opposites; flat leads are reported as flat.",
    source: "project choice",
    threshold: |_| String::new(),
    limits: "One sample that differs is enough to pass. Of more than 32 leads the first 32 are compared. With the left arm \
             and right leg cables exchanged I and II are alike.",
    what_to_do: "Ask how the file was converted; check the limb cables.",
    judge,
};

/// Of more leads the first are compared, so that the work stays bounded.
const MOST_LEADS: usize = 32;

/// Leads that are alike, and those that are their opposites.
struct Group<'t, 'a> {
    alike: Vec<&'t Tracing<'a>>,
    opposite: Vec<&'t Tracing<'a>>,
}

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let mut findings = Vec::new();
    for strip in evidence.strips.iter().filter(|strip| strip.length() > 1) {
        let groups = groups(strip);
        findings.extend(groups.iter().filter_map(|group| group.finding(rule, strip)));
    }
    if evidence.strips.iter().all(|strip| strip.tracings.len() < 2) {
        findings.push(super::not_assessed(rule, evidence, "leads alike"));
    }
    findings
}

fn groups<'t, 'a>(strip: &'t Strip<'a>) -> Vec<Group<'t, 'a>> {
    let mut groups: Vec<Group> = Vec::new();
    let is_flat = |counts: &[i32]| counts.iter().all(|count| *count == counts[0]);
    for tracing in strip.tracings.iter().take(MOST_LEADS).filter(|lead| !is_flat(&lead.signal.samples)) {
        let has = |group: &&mut Group, sign| are_alike(group.alike[0], tracing, sign);
        if let Some(group) = groups.iter_mut().find(|group| has(group, 1)) {
            group.alike.push(tracing);
        } else if let Some(group) = groups.iter_mut().find(|group| has(group, -1)) {
            group.opposite.push(tracing);
        } else {
            groups.push(Group { alike: vec![tracing], opposite: Vec::new() });
        }
    }
    groups
}

impl Group<'_, '_> {
    fn finding(&self, rule: &Rule, strip: &Strip) -> Option<Finding> {
        let places = |leads: &[&Tracing]| leads.iter().map(|lead| strip.place(lead)).collect::<Vec<Place>>();
        let (mut alike, opposite) = (places(&self.alike), places(&self.opposite));
        let text = match (alike.as_slice(), opposite.as_slice()) {
            ([_], []) => return None,
            ([one], [other]) if are_avr_and_minus_avr(&one.lead, &other.lead) => return None,
            (some, []) => format!("{} are alike in every sample", super::names(some)),
            (some, others) => {
                format!("{} and {} are opposite in every sample", super::names(some), super::names(others))
            }
        };
        alike.extend(opposite);
        Some(Finding { places: alike, ..rule.finding(Verdict::Warn, text) })
    }
}

fn are_avr_and_minus_avr(one: &Lead, other: &Lead) -> bool {
    let leads = [one, other];
    leads.contains(&&Lead::AVR) && leads.contains(&&Lead::NegativeAVR)
}

/// Whether one lead is the other times `sign`, exactly. Steps that differ are compared as voltages.
fn are_alike(one: &Tracing, other: &Tracing, sign: i32) -> bool {
    let (a, b) = (one.signal, other.signal);
    if a.missing != b.missing {
        return false;
    }
    if a.step == b.step && a.offset.is_zero() && b.offset.is_zero() {
        return a
            .samples
            .iter()
            .zip(&b.samples)
            .all(|(x, y)| i64::from(*x) == i64::from(sign) * i64::from(*y));
    }
    (0..a.samples.len()).filter(|at| !a.is_missing(*at)).all(|at| {
        let opposite = b.nanovolts(at).and_then(|value| value.times(sign.into()));
        a.nanovolts(at).is_some() && a.nanovolts(at) == opposite
    })
}
