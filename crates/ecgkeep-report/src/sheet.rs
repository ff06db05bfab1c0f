//! From a recording to its pages.

use std::collections::BTreeSet;

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Exact, Lead, Rate, Recording, Waveform, WaveformKind};

use crate::frame::Frame;
use crate::page::{Content, Drawn, Report, page};
use crate::slot::Row;
use crate::typeset::clean;
use crate::voltages::Voltages;
use crate::{
    ChestGain, DisplayFilters, Layout, Page, PageFacts, Paper, Passage, Sheet, boxes, entries, footer,
    in_full, letters, notices, slot, words,
};

/// Lays out the report of a recording: first the tracings, as many pages as it takes at the chosen scale, then the
/// source's representative beats, and where a page had no room for all of its words a last page that says
/// everything in full. Each page is complete in itself (patient, answer of the checks, scale, cautions), so that a
/// loose one still says whose it is.
///
/// The samples are drawn as they are stored, but for filters that were asked for; what is filtered, derived, moved, cut,
/// missing, overlapping or left out is said on the page.
#[must_use]
pub fn sheet(recording: &Recording, assessment: &Assessment, facts: &PageFacts, paper: &Paper) -> Sheet {
    // What no lead can carry is not said to be applied.
    let rates: Vec<Rate> = recording.rhythm().map(Waveform::rate).collect();
    let filters = paper.filters.carried_by(&rates);
    let left_away = paper.filters.without(&filters);
    let paper = &Paper { filters, ..paper.clone() };
    let frame = Frame::new(paper);
    let rows = slot::rows(paper.layout, paper.order);
    let further = further_of(recording.rhythm(), &rows);
    let sets = [&rows, &further].into_iter().filter(|rows| !rows.is_empty());
    let mut groups: Vec<&[Row]> = sets.flat_map(|rows| slot::groups(rows, &frame, paper)).collect();
    groups.truncate(paper.pages_at_most.max(1));
    let shown = leads_of(groups.iter().copied().flatten());
    let report = Report { recording, assessment, facts, paper, left_away, frame, shown };
    let mut drawn = tracings(&report, &groups);
    drawn.extend(beats(&report));

    let is_cut = drawn.iter().any(|drawn| drawn.is_cut);
    let words = in_words(&report, &drawn);
    let mut pages: Vec<Page> = drawn.into_iter().map(|drawn| drawn.page).collect();
    if is_cut {
        pages.extend(in_full::pages(&report, &words));
    }
    let count = pages.len();
    for (index, page) in pages.iter_mut().enumerate() {
        page.shapes.extend(footer::closing(&report, index + 1, count));
        page.description = format!("page {} of {count}", index + 1);
    }

    let name = clean(&words::name(&recording.subject));
    let name = if name.is_empty() { "a person not named in the source".to_owned() } else { name };
    let title = clean(&format!("ECG of {name}, recorded {}", words::time(&recording.acquisition.start)));
    let chest = match paper.chest {
        ChestGain::Same => String::new(),
        ChestGain::Half => format!(" (chest leads {} mm/mV)", paper.gain.per_millivolt().over(2)),
    };
    let marked = boxes::in_words(assessment, facts);
    let marked = marked.map_or_else(String::new, |marks| format!(". Marked {marks}"));
    let description = format!(
        "{title}{marked}. Drawn at {} mm/s and {} mm/mV{chest}, filters applied for the drawing: {}. {}. {}. Technical checks \
         only, not a diagnosis.",
        paper.speed.per_second(),
        paper.gain.per_millivolt(),
        paper.filters,
        assessment.headline(),
        assessment.identity_line(),
    );
    let (width, height) = (report.frame.width, report.frame.height);
    Sheet { title, description: clean(&description), language: "en", width, height, pages, words }
}

/// The rhythm: page after page in time, on each the rows of the layout, then the further leads.
fn tracings(report: &Report, groups: &[&[Row]]) -> Vec<Drawn> {
    let waveforms: Vec<&Waveform> = report.recording.rhythm().collect();
    let span = Span::of(&waveforms);
    let per_page = Exact::ratio(i128::from(report.frame.milliseconds), 1000).unwrap_or(Exact::ONE);
    let needed = span.pages(per_page);
    let stretches = needed.clamp(1, (report.paper.pages_at_most / groups.len()).max(1));
    let all_pages =
        i64::try_from(stretches).ok().and_then(|n| Exact::whole(n).times(per_page)?.plus(span.start));
    let end = all_pages.unwrap_or(span.end);
    let leads = voltages(&waveforms, &report.shown, end, &report.paper.filters);
    let mut pages = Vec::new();
    for index in 0..stretches {
        let ahead = i64::try_from(index).ok().and_then(|n| Exact::whole(n).times(per_page));
        let start = ahead.and_then(|ahead| ahead.plus(span.start)).unwrap_or(span.start);
        let stretch = span.stretch(start, per_page, index + 1 == stretches && needed > stretches);
        for (at, rows) in groups.iter().enumerate() {
            let about = stretch.iter().cloned().chain(elsewhere(groups, at, index)).collect();
            pages.push(page(report, &Content { rows, leads: &leads, start, about, is_beat: false }));
        }
    }
    pages
}

