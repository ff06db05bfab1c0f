//! Pages of words: all that the report says, where the pages of tracings had no room for it.

use crate::constants::{BODY_LEADING, COLUMN_GAP};
use crate::details::indent;
use crate::page::Report;
use crate::typeset::{Style, shorten, wrap};
use crate::{Anchor, Mm, Orientation, Page, Passage, Shape, footer, header};

/// Pages of words at most; a source with more to say than fits a book is read in the record.
const PAGES_AT_MOST: usize = 40;

/// The passages in columns, on as many pages as they take; the last lines of each page are still to come.
pub(crate) fn pages(report: &Report, passages: &[Passage]) -> Vec<Page> {
    let mut flow = Flow::new(report);
    for passage in passages {
        flow.heading(&passage.heading);
        let after_labels = indent(&passage.entries);
        for entry in &passage.entries {
            if flow.is_full {
                return flow.pages;
            }
            let indent = if entry.label.is_empty() { Mm::ZERO } else { after_labels };
            let lines = wrap(&entry.text, Style::BODY, flow.width() - indent);
            for (index, line) in lines.iter().enumerate() {
                let label = if index == 0 { entry.label.as_str() } else { "" };
                flow.line(&shorten(label, Style::BODY_BOLD, indent), indent, line);
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

    /// A heading never stands alone at the end of a column.
    fn heading(&mut self, text: &str) {
        self.next_if_full(3);
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
