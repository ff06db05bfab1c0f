//! The foot of the page: scale, drawing, cautions, digest.

use ecgkeep_checks::CAUTIONS;
use ecgkeep_recording::{Exact, Recording};

use crate::constants::{BAR, SMALL_LEADING};
use crate::page::Report;
use crate::typeset::{Column, Style, shorten, wrap};
use crate::{
    Anchor, ChestGain, Entry, Mm, Orientation, PageFacts, Shape, details, entries, grid, header, notices,
    words,
};

/// Scale bar left, technical lines beside or below it, the drawing's own notices on the right; whether some found no room.
pub(crate) fn foot(report: &Report, notices: &[String]) -> (Vec<Shape>, bool) {
    let frame = &report.frame;
    let mut shapes = Vec::new();
    // Under the numbers of the time axis, above the cautions.
    let (top, bottom) = (frame.footer.top + Mm(5_000), text_bottom(report));

    // A narrow page has the technical lines below the bar, a wide one beside it.
    let is_narrow = report.paper.orientation == Orientation::Portrait;
    let (left, width) = frame.columns(0, if is_narrow { 2 } else { 1 });
    let mut column = Column::new(&mut shapes, left, width, top + Mm(1_000), bottom);
    let advice =
        "Measure this bar before measuring anything else. If it is not 50 mm long, measure nothing here.";
    column.paragraph(Style::BODY_BOLD, advice);
    let bar = column.top + Mm(3_000);
    shapes.extend(grid::bar(left, bar));
    let name = Style::BODY_BOLD.line(left + BAR + Mm(1_500), bar + Mm(900), Anchor::Start, "50 mm");
    shapes.push(name);

    let (left, width, top_of_lines) = if is_narrow {
        (left, width, bar + Mm(3_500))
    } else {
        let (left, width) = frame.columns(1, 1);
        (left, width, top)
    };
    let mut column = Column::new(&mut shapes, left, width, top_of_lines, bottom);
    let technical: Vec<Entry> = technical(report).into_iter().map(|line| entries::entry("", line)).collect();
    column.list(&technical, Mm::ZERO, Style::SMALL, details::more);
    let is_cut = column.is_cut;

    let (left, width) = frame.columns(2, 2);
    let mut column = Column::new(&mut shapes, left, width, top, bottom);
    let lines: usize = notices.iter().map(|sentence| wrap(sentence, Style::SMALL, width).len()).sum();
    if lines <= column.lines_left(Style::SMALL) {
        for sentence in notices {
            column.paragraph(Style::SMALL, sentence);
        }
        return (shapes, is_cut);
    }
    let all_shown = run_on(&mut column, notices);
    (shapes, is_cut || !all_shown)
}

/// Where text above the cautions has to end.
pub(crate) fn text_bottom(report: &Report) -> Mm {
    let lines = wrap(&cautions(report), Style::SMALL, report.frame.footer.width()).len();
    let lines = i32::try_from(lines).unwrap_or(0);
    report.frame.footer.bottom - Mm(3_200) - SMALL_LEADING.times(lines)
}

/// At the bottom of every page: the cautions, and in the last line digest, program and page.
pub(crate) fn closing(report: &Report, number: usize, count: usize) -> Vec<Shape> {
    let area = report.frame.footer;
    let top = text_bottom(report);
    let mut shapes = vec![header::rule("foot-rule", &report.frame, top)];
    let mut base = top + Mm(3_000);
    for line in wrap(&cautions(report), Style::SMALL, area.width()) {
        shapes.push(Style::SMALL.line(area.left, base, Anchor::Start, &line));
        base = base + SMALL_LEADING;
    }
    let page = format!("page {number} of {count}");
    let room = area.width() - Style::BODY_BOLD.measure(&page) - Mm::whole(3);
    let digest =
        format!("Fingerprint of the samples (SHA-256) {} · {}", report.facts.digest, report.facts.program);
    // The digest whole before its explanation, where the page is narrow.
    let digest = if Style::SMALL_QUIET.measure(&digest) <= room {
        digest
    } else {
        format!("SHA-256 {} · {}", report.facts.digest, report.facts.program)
    };
    let digest = shorten(&digest, Style::SMALL_QUIET, room);
    shapes.push(Style::SMALL_QUIET.line(area.left, area.bottom, Anchor::Start, &digest));
    shapes.push(Style::BODY_BOLD.line(area.right, area.bottom, Anchor::End, &page));
    shapes
}

