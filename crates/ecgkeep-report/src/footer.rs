//! The foot of the page: scale, drawing, cautions, digest.

use ecgkeep_checks::CAUTIONS;
use ecgkeep_recording::{Exact, Recording};

use crate::constants::{BAR, SMALL_LEADING};
use crate::frame::Frame;
use crate::typeset::{Column, Item, Style, wrap};
use crate::{Anchor, Mm, PageFacts, Paper, Shape, grid, header, notices, words};

/// What the foot of one page says of that page.
pub(crate) struct PageLine {
    /// Counted from 1.
    pub number: usize,
    pub count: usize,
    /// Which part of the recording it shows, where that is not all of it.
    pub stretch: Option<String>,
}

/// Scale bar left, technical lines beside it, the drawing's own notices on the right; below them the cautions; in
/// the last line digest, program and page.
pub(crate) fn foot(
    frame: &Frame,
    paper: &Paper,
    recording: &Recording,
    facts: &PageFacts,
    notices: &[String],
    page: &PageLine,
) -> Vec<Shape> {
    let mut shapes = Vec::new();
    let last_base = frame.footer.bottom;
    let cautions = wrap(&cautions(recording, facts), Style::SMALL, frame.footer.width());
    let lines = i32::try_from(cautions.len()).unwrap_or(0);
    let rule = last_base - Mm(3_200) - SMALL_LEADING.times(lines);
    // Under the numbers of the time axis.
    let top = frame.footer.top + Mm(5_000);

    let (left, width) = frame.columns(0, 1);
    let mut column = Column::new(&mut shapes, left, width, top + Mm(1_000), rule);
    let advice =
        "Measure this bar before measuring anything else. If it is not 50 mm long, measure nothing here.";
    column.paragraph(Style::BODY_BOLD, advice);
    let bar = column.top + Mm(3_000);
    shapes.extend(grid::bar(left, bar));
    let name = Style::BODY_BOLD.line(left + BAR + Mm(1_500), bar + Mm(900), Anchor::Start, "50 mm");
    shapes.push(name);

    let (left, width) = frame.columns(1, 1);
    let mut column = Column::new(&mut shapes, left, width, top, rule);
    let technical: Vec<Item> = technical(paper, recording).into_iter().map(plain).collect();
    column.list(&technical, Mm::ZERO, Style::SMALL, |count| format!("and {count} more in the record"));

    let (left, width) = frame.columns(2, 2);
    let mut column = Column::new(&mut shapes, left, width, top, rule);
    let sentences: Vec<String> = page.stretch.iter().chain(notices).cloned().collect();
    let lines: usize = sentences.iter().map(|sentence| wrap(sentence, Style::SMALL, width).len()).sum();
    if lines <= column.lines_left(Style::SMALL) {
        for sentence in &sentences {
            column.paragraph(Style::SMALL, sentence);
        }
    } else {
        run_on(&mut column, &sentences);
    }

    shapes.push(header::rule("foot-rule", frame, rule));
    let mut base = rule + Mm(3_000);
    for line in &cautions {
        shapes.push(Style::SMALL.line(frame.footer.left, base, Anchor::Start, line));
        base = base + SMALL_LEADING;
    }
    let digest = format!("Fingerprint of the samples (SHA-256) {} · {}", facts.digest, facts.program);
    shapes.push(Style::SMALL_QUIET.line(frame.footer.left, last_base, Anchor::Start, &digest));
    let number = format!("page {} of {}", page.number, page.count);
    shapes.push(Style::BODY_BOLD.line(frame.footer.right, last_base, Anchor::End, &number));
    shapes
}

/// Sentences one after the other, as many as fit, and how many do not.
fn run_on(column: &mut Column, sentences: &[String]) {
    for shown in (0..=sentences.len()).rev() {
        let mut text = sentences[..shown].join(" ");
        if shown < sentences.len() {
            text.push_str(&format!(" And {} more for which there is no room here.", sentences.len() - shown));
        }
        if column.paragraph(Style::SMALL, text.trim()) {
            return;
        }
    }
}

fn plain(text: String) -> Item {
    Item { label: String::new(), text }
}

/// Scale, pulse, filters, sampling.
fn technical(paper: &Paper, recording: &Recording) -> Vec<String> {
    let (speed, gain) = (paper.speed.per_second(), paper.gain.per_millivolt());
    let per_millimetre = |whole: Mm| {
        let one = Exact::ratio(1000, i128::from(whole.0)).unwrap_or(Exact::ZERO);
        words::number(one)
    };
    let mut lines = vec![
        format!(
            "{speed} mm/s, {gain} mm/mV: 1 mm is {} s, {} mV",
            per_millimetre(speed),
            per_millimetre(gain)
        ),
        "Pulse of 1 mV for 0.2 s: drawn, not recorded".to_owned(),
        format!("Filters declared by the source: {}", words::filters(&recording.acquisition.filters)),
        "Filters applied for this drawing: none".to_owned(),
    ];
    lines.push(notices::sampling(recording));
    lines
}

/// The cautions that go with every assessment, and those that go with a printed page.
fn cautions(recording: &Recording, facts: &PageFacts) -> String {
    let mut all: Vec<&str> = CAUTIONS.to_vec();
    if !recording.measurements.is_empty() || !recording.statements.is_empty() {
        all.push("Measurements and statements are the source's own.");
    }
    if !is_adult(recording, facts) {
        all.push("Age under 16 or unknown: the rules are made for adults and not validated for children.");
    }
    all.join(" ")
}

/// Whether the recording, or what was supplied beside it, says that the person is at least 16 years old (the age
/// is common practice, no source).
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
    birth.zip(made).is_some_and(|(birth, made)| made.first_day() - birth.first_day() >= DAYS_IN_16_YEARS)
}
