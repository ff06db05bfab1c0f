//! One page: paper, tracings, labels, and the words around them.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Exact, Lead, Recording};

use crate::constants::MARK_STROKE;
use crate::frame::Frame;
use crate::label::Occupancy;
use crate::notices::Seen;
use crate::slot::{Columns, Row, Slot};
use crate::typeset::Style;
use crate::voltages::{Provenance, Voltages};
use crate::{
    Anchor, Ink, Mm, Page, PageFacts, Paper, Point, Rectangle, Shape, details, footer, grid, header, label,
    notices, slot, tracing, typeset, words,
};

/// What all pages of a report draw on.
pub(crate) struct Report<'a> {
    pub recording: &'a Recording,
    pub assessment: &'a Assessment,
    pub facts: &'a PageFacts,
    pub paper: &'a Paper,
    pub frame: Frame,
    /// Every lead that some page shows.
    pub shown: Vec<Lead>,
}

/// What one page draws.
pub(crate) struct Content<'a> {
    pub rows: &'a [Row],
    /// The leads of the rows, with their voltages where there are any.
    pub leads: &'a [(Lead, Option<Voltages>)],
    /// The page's first moment, and the end of what there is to show.
    pub start: Exact,
    pub end: Exact,
    /// Which part of the recording this is, where it is not all of it.
    pub stretch: Option<String>,
    /// Whether the page shows a beat, each lead from its first moment.
    pub is_beat: bool,
}

/// A page, and what is left to know of it.
pub(crate) struct Drawn {
    pub page: Page,
    /// What it says of its own drawing.
    pub notices: Vec<String>,
    /// Whether some of its words found no room.
    pub is_cut: bool,
}

impl Content<'_> {
    fn voltages(&self, lead: &Lead) -> Option<&Voltages> {
        self.leads.iter().find(|(known, _)| known == lead).and_then(|(_, found)| found.as_ref())
    }
}

/// Draws a page, but for its last lines, which number it.
pub(crate) fn page(report: &Report, content: &Content) -> Drawn {
    let (frame, paper, start) = (&report.frame, report.paper, content.start);
    let columns = if content.is_beat {
        Columns::SameStretch
    } else {
        Columns::OneTimeAxis(content.end.minus(start).unwrap_or(Exact::ZERO))
    };
    let slots = slot::slots(content.rows, frame, columns);
    let mut all_runs: Vec<Vec<Vec<Point>>> = slots
        .iter()
        .map(|slot| match content.voltages(&slot.lead) {
            Some(voltages) => tracing::runs(slot, voltages, start, paper.speed, paper.gain),
            None => Vec::new(),
        })
        .collect();
    let bases = slot::bases(&reach(&slots, &all_runs), frame);
    for (slot, runs) in slots.iter().zip(&mut all_runs) {
        runs.iter_mut().flatten().for_each(|point| point.y = point.y + bases[slot.row]);
    }

    let mut shapes = watermark(frame, &header::banners(report.assessment, report.facts));
    shapes.extend(grid::grid(frame));
    let ticks = grid::column_ticks(&slots, &bases);
    let mut occupancy = Occupancy::new(frame.grid.left, frame.grid.right);
    for (from, to) in &ticks {
        occupancy.add(Rectangle { left: from.x, top: from.y, right: to.x, bottom: to.y });
    }
    all_runs.iter().for_each(|runs| occupancy.add_runs(runs));
    let seen = seen(content, &slots, &all_runs, frame);
    let labels = labels(content, &slots, &all_runs, &bases, &mut occupancy);
    let marks: Vec<Shape> = all_runs.iter().flat_map(|runs| cuts(runs, frame.grid)).collect();

    shapes.push(Shape::Lines { id: "columns".into(), lines: ticks, stroke: MARK_STROKE, ink: Ink::Black });
    if !content.is_beat {
        shapes.extend(grid::time_axis(frame, start, paper.speed));
    }
    let last_base = bases.last().copied().unwrap_or(frame.grid.bottom);
    shapes.extend(grid::calibration_pulse(frame, last_base, paper.speed, paper.gain));
    let not_empty = slots.iter().zip(all_runs).filter(|(_, runs)| !runs.is_empty());
    let paths = not_empty.map(|(slot, runs)| tracing::path(slot, runs)).collect();
    shapes.push(Shape::Inside { clip: frame.grid, shapes: paths });
    shapes.extend(marks);
    shapes.extend(labels);
    shapes.extend(header::head(frame, report.recording, report.assessment, report.facts));
    let (words, details_cut) = details::details(report);
    shapes.extend(words);
    let mut notices: Vec<String> = content.stretch.iter().cloned().collect();
    notices.extend(notices::notices(&seen, content.is_beat));
    let mut all_notices = notices.clone();
    all_notices.extend(notices::of_report(report.recording, &report.shown, &report.facts.notes));
    let (words, foot_cut) = footer::foot(report, &all_notices);
    shapes.extend(words);
    let is_shortened =
        |shape: &Shape| matches!(shape, Shape::Text(text) if text.text.ends_with(typeset::ELLIPSIS));
    let is_cut = details_cut || foot_cut || shapes.iter().any(is_shortened);
    Drawn { page: Page { description: String::new(), shapes }, notices, is_cut }
}