/// More letters than the foot of any page holds.
const MOST_IN_FOOT: usize = 4_000;

/// Sentences one after the other, as many as fit, and how many do not; whether all did.
fn run_on(column: &mut Column, sentences: &[String]) -> bool {
    let mut length = 0;
    let may_fit = sentences.iter().take_while(|sentence| {
        length += sentence.len();
        length <= MOST_IN_FOOT
    });
    for shown in (0..=may_fit.count()).rev() {
        let mut text = sentences[..shown].join(" ");
        if shown < sentences.len() {
            text.push_str(&format!(" And {} more at the end of the report.", sentences.len() - shown));
        }
        if column.paragraph(Style::SMALL, text.trim()) {
            return shown == sentences.len();
        }
    }
    false
}

/// Scale, filters, pulse, sampling: where one page has no room for all, the last ones stand at the end of the report.
pub(crate) fn technical(report: &Report) -> Vec<String> {
    let (paper, recording) = (report.paper, report.recording);
    let (speed, gain) = (paper.speed.per_second(), paper.gain.per_millivolt());
    let per_millimetre = |whole: Mm| {
        let one = Exact::ratio(1000, i128::from(whole.0)).unwrap_or(Exact::ZERO);
        words::number(one)
    };
    let chest = match paper.chest {
        ChestGain::Same => String::new(),
        ChestGain::Half => {
            format!("; chest leads {} mm/mV: 1 mm is {} mV", gain.over(2), per_millimetre(gain.over(2)))
        }
    };
    let filters = if paper.filters.is_empty() { "none" } else { "in each row" };
    let mut lines = vec![
        format!(
            "{speed} mm/s, {gain} mm/mV: 1 mm is {} s, {} mV{chest}",
            per_millimetre(speed),
            per_millimetre(gain)
        ),
        format!("Filters of this drawing: {filters}"),
        format!("Filters of the source: {}", words::filters(&recording.acquisition.filters)),
        "Pulse of 1 mV for 0.2 s: drawn, not recorded".to_owned(),
    ];
    lines.push(notices::sampling(recording));
    lines
}

/// The cautions that go with every assessment, and those that go with a printed page.
pub(crate) fn cautions(report: &Report) -> String {
    let recording = report.recording;
    let mut all: Vec<&str> = CAUTIONS.to_vec();
    if !recording.measurements.is_empty() || !recording.statements.is_empty() {
        all.push("Measurements and statements are the source's own.");
    }
    if !is_adult(recording, report.facts) {
        all.push("Age under 16 or unknown: rules for adults, not validated for children.");
    }
    all.join(" ")
}

/// Whether the recording, or what was supplied beside it, says that the person is at least 16 years old (the age
/// is common practice, no source); a date known in part is taken for what makes the person youngest.
fn is_adult(recording: &Recording, facts: &PageFacts) -> bool {
    const ADULT_YEARS: i64 = 16;
    const DAYS_IN_16_YEARS: i64 = 5_844;
    let filing = facts.filing.as_ref();
    let first_age = recording.subject.age.as_ref().or_else(|| filing?.subject.age.as_ref());
    if let Some(age) = first_age {
        return age.unit == "a" && age.value >= Exact::whole(ADULT_YEARS);
    }
    let birth = recording.subject.birth_date.or_else(|| filing?.subject.birth_date);
    let made = recording.acquisition.start.date.or_else(|| filing?.acquisition.start.date);
    birth.zip(made).is_some_and(|(birth, made)| made.first_day() - birth.last_day() >= DAYS_IN_16_YEARS)
}
