//! Under the head: what the source says of the recording, what was supplied beside it, and the findings.

use crate::constants::{BODY_LEADING, LABEL_GAP, RUN_IN_FROM};
use crate::page::Report;
use crate::typeset::{Column, Style, shorten, wrap};
use crate::{Entry, Mm, Shape, entries, words};

/// Between two blocks of a column.
const BLOCK_GAP: Mm = Mm(900);

/// Left the recording, then what was supplied, measured and stated, right the findings; and whether something found
/// no room.
pub(crate) fn details(report: &Report) -> (Vec<Shape>, bool) {
    let (frame, recording) = (&report.frame, report.recording);
    let mut shapes = Vec::new();
    let (top, bottom) = (frame.details.top, frame.details.bottom);
    let mut list = entries::acquisition(recording, report.facts);
    list.extend(entries::further_subject(&recording.subject));
    let (left, width) = frame.columns(0, 1);
    let written = Column::new(&mut shapes, left, width, top, bottom).fill(&list, indent(&list), Style::BODY);
    let left_over = &list[written..];

    let (left, width) = frame.columns(1, 1);
    let mut column = Column::new(&mut shapes, left, width, top, bottom);
    if !left_over.is_empty() {
        // The line that says how many are left over.
        column.bottom = bottom - BODY_LEADING - BLOCK_GAP;
    }
    if let Some(filing) = &report.facts.filing {
        column.paragraph(Style::BODY_BOLD, &entries::filing_heading(filing));
        let list = entries::supplied(filing, recording);
        column.list(&list, indent(&list), Style::BODY, more);
        column.skip(BLOCK_GAP);
    }
    measured_and_stated(&mut column, report);
    column.bottom = bottom;
    column.skip(BLOCK_GAP);
    column.list(left_over, indent(left_over), Style::BODY, more);
    let left_is_cut = column.is_cut;

    let (left, width) = frame.columns(2, 2);
    let mut column = Column::new(&mut shapes, left, width, top, bottom);
    if let Some(verdict) = entries::usability(report.assessment) {
        column.paragraph(Style::BODY_BOLD, &verdict);
    }
    let findings: Vec<Entry> =
        entries::findings(report.assessment).into_iter().map(|(_, short)| short).collect();
    column.list(&findings, indent(&findings), Style::BODY, more);
    let is_cut = left_is_cut || column.is_cut;
    if let Some(leads) = entries::leads(report.assessment) {
        column.paragraph(Style::BODY, &leads);
    }
    if let Some(made) = entries::checks_made(report.assessment) {
        column.skip(if findings.is_empty() { Mm::ZERO } else { BLOCK_GAP });
        let is_long = wrap(&made, Style::BODY_QUIET, width).len() > column.lines_left(Style::BODY_QUIET);
        column.paragraph(if is_long { Style::SMALL_QUIET } else { Style::BODY_QUIET }, &made);
    }
    (shapes, is_cut)
}

/// What stands for entries that find no room.
pub(crate) fn more(count: usize) -> String {
    format!("and {count} more at the end of the report")
}

/// Where the texts of a list begin, but for those that a wide label runs into.
pub(crate) fn indent(list: &[Entry]) -> Mm {
    let widths = list.iter().map(|entry| Style::BODY_BOLD.measure(&entry.label));
    let widest = widths.filter(|width| *width <= RUN_IN_FROM).max();
    widest.filter(|widest| *widest > Mm::ZERO).map_or(Mm::ZERO, |widest| widest + LABEL_GAP)
}

/// The source's own measurements and statements, named as the source's, each with its status.
fn measured_and_stated(column: &mut Column, report: &Report) {
    let recording = report.recording;
    let statements = entries::statements(recording);
    if let Some(figures) = &report.assessment.rhythm {
        let (heading, figures) = (entries::COMPUTED_HEADING, figures.figures());
        let lines = wrap(heading, Style::BODY_BOLD, column.width).len()
            + wrap(&figures, Style::BODY, column.width).len();
        if lines <= column.lines_left(Style::BODY) {
            column.paragraph(Style::BODY_BOLD, heading);
            column.paragraph(Style::BODY, &figures);
            column.skip(BLOCK_GAP);
        } else {
            // The figures never stand without their caution, nor it without them.
            column.is_cut = true;
        }
    }
    if recording.measurements.is_empty() && statements.is_empty() {
        column.paragraph(Style::BODY_QUIET, "The source holds no measurements and no statements.");
        return;
    }
    if !recording.measurements.is_empty() {
        column.paragraph(Style::BODY_BOLD, entries::measured_heading(recording));
        let bottom = column.bottom;
        if !statements.is_empty() {
            // Heading and first line of the statements.
            column.bottom = bottom - BODY_LEADING.times(2) - BLOCK_GAP;
        }
        let texts: Vec<String> = entries::measurements(recording).map(words::measurement).collect();
        measurements(column, &texts);
        column.bottom = bottom;
        column.skip(BLOCK_GAP);
    }
    if statements.is_empty() {
        return;
    }
    if column.lines_left(Style::BODY) < 2 {
        column.is_cut = true;
        let count = words::count(statements.len(), "statement", "statements");
        column.paragraph(Style::BODY_BOLD, &format!("{count} of the source at the end of the report"));
    } else {
        column.paragraph(Style::BODY_BOLD, "Statements of the source");
        column.list(&statements, Mm::ZERO, Style::BODY, more);
    }
}

/// Measurements in cells, three to the line or two where it is narrow, a long one over several cells.
fn measurements(column: &mut Column, texts: &[String]) {
    let rows = rows_of_cells(texts, column.width);
    let room = column.lines_left(Style::BODY);
    let shown = if rows.len() > room { room.saturating_sub(1) } else { rows.len() };
    for row in &rows[..shown] {
        column.cells(Style::BODY, row);
    }
    let left_over: usize = rows[shown..].iter().map(Vec::len).sum();
    if left_over > 0 {
        column.is_cut = true;
        column.paragraph(Style::BODY_BOLD, &more(left_over));
    }
}

/// Texts with the distance of each from the left, in rows no wider than `width`.
fn rows_of_cells(texts: &[String], width: Mm) -> Vec<Vec<(Mm, String)>> {
    const NARROW: Mm = Mm::whole(55);
    let cells = if width < NARROW { 2 } else { 3 };
    let cell = width.over(cells);
    let mut rows: Vec<Vec<(Mm, String)>> = Vec::new();
    let mut used = cells;
    for text in texts {
        let text = shorten(text, Style::BODY, width);
        let needed = (1 + (Style::BODY.measure(&text) + Mm::whole(1)).0 / cell.0).clamp(1, cells);
        if used + needed > cells {
            rows.push(Vec::new());
            used = 0;
        }
        if let Some(row) = rows.last_mut() {
            row.push((cell.times(used), text));
        }
        used += needed;
    }
    rows
}