/// How far the tracings of each row reach above and below 0 V.
fn reach(slots: &[Slot], all_runs: &[Vec<Vec<Point>>]) -> Vec<(Mm, Mm)> {
    let rows = slots.iter().map(|slot| slot.row + 1).max().unwrap_or(0);
    let mut reach = vec![(Mm::ZERO, Mm::ZERO); rows];
    for (slot, runs) in slots.iter().zip(all_runs) {
        let (above, below) = &mut reach[slot.row];
        for point in runs.iter().flatten() {
            *above = (-point.y).max(*above);
            *below = point.y.max(*below);
        }
    }
    reach
}

/// The leads' names with their remarks, where no tracing passes.
fn labels(
    content: &Content,
    slots: &[Slot],
    all_runs: &[Vec<Vec<Point>>],
    bases: &[Mm],
    occupancy: &mut Occupancy,
) -> Vec<Shape> {
    let mut shapes = Vec::new();
    for (slot, runs) in slots.iter().zip(all_runs) {
        let base = bases[slot.row];
        // Mostly above the row's own line, so that no name seems to belong to the row below or above.
        let pitch = bases.windows(2).map(|pair| pair[1] - pair[0]).min().unwrap_or(Mm::whole(28));
        let (above, below) =
            (Mm::whole(13).min(pitch - Mm::whole(2)), Mm::whole(13).min(pitch.over(2) - Mm::whole(1)));
        let band = Rectangle { left: slot.left, top: base - above, right: slot.right, bottom: base + below };
        let remark = match content.voltages(&slot.lead) {
            Some(voltages) => remark(slot, voltages, runs.is_empty(), content.start),
            None => "not recorded".to_owned(),
        };
        shapes.extend(label::label(occupancy, band, &slot.lead.name(), &remark));
    }
    shapes
}

/// What the page has to say about its tracings.
fn seen(content: &Content, slots: &[Slot], all_runs: &[Vec<Vec<Point>>], frame: &Frame) -> Seen {
    let start = content.start;
    let has_columns = slots.windows(2).any(|pair| pair[0].row == pair[1].row);
    let mut seen = Seen { has_columns, ..Seen::default() };
    for (slot, runs) in slots.iter().zip(all_runs) {
        let Some(voltages) = content.voltages(&slot.lead) else {
            seen.note_absent(slot);
            continue;
        };
        if !slot.on_axis && !runs.is_empty() {
            seen.off_axis.push((slot.lead.clone(), start.plus(slot.from).unwrap_or(start)));
        }
        seen.note_provenance(slot, voltages);
        seen.note_gaps(slot, missing(slot, voltages, start));
        if runs.iter().flatten().any(|point| is_outside(point, frame.grid)) {
            seen.note_cut(slot, furthest(slot, voltages, start));
        }
    }
    seen
}