/// `Further leads on page 2: V3, V4, V5, V6.`: the leads that this group of rows leaves to the pages of the others.
fn elsewhere(groups: &[&[Row]], at: usize, stretches_before: usize) -> Option<String> {
    let here = leads_of(groups[at].iter());
    let of_page = |(other, rows): (usize, &&[Row])| {
        let leads = leads_of(rows.iter()).into_iter().filter(|lead| !here.contains(lead));
        let names: Vec<String> = leads.map(|lead| words::lead(&lead)).collect();
        let page = stretches_before * groups.len() + other + 1;
        (!names.is_empty()).then(|| format!("on page {page}: {}", names.join(", ")))
    };
    let pages: Vec<String> = groups.iter().enumerate().filter_map(of_page).collect();
    (!pages.is_empty()).then(|| format!("Further leads {}.", pages.join("; ")))
}

/// The representative beats of the source, each on a page of its own, all leads from the beat's first sample.
fn beats(report: &Report) -> Vec<Drawn> {
    let mut pages = Vec::new();
    for waveform in &report.recording.waveforms {
        let WaveformKind::RepresentativeBeat { class } = waveform.kind else { continue };
        if pages.len() >= report.paper.pages_at_most {
            break;
        }
        let standard = slot::rows(Layout::ThreeByFour, report.paper.order);
        let mut rows: Vec<Row> = standard.into_iter().filter(|row| !row.strip).collect();
        rows.extend(further_of(std::iter::once(waveform), &rows));
        let end = waveform.start.plus(waveform.seconds()).unwrap_or(waveform.start);
        let leads = voltages(&[waveform], &leads_of(rows.iter()), end, &DisplayFilters::default());
        let about = format!(
            "Representative beat of class {}, {} s, as the source computed it, drawn without filter; each lead from the beat's first sample.",
            u64::from(class) + 1,
            words::number(waveform.seconds()),
        );
        for rows in slot::groups(&rows, &report.frame, report.paper) {
            let (start, about) = (waveform.start, vec![about.clone()]);
            pages.push(page(report, &Content { rows, leads: &leads, start, about, is_beat: true }));
        }
    }
    pages
}

/// All that the report says, in full.
fn in_words(report: &Report, drawn: &[Drawn]) -> Vec<Passage> {
    let mut drawing = footer::technical(report);
    let of_pages = drawn.iter().flat_map(|drawn| drawn.notices.iter().cloned());
    let of_report = notices::of_report(report);
    let mut known: BTreeSet<String> = BTreeSet::new();
    drawing.extend(of_pages.chain(of_report).filter(|notice| known.insert(notice.clone())));
    let cautions = footer::cautions(report);
    let mut words = entries::passages(report.recording, report.assessment, report.facts, drawing, cautions);
    for entry in words.iter_mut().flat_map(|passage| &mut passage.entries) {
        entry.text = clean(&entry.text);
        let numbers = letters::in_unicode(&entry.text);
        if !numbers.is_empty() {
            entry.text.push_str(&format!(" [letters that not every font has, in Unicode: {numbers}]"));
        }
    }
    words
}

fn voltages(
    waveforms: &[&Waveform],
    leads: &[Lead],
    end: Exact,
    filters: &DisplayFilters,
) -> Vec<(Lead, Option<Voltages>)> {
    leads.iter().map(|lead| (lead.clone(), Voltages::of(waveforms, lead, end, filters))).collect()
}

/// The leads of some rows, each once.
fn leads_of<'a>(rows: impl Iterator<Item = &'a Row>) -> Vec<Lead> {
    let mut leads: Vec<Lead> = Vec::new();
    for lead in rows.flat_map(|row| &row.leads) {
        if !leads.contains(lead) {
            leads.push(lead.clone());
        }
    }
    leads
}

/// Leads of the recording that the layout has no place for, each as a strip.
fn further_of<'a>(waveforms: impl Iterator<Item = &'a Waveform>, rows: &[Row]) -> Vec<Row> {
    let mut further: Vec<Row> = Vec::new();
    for signal in waveforms.flat_map(Waveform::signals).filter(|signal| signal.is_voltage()) {
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
    fn of(waveforms: &[&Waveform]) -> Span {
        let starts = waveforms.iter().map(|waveform| waveform.start);
        let ends = waveforms.iter().filter_map(|waveform| waveform.start.plus(waveform.seconds()));
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
