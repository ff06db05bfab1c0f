//! Leads without a tracing: the signal does not vary.

use std::collections::VecDeque;

use ecgkeep_recording::{Lead, Span};

use crate::evidence::Evidence;
use crate::rounded::quantity;
use crate::statistics::count;
use crate::strip::{Strip, Tracing, samples};
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "lead-flat",
    title: "Leads without a tracing",
    word: "no tracing",
    rule: "The longest stretches in which a lead stays within one count of a value (or within the policy's range of \
           microvolts, where that is wider). WARN from the policy's seconds on; FAIL where such stretches make up the \
           policy's share of the strip. All leads flat: one FAIL for the recording.",
    source: "rule of the entries to the PhysioNet/CinC Challenge 2011 (Langley; Hayn; Johannesen); the numbers are \
             project choices",
    threshold: |policy| {
        format!(
            "WARN from {} s, FAIL from {} % of the strip, within {} uV or 1 count",
            policy.flat_seconds_at_most, policy.flat_percent_at_most, policy.flat_range_uv
        )
    },
    limits: "A loose electrode that still picks up noise is not flat. Between beats of a very slow rhythm, or in \
             asystole, the leads are truly flat. An exchange with the right leg cable flattens I, II or III.",
    what_to_do: "If all leads are flat, look at the patient first. Check the electrode and the cable of the lead; \
                 record again.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let mut findings = Vec::new();
    let (mut judged, mut dead) = (0usize, 0usize);
    for strip in evidence.strips.iter().filter(|strip| strip.length() > 0) {
        for tracing in &strip.tracings {
            judged += 1;
            if let Some(finding) = judge_lead(rule, evidence, strip, tracing) {
                dead += usize::from(finding.verdict == Verdict::Fail);
                findings.push(finding);
            }
        }
    }
    match judged {
        0 => vec![rule.finding(Verdict::NotAssessed, "there is no lead with samples of known voltage")],
        // One lead is no electrocardiogram to conclude from; two or more without any tracing are.
        2.. if dead == judged => {
            let text = "all leads: no signal or asystole: look at the patient";
            let places = findings.into_iter().flat_map(|finding| finding.places).collect();
            vec![Finding { places, ..rule.finding(Verdict::Fail, text) }]
        }
        _ => findings,
    }
}

fn judge_lead(rule: &Rule, evidence: &Evidence, strip: &Strip, tracing: &Tracing) -> Option<Finding> {
    let policy = evidence.policy;
    let lead = &tracing.signal.lead;
    let shortest = samples(policy.flat_seconds_at_most, strip.rate_hz);
    let present = strip.length() - tracing.signal.missing.iter().map(|span| span.len()).sum::<usize>();
    let range_counts = range_counts(policy.flat_range_uv, tracing.step_uv);
    let runs = flat_runs(tracing, range_counts, shortest.min(present.max(2)));
    let longest = runs.iter().max_by_key(|run| run.samples)?;
    let share = 100.0 * count(runs.iter().map(|run| run.samples).sum()) / count(present);
    let seconds = strip.at_seconds(longest.samples);
    let many = if runs.len() > 1 { format!(", {} such stretches", runs.len()) } else { String::new() };
    let places = vec![strip.place(tracing).within(runs.iter().map(|run| run.span).collect())];
    if share >= policy.flat_percent_at_most {
        return Some(Finding {
            places,
            measured: quantity(share, 0, "%"),
            threshold: quantity(policy.flat_percent_at_most, 0, "%"),
            ..rule.finding(
                Verdict::Fail,
                format!(
                    "lead {lead}: no signal variation in {share:.0} % of its samples, limit {} %{}",
                    policy.flat_percent_at_most,
                    hint(lead)
                ),
            )
        });
    }
    (longest.samples >= shortest).then(|| Finding {
        places,
        measured: quantity(seconds, 2, "s"),
        threshold: quantity(policy.flat_seconds_at_most, 2, "s"),
        ..rule.finding(
            Verdict::Warn,
            format!(
                "lead {lead}: no signal variation for {seconds:.2} s from {:.2} s on{many}, limit {} s; a very slow or \
                 absent beat looks the same{}",
                strip.at_seconds(longest.span.start),
                policy.flat_seconds_at_most,
                hint(lead)
            ),
        )
    })
}

