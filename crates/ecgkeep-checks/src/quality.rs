//! What the rules say of each lead, in words and second by second.

use std::fmt;

use ecgkeep_recording::{Lead, Span};
use serde::Serialize;

use crate::evidence::Evidence;
use crate::strip::Strip;
use crate::{Finding, Place, Verdict, rule};

/// How well one lead was recorded, as far as the rules that were judged can tell. It says nothing about the heart, nor
/// about where the electrode was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LeadQuality {
    /// The lead.
    pub lead: Lead,
    /// The index of the waveform that holds it; `None` for an expected lead that no waveform holds.
    pub waveform: Option<usize>,
    /// How well, in a word.
    pub grade: Grade,
    /// What is wrong with it, each in two or three words, the gravest first; empty for a good one.
    pub faults: Vec<&'static str>,
    /// For each second begun, from the first, the codes of the rules that found fault with it there; empty for a lead
    /// that is not assessed or not recorded.
    pub seconds: Vec<Vec<&'static str>>,
}

/// The grade of a lead: that of the gravest finding that names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Grade {
    /// No rule names it.
    Good,
    /// A NOTE names it.
    Fair,
    /// The rules on voltages could not be judged: a long-term recording, or one without samples.
    NotAssessed,
    /// A WARN names it.
    Poor,
    /// A FAIL names it.
    NotUsable,
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Grade::Good => "good",
            Grade::Fair => "fair",
            Grade::NotAssessed => "not assessed",
            Grade::Poor => "poor",
            Grade::NotUsable => "not usable",
        })
    }
}

impl LeadQuality {
    /// Grade, faults and seconds: `poor: mains hum, spikes (seconds 3 to 5)`.
    #[must_use]
    pub fn words(&self) -> String {
        let mut words = self.grade.to_string();
        if !self.faults.is_empty() {
            words.push_str(&format!(": {}", self.faults.join(", ")));
        }
        let disturbed: Vec<usize> =
            (0..self.seconds.len()).filter(|at| !self.seconds[*at].is_empty()).collect();
        match stretches(&disturbed).as_slice() {
            [] => {}
            _ if disturbed.len() == self.seconds.len() => words.push_str(" (throughout)"),
            [one] if disturbed.len() == 1 => words.push_str(&format!(" (second {one})")),
            some => words.push_str(&format!(" (seconds {})", some.join(", "))),
        }
        words
    }
}

impl fmt::Display for LeadQuality {
    /// `V4 poor: mains hum, spikes (seconds 3 to 5)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.lead, self.words())
    }
}

/// The leads in words, the worst first, those of which the same is to be said together: `V4 not usable: no tracing
/// (throughout)`, `I, II good`.
pub(crate) fn in_words(leads: &[LeadQuality]) -> Vec<String> {
    let mut groups: Vec<(Grade, String, Vec<String>)> = Vec::new();
    for quality in leads {
        let words = quality.words();
        match groups.iter_mut().find(|(_, known, _)| *known == words) {
            Some((_, _, leads)) => leads.push(quality.lead.name()),
            None => groups.push((quality.grade, words, vec![quality.lead.name()])),
        }
    }
    groups.sort_by_key(|(grade, _, _)| std::cmp::Reverse(*grade));
    let one = |(_, words, names): (Grade, String, Vec<String>)| {
        let all = names.len() == leads.len() && names.len() > 2;
        if all { format!("all {} {words}", names.len()) } else { format!("{} {words}", names.join(", ")) }
    };
    groups.into_iter().map(one).collect()
}

/// `1 to 3`, `7`: seconds counted from 1.
fn stretches(seconds: &[usize]) -> Vec<String> {
    let stretches = seconds.chunk_by(|a, b| a + 1 == *b);
    let words = |stretch: &[usize]| match stretch {
        [one] => (one + 1).to_string(),
        some => format!("{} to {}", some[0] + 1, some[some.len() - 1] + 1),
    };
    stretches.map(words).collect()
}

/// Findings that name leads but say nothing about how well these were recorded.
const NOT_QUALITY: [&str; 7] = [
    "pacing-like",
    "polarity-i",
    "polarity-avr",
    "cable-neutral",
    "cable-limb",
    "cable-chest",
    "low-voltage",
];

/// Every voltage lead in the order of the recording, then the expected ones that are not there.
pub(crate) fn leads(evidence: &Evidence, findings: &[Finding]) -> Vec<LeadQuality> {
    let about: Vec<(&Finding, &Place)> = findings
        .iter()
        .filter(|finding| !NOT_QUALITY.contains(&finding.code))
        .flat_map(|finding| finding.places.iter().map(move |place| (finding, place)))
        .collect();
    let stored = evidence.strips.iter().flat_map(|strip| {
        let about = &about;
        strip.tracings.iter().map(move |tracing| {
            let place = strip.place(tracing);
            let is_own = |(_, other): &&(&Finding, &Place)| {
                other.waveform == place.waveform && other.lead == place.lead
            };
            let own: Vec<(&Finding, &Place)> = about.iter().filter(is_own).copied().collect();
            quality(place, Some(strip), own.into_iter())
        })
    });
    let missing = about.iter().filter(|(_, place)| place.waveform.is_none());
    let missing =
        missing.map(|(finding, place)| quality((*place).clone(), None, [(*finding, *place)].into_iter()));
    stored.chain(missing).collect()
}

fn quality<'a>(
    place: Place,
    strip: Option<&Strip>,
    findings: impl Iterator<Item = (&'a Finding, &'a Place)>,
) -> LeadQuality {
    let is_open = strip.is_some_and(|strip| strip.is_too_long() || strip.length() == 0);
    let mut grade = if is_open { Grade::NotAssessed } else { Grade::Good };
    let mut seconds: Vec<Vec<&'static str>> = Vec::new();
    if let Some(strip) = strip.filter(|_| !is_open) {
        seconds = strip.seconds_begun().map(|_| Vec::new()).collect();
    }
    let mut faults: Vec<(Verdict, &'static str)> = Vec::new();
    for (finding, place) in findings {
        grade = grade.max(match finding.verdict {
            Verdict::Fail => Grade::NotUsable,
            Verdict::Warn => Grade::Poor,
            Verdict::NotAssessed | Verdict::Note => Grade::Fair,
        });
        let word = rule(finding.code).map_or(finding.code, |rule| rule.word);
        if faults.iter().all(|(_, known)| *known != word) {
            faults.push((finding.verdict, word));
        }
        for (second, codes) in strip.into_iter().flat_map(Strip::seconds_begun).zip(&mut seconds) {
            if is_in(place, second) && !codes.contains(&finding.code) {
                codes.push(finding.code);
            }
        }
    }
    faults.sort_by_key(|(verdict, _)| std::cmp::Reverse(*verdict));
    let faults = faults.into_iter().map(|(_, word)| word).collect();
    LeadQuality { lead: place.lead, waveform: place.waveform, grade, faults, seconds }
}

/// Whether some of the place's stretches lies in the second.
fn is_in(place: &Place, second: Span) -> bool {
    let overlaps = |span: &Span| span.start < second.end && span.end > second.start;
    place.spans.is_empty() || place.spans.iter().any(overlaps)
}
