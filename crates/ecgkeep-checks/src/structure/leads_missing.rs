//! The expected leads.

use ecgkeep_recording::{Lead, SignalUnit};

use crate::evidence::Evidence;
use crate::{Finding, Place, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "leads-missing",
    title: "Expected leads",
    word: "not recorded",
    rule: "Every expected lead must be there as a voltage, once. A limb lead that follows from two stored limb leads is \
           a NOTE (8-lead recordings store I, II and V1 to V6). Any other missing lead: FAIL. A lead stored twice in \
           one waveform: WARN.",
    source: "Einthoven's and Goldberger's relations (exact); the twelve leads are common practice, no source",
    threshold: |policy| policy.leads.iter().map(Lead::name).collect::<Vec<_>>().join(", "),
    limits: "Labels are taken as they stand: a lead under a wrong label is not seen here.",
    what_to_do: "Check that all cables were connected and that the whole recording was exported; record again.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let is_there = |lead: &Lead| {
        let twin = if *lead == Lead::AVR { Some(Lead::NegativeAVR) } else { None };
        evidence.strips.iter().any(|strip| {
            strip.length() > 0
                && (strip.lead(lead).is_some()
                    || twin.as_ref().is_some_and(|lead| strip.lead(lead).is_some()))
        })
    };
    let expected = &evidence.policy.leads;
    if !expected.is_empty() && !evidence.strips.iter().any(|strip| strip.length() > 0) {
        return vec![rule.finding(Verdict::Fail, "there is no waveform with samples")];
    }
    let (mut derivable, mut missing) = (Vec::new(), Vec::new());
    for lead in expected.iter().filter(|lead| !is_there(lead)) {
        if is_limb_lead(lead) && LIMB.iter().filter(|limb| is_there(limb)).count() >= 2 {
            derivable.push(lead.name());
        } else {
            missing.push(lead);
        }
    }
    let mut findings = Vec::new();
    if !derivable.is_empty() {
        let text =
            format!("{} not stored; computed from the stored limb leads where shown", derivable.join(", "));
        findings.push(rule.finding(Verdict::Note, text));
    }
    for lead in missing {
        let why = match without_scale(evidence, lead) {
            true => "is stored without a known voltage scale, and so is not checked",
            false => "is missing",
        };
        let text = format!("lead {lead} {why}");
        let place = Place { lead: lead.clone(), waveform: None, spans: Vec::new() };
        findings.push(Finding { places: vec![place], ..rule.finding(Verdict::Fail, text) });
    }
    findings.extend(stored_twice(rule, evidence));
    findings
}

const LIMB: [Lead; 3] = [Lead::I, Lead::II, Lead::III];

fn is_limb_lead(lead: &Lead) -> bool {
    matches!(lead, Lead::I | Lead::II | Lead::III | Lead::AVR | Lead::AVL | Lead::AVF | Lead::NegativeAVR)
}

fn without_scale(evidence: &Evidence, lead: &Lead) -> bool {
    let mut signals = evidence.recording.rhythm().flat_map(|waveform| waveform.signals());
    signals.any(|signal| signal.lead == *lead && signal.unit != SignalUnit::Volt)
}

fn stored_twice(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let mut findings = Vec::new();
    for strip in &evidence.strips {
        for (index, tracing) in strip.tracings.iter().enumerate() {
            let lead = &tracing.signal.lead;
            let nameless = matches!(lead, Lead::Unspecified);
            let earlier = strip.tracings[..index].iter().filter(|other| other.signal.lead == *lead).count();
            if !nameless && earlier == 1 {
                let text =
                    format!("lead {lead} is stored more than once in one waveform; the first is checked");
                let places = vec![strip.place(tracing)];
                findings.push(Finding { places, ..rule.finding(Verdict::Warn, text) });
            }
        }
    }
    findings
}