/// The other explanation of one flat limb lead.
fn hint(lead: &Lead) -> &'static str {
    match lead {
        Lead::I | Lead::II | Lead::III => {
            "; a cable exchanged with the right leg cable also flattens one of I, II and III"
        }
        _ => "",
    }
}

/// How far the counts of a flat stretch may lie apart.
#[expect(clippy::cast_possible_truncation, reason = "saturates; a step of zero cannot be")]
fn range_counts(range_uv: f64, step_uv: f64) -> i64 {
    ((range_uv / step_uv).floor() as i64).max(2)
}

/// A stretch in which a lead does not vary.
struct Run {
    span: Span,
    /// Samples in it that are not missing.
    samples: usize,
}

/// The disjoint stretches of at least `shortest` present samples whose counts lie within `range`; missing samples
/// are stepped over.
fn flat_runs(tracing: &Tracing, range: i64, shortest: usize) -> Vec<Run> {
    let complete = tracing.signal.missing.is_empty();
    // A stretch of `shortest` samples holds a whole block of half its length: where every block varies more, there
    // is none.
    let varies = |block: &[i32]| {
        let (low, high) =
            block.iter().fold((i32::MAX, i32::MIN), |(low, high), count| (low.min(*count), high.max(*count)));
        i64::from(high) - i64::from(low) > range
    };
    let block = (shortest / 2).max(1);
    if complete && tracing.signal.samples.chunks_exact(block).all(varies) {
        return Vec::new();
    }
    let mut runs = Vec::new();
    let mut window = Window::default();
    for (at, count) in tracing.signal.samples.iter().enumerate() {
        if !complete && tracing.signal.is_missing(at) {
            continue;
        }
        let count = i64::from(*count);
        if window.range_with(count) > range {
            if window.samples.len() >= shortest {
                runs.extend(window.take());
            }
            while window.range_with(count) > range {
                window.drop_first();
            }
        }
        window.push(at, count);
    }
    if window.samples.len() >= shortest {
        runs.extend(window.take());
    }
    runs
}

/// The last samples, with their lowest and highest counts at hand: each sample enters and leaves once.
#[derive(Default)]
struct Window {
    samples: VecDeque<(usize, i64)>,
    /// Counts that are the lowest of those after them, ascending; the first is the lowest of all.
    lows: VecDeque<i64>,
    /// Counts that are the highest of those after them, descending; the first is the highest of all.
    highs: VecDeque<i64>,
}

impl Window {
    /// How far the counts would lie apart with one more.
    fn range_with(&self, count: i64) -> i64 {
        match (self.lows.front(), self.highs.front()) {
            (Some(low), Some(high)) => count.max(*high) - count.min(*low),
            _ => 0,
        }
    }

    fn push(&mut self, at: usize, count: i64) {
        while self.lows.back().is_some_and(|low| *low > count) {
            self.lows.pop_back();
        }
        while self.highs.back().is_some_and(|high| *high < count) {
            self.highs.pop_back();
        }
        self.lows.push_back(count);
        self.highs.push_back(count);
        self.samples.push_back((at, count));
    }

    fn drop_first(&mut self) {
        let Some((_, count)) = self.samples.pop_front() else { return };
        if self.lows.front() == Some(&count) {
            self.lows.pop_front();
        }
        if self.highs.front() == Some(&count) {
            self.highs.pop_front();
        }
    }

    /// The stretch held, which is given up.
    fn take(&mut self) -> Option<Run> {
        let (start, end) = (self.samples.front()?.0, self.samples.back()?.0 + 1);
        let run = Run { span: Span { start, end }, samples: self.samples.len() };
        *self = Window::default();
        Some(run)
    }
}
