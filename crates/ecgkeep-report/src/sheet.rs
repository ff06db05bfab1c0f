//! From a recording to its pages.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Exact, Lead, Recording, Waveform};

use crate::footer::PageLine;
use crate::frame::Frame;
use crate::page::{Report, page};
use crate::slot::Row;
use crate::typeset::clean;
use crate::voltages::Voltages;
use crate::{PageFacts, Paper, Sheet, slot, words};

/// Lays out the report of a recording: as many pages as it has stretches of ten seconds, each complete in itself
/// (patient, findings, scale, cautions), so that a loose page still says whose it is.
///
/// The samples are drawn as they are stored; what is derived, moved, cut, missing or left out is said on the page.
#[must_use]
pub fn sheet(recording: &Recording, assessment: &Assessment, facts: &PageFacts, paper: &Paper) -> Sheet {
    let frame = Frame::new(paper);
    let rows = slot::rows(paper.layout, paper.order);
    let further = further_rows(recording, &rows);
    let mut shown: Vec<&Lead> = Vec::new();
    for lead in rows.iter().chain(&further).flat_map(|row| &row.leads) {
        if !shown.contains(&lead) {
            shown.push(lead);
        }
    }
    let leads = shown.iter().map(|lead| ((*lead).clone(), Voltages::of(recording, lead))).collect();
    let groups: Vec<&[Row]> = [&rows, &further]
        .into_iter()
        .filter(|rows| !rows.is_empty())
        .flat_map(|rows| slot::groups(rows, &frame))
        .collect();

    let span = Span::of(recording);
    let per_page = Exact::ratio(i128::from(frame.milliseconds), 1000).unwrap_or(Exact::ONE);
    let needed = span.pages(per_page);
    let stretches = needed.clamp(1, (paper.pages_at_most / groups.len()).max(1));
    let count = stretches * groups.len();
    let report = Report { recording, assessment, facts, paper, frame, leads };
    let mut pages = Vec::with_capacity(count);
    for index in 0..stretches {
        let ahead = i64::try_from(index).ok().and_then(|n| Exact::whole(n).times(per_page));
        let start = ahead.and_then(|ahead| ahead.plus(span.start)).unwrap_or(span.start);
        let stretch = span.stretch(start, per_page, index + 1 == stretches && needed > stretches);
        for group in &groups {
            let line = PageLine { number: pages.len() + 1, count, stretch: stretch.clone() };
            pages.push(page(&report, group, start, span.end, &line));
        }
    }
    let name = clean(&words::name(&recording.subject));
    let name = if name.is_empty() { "a person not named in the source".to_owned() } else { name };
    let title = format!("ECG of {name}, recorded {}", words::time(&recording.acquisition.start));
    let description = format!(
        "{title}. Drawn at {} mm/s and {} mm/mV, no filter applied. {}. {}. Technical checks only, not a diagnosis.",
        paper.speed.per_second(),
        paper.gain.per_millivolt(),
        assessment.headline(),
        assessment.identity_line(),
    );
    Sheet {
        title,
        description: clean(&description),
        language: "en",
        width: report.frame.width,
        height: report.frame.height,
        pages,
    }
}

/// Leads of the recording that the layout has no place for, each as a strip.
fn further_rows(recording: &Recording, rows: &[Row]) -> Vec<Row> {
    let mut further: Vec<Row> = Vec::new();
    for signal in recording.rhythm().flat_map(Waveform::signals).filter(|signal| signal.is_voltage()) {
        let has_place = |rows: &[Row]| rows.iter().any(|row| row.leads.contains(&signal.lead));
        let as_opposite =
            signal.lead == Lead::AVR && rows.iter().any(|row| row.leads.contains(&Lead::NegativeAVR));
        if !has_place(rows) && !has_place(&further) && !as_opposite {
            further.push(Row::strip(&signal.lead));
        }
    }
    further
}

/// From the first sample to one interval after the last, over all rhythm waveforms, in seconds from the
/// recording's start.
struct Span {
    start: Exact,
    end: Exact,
}

impl Span {
    fn of(recording: &Recording) -> Span {
        let starts = recording.rhythm().map(|waveform| waveform.start);
        let ends = recording.rhythm().filter_map(|waveform| waveform.start.plus(waveform.seconds()));
        let start = starts.min().unwrap_or(Exact::ZERO);
        Span { start, end: ends.max().unwrap_or(start).max(start) }
    }

    /// How many stretches of so many seconds it takes.
    fn pages(&self, per_page: Exact) -> usize {
        let stretches = self.end.minus(self.start).and_then(|seconds| seconds.over(per_page));
        let Some(stretches) = stretches else { return usize::MAX };
        let up = stretches.numerator().div_euclid(stretches.denominator())
            + i128::from(stretches.numerator().rem_euclid(stretches.denominator()) != 0);
        usize::try_from(up).unwrap_or(usize::MAX)
    }

    /// `10 to 20 s of 38.4 s drawn on this page`; `None` where the page shows all there is.
    fn stretch(&self, start: Exact, per_page: Exact, is_cut: bool) -> Option<String> {
        let end = start.plus(per_page)?.min(self.end);
        if start == self.start && end == self.end {
            return None;
        }
        let (from, to) = (words::number(start), words::number(end));
        let all = words::number(self.end.minus(self.start)?);
        let rest = if is_cut { "; what follows is not drawn in this report" } else { "" };
        Some(format!("{from} to {to} s of {all} s drawn on this page{rest}."))
    }
}