/// What stands after a lead's name.
fn remark(slot: &Slot, voltages: &Voltages, is_empty: bool, page_start: Exact) -> String {
    let mut parts = Vec::new();
    match voltages.provenance {
        Provenance::Recorded => {}
        Provenance::DerivedBySource => parts.push("derived by the source".to_owned()),
        Provenance::DerivedHere => parts.push("derived".to_owned()),
    }
    if voltages.moved != 0.0 {
        let way = if voltages.moved > 0.0 { "down" } else { "up" };
        parts.push(format!("moved {:.1} mV {way}", voltages.moved.abs() / 1000.0));
    }
    if is_empty {
        parts.push("no samples in this stretch".to_owned());
    } else if !slot.on_axis {
        let from = page_start.plus(slot.from).map(words::number).unwrap_or_default();
        parts.push(format!("from {from} s"));
    }
    parts.join(", ")
}

/// The microvolts of a slot's samples, missing ones as NaN.
fn samples<'a>(slot: &Slot, voltages: &'a Voltages, page_start: Exact) -> impl Iterator<Item = f64> + 'a {
    let from = page_start.plus(slot.from).unwrap_or(page_start);
    let to = from.plus(slot.seconds).unwrap_or(from);
    voltages
        .pieces
        .iter()
        .flat_map(move |piece| piece.microvolts[piece.sample_at(from)..piece.sample_at(to)].iter().copied())
}

fn missing(slot: &Slot, voltages: &Voltages, page_start: Exact) -> usize {
    samples(slot, voltages, page_start).filter(|value| value.is_nan()).count()
}

/// The voltage furthest from 0 V in millivolts.
fn furthest(slot: &Slot, voltages: &Voltages, page_start: Exact) -> f64 {
    let present = samples(slot, voltages, page_start).filter(|value| !value.is_nan());
    present.fold(0.0f64, |most, value| if value.abs() > most.abs() { value } else { most }) / 1000.0
}

fn is_outside(point: &Point, area: Rectangle) -> bool {
    point.y < area.top || point.y > area.bottom
}

/// A small arrow at the edge of the grid for each stretch that leaves it.
fn cuts(runs: &[Vec<Point>], area: Rectangle) -> Vec<Shape> {
    let half = Mm(900);
    let mut marks = Vec::new();
    let mut last: Option<(bool, Mm)> = None;
    for point in runs.iter().flatten().filter(|point| is_outside(point, area)) {
        let above = point.y < area.top;
        // Stretches closer than an arrow is wide share one.
        if last.is_some_and(|(was_above, x)| was_above == above && point.x - x < half.times(2)) {
            continue;
        }
        last = Some((above, point.x));
        let (tip, foot) = if above {
            (area.top, area.top + half.times(2))
        } else {
            (area.bottom, area.bottom - half.times(2))
        };
        let corner = |x, y| Point { x, y };
        let corners = vec![corner(point.x, tip), corner(point.x - half, foot), corner(point.x + half, foot)];
        marks.push(Shape::Polygon { corners, ink: Ink::Black });
    }
    marks
}

/// The gravest banner, large, behind the tracings.
fn watermark(frame: &Frame, banners: &[&str]) -> Vec<Shape> {
    let Some(word) = banners.first() else { return Vec::new() };
    let style = Style { size: Mm::whole(34), ink: Ink::Watermark, ..Style::HEAD };
    let middle = frame.origin_x + (frame.grid.right - frame.origin_x).over(2);
    let base = frame.grid.top + Mm::whole(70);
    vec![style.line(middle, base, Anchor::Middle, word)]
}
