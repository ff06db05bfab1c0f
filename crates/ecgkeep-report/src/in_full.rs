//! Pages of words: all that the report says, where the pages of tracings had no room for it.

use crate::constants::{BODY_LEADING, COLUMN_GAP};
use crate::details::indent;
use crate::page::Report;
use crate::typeset::{Style, run_in, shorten, wrap, wrap_after};
use crate::{Anchor, Mm, Orientation, Page, Passage, Shape, footer, header};

/// Pages of words at most; a source with more to say than fits a book is read in the record.
const PAGES_AT_MOST: usize = 40;

/// Lines of one entry that no column's end parts.
const MOST_TOGETHER: i32 = 8;

/// The passages in columns, on as many pages as they take; the last lines of each page are still to come.
pub(crate) fn pages(report: &Report, passages: &[Passage]) -> Vec<Page> {
    let mut flow = Flow::new(report);
    for passage in passages {
        let after_labels = indent(&passage.entries);
        for (number, entry) in passage.entries.iter().enumerate() {
            let indent = if entry.label.is_empty() { Mm::ZERO } else { after_labels };
            let label = shorten(&entry.label, Style::BODY_BOLD, flow.width());
            let run_in = run_in(&label, Style::BODY_BOLD, indent);
            let lines = wrap_after(run_in, &entry.text, Style::BODY, flow.width() - indent);
            // What is not long stays together, and a heading with what follows it.
            let together = i32::try_from(lines.len()).unwrap_or(MOST_TOGETHER).min(MOST_TOGETHER);
            if number == 0 {
                flow.heading(&passage.heading, together);
            }
            flow.next_if_full(together);
            if flow.is_full {
                return flow.pages;
            }
            for (index, line) in lines.iter().enumerate() {
                let (label, after) = if index == 0 { (label.as_str(), run_in) } else { ("", Mm::ZERO) };
                flow.line(label, indent + after, line);
            }
        }
        flow.top = flow.top + BODY_LEADING.over(2);
    }
    flow.pages
}

/// Where the next line goes: column after column, page after page.
struct Flow<'a> {
    report: &'a Report<'a>,
    pages: Vec<Page>,
    /// Left edge and width of each column.
    columns: Vec<(Mm, Mm)>,
    column: usize,
    top: Mm,
    bottom: Mm,
    /// Whether the last page that may be is full.
    is_full: bool,
}

impl<'a> Flow<'a> {
    fn new(report: &'a Report<'a>) -> Flow<'a> {
        let columns = match report.paper.orientation {
            Orientation::Landscape => vec![report.frame.columns(0, 2), report.frame.columns(2, 2)],
            Orientation::Portrait => vec![report.frame.columns(0, 4)],
        };
        let bottom = footer::text_bottom(report) - COLUMN_GAP.times(3).over(5);
        let top = report.frame.details.top;
        let mut flow = Flow { report, pages: Vec::new(), columns, column: 0, top, bottom, is_full: false };
        flow.start_page();
        flow
    }

    fn start_page(&mut self) {
        let report = self.report;
        let shapes = header::head(&report.frame, report.recording, report.assessment, report.facts);
        self.pages.push(Page { description: String::new(), shapes });
        self.column = 0;
        self.top = report.frame.details.top;
    }

    fn width(&self) -> Mm {
        self.columns[self.column].1
    }

    /// Goes on to the next column, or page, where so many lines do not fit any more.
    fn next_if_full(&mut self, lines: i32) {
        if self.is_full || self.top + BODY_LEADING.times(lines) <= self.bottom {
            return;
        }
        if self.column + 1 < self.columns.len() {
            self.column += 1;
            self.top = self.report.frame.details.top;
        } else if self.pages.len() < PAGES_AT_MOST {
            self.start_page();
        } else {
            // In the half line that the columns leave free above the cautions.
            self.top = self.bottom;
            self.write(
                Style::SMALL_BOLD,
                Mm::ZERO,
                "What follows has no room in this report: see the record.",
            );
            self.is_full = true;
        }
    }

    /// A heading never stands alone at the end of a column: so many lines of what follows fit below it.
    fn heading(&mut self, text: &str, following: i32) {
        self.next_if_full(1 + following);
        for line in wrap(text, Style::BODY_BOLD, self.width()) {
            self.line(&line, self.width(), "");
        }
    }

    /// A line: a label in bold, and a text that begins `indent` from the left.
    fn line(&mut self, label: &str, indent: Mm, text: &str) {
        self.next_if_full(1);
        if self.is_full {
            return;
        }
        if !label.is_empty() {
            self.write(Style::BODY_BOLD, Mm::ZERO, label);
        }
        if !text.is_empty() {
            self.write(Style::BODY, indent, text);
        }
        self.top = self.top + BODY_LEADING;
    }

    fn write(&mut self, style: Style, indent: Mm, text: &str) {
        let base = self.top + style.size.times(4).over(5);
        let shape: Shape = style.line(self.columns[self.column].0 + indent, base, Anchor::Start, text);
        if let Some(page) = self.pages.last_mut() {
            page.shapes.push(shape);
        }
    }
}
