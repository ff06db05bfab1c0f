//! One page: paper, tracings, labels, and the words around them.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Exact, Lead, Recording};

use crate::constants::MARK_STROKE;
use crate::frame::Frame;
use crate::label::Occupancy;
use crate::notices::Seen;
use crate::slot::{Columns, Row, Slot};
use crate::spacing::Envelope;
use crate::typeset::Style;
use crate::voltages::{Provenance, Voltages};
use crate::{
    Anchor, ChestGain, DisplayFilters, Ink, Mm, Page, PageFacts, Paper, Point, Rectangle, Shape, boxes,
    details, footer, grid, header, label, letters, marks, notices, slot, spacing, tracing, typeset, words,
};

/// What all pages of a report draw on.
pub(crate) struct Report<'a> {
    pub recording: &'a Recording,
    pub assessment: &'a Assessment,
    pub facts: &'a PageFacts,
    /// As asked for, but for filters that no lead can carry.
    pub paper: &'a Paper,
    /// Those.
    pub left_away: DisplayFilters,
    pub frame: Frame,
    /// Every lead that some page shows.
    pub shown: Vec<Lead>,
}

/// What one page draws.
pub(crate) struct Content<'a> {
    pub rows: &'a [Row],
    /// The leads of the rows, with their voltages where there are any.
    pub leads: &'a [(Lead, Option<Voltages>)],
    /// The page's first moment.
    pub start: Exact,
    /// What the page says of what it shows: which part of the recording, where it is not all of it; where the rest is.
    pub about: Vec<String>,
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
    let (frame, paper) = (&report.frame, report.paper);
    let tracings = Tracings::place(report, content);
    let Tracings { slots, runs: all_runs, bases, .. } = &tracings;

    let mut shapes = watermark(frame, &boxes::banners(report.assessment, report.facts));
    shapes.extend(grid::grid(frame));
    let ticks = grid::column_ticks(slots, bases);
    let seams = tracings.seams(content, paper);
    let mut occupancy = Occupancy::new(frame.grid.left, frame.grid.right);
    for (from, to) in ticks.iter().chain(&seams) {
        let (left, right) = (from.x.min(to.x), from.x.max(to.x));
        let (top, bottom) = (from.y.min(to.y), from.y.max(to.y));
        occupancy.add(Rectangle { left, top, right, bottom });
    }
    all_runs.iter().for_each(|runs| occupancy.add_runs(runs));
    let seen = seen(content, &tracings, frame);
    let mut labels = labels(content, report, &tracings, &mut occupancy);
    if !content.is_beat && !paper.filters.is_empty() {
        labels.extend(filter_notes(content, &tracings, &paper.filters.to_string(), frame, &mut occupancy));
    }
    let marks: Vec<Shape> = all_runs.iter().flat_map(|runs| marks::cuts(runs, frame.grid)).collect();

    for (id, lines) in [("columns", ticks), ("seams", seams)] {
        if !lines.is_empty() {
            shapes.push(Shape::Lines { id: id.into(), lines, stroke: MARK_STROKE, ink: Ink::Black });
        }
    }
    if !content.is_beat {
        shapes.extend(grid::time_axis(frame, content.start, paper.speed));
    }
    shapes.extend(pulses(frame, paper, slots, bases));
    let not_empty = tracings.slots.iter().zip(&tracings.runs).filter(|(_, runs)| !runs.is_empty());
    let paths = not_empty.map(|(slot, runs)| tracing::path(slot, runs)).collect();
    shapes.push(Shape::Inside { clip: frame.grid, shapes: paths });
    shapes.extend(marks);
    shapes.extend(labels);
    shapes.extend(header::head(frame, report.recording, report.assessment, report.facts));
    let (words, details_cut) = details::details(report);
    shapes.extend(words);
    let mut notices = content.about.clone();
    notices.extend(notices::notices(&seen, content.is_beat));
    let is_foreign = |shape: &Shape| matches!(shape, Shape::Text(text) if !letters::are_known(&text.text));
    let has_foreign = shapes.iter().any(is_foreign);
    let mut all_notices = notices.clone();
    if has_foreign {
        all_notices.insert(
            0,
            "Letters that not every font has are numbered in Unicode at the end of the report.".into(),
        );
    }
    all_notices.extend(notices::of_report(report));
    let (words, foot_cut) = footer::foot(report, &all_notices);
    shapes.extend(words);
    let is_shortened =
        |shape: &Shape| matches!(shape, Shape::Text(text) if text.text.ends_with(typeset::ELLIPSIS));
    let is_cut = details_cut || foot_cut || has_foreign || shapes.iter().any(is_shortened);
    Drawn { page: Page { description: String::new(), shapes }, notices, is_cut }
}

/// What stands where in the grid of a page.
struct Tracings {
    slots: Vec<Slot>,
    /// The runs of each slot, on the page.
    runs: Vec<Vec<Vec<Point>>>,
    /// Where 0 V of each row stands.
    bases: Vec<Mm>,
    /// The slots of different rows whose tracings meet.
    overlaps: Vec<(usize, usize)>,
    /// In which stretches the lead of each slot was recorded, as far as they lie on the page.
    recorded: Vec<Vec<(Exact, Exact)>>,
}

impl Tracings {
    fn place(report: &Report, content: &Content) -> Tracings {
        let (frame, paper, start) = (&report.frame, report.paper, content.start);
        let columns = if content.is_beat { Columns::SameStretch } else { Columns::OneTimeAxis };
        let mut slots = slot::slots(content.rows, frame, paper, columns);
        let seconds = Exact::ratio(i128::from(frame.milliseconds), 1000).unwrap_or(Exact::ONE);
        let end = start.plus(seconds).unwrap_or(start);
        let mut runs: Vec<Vec<Vec<Point>>> = Vec::new();
        let mut recorded = Vec::new();
        for slot in &mut slots {
            let voltages = content.voltages(&slot.lead);
            if let Some(voltages) = voltages.filter(|_| !content.is_beat) {
                slot.settle(voltages, start, seconds);
            }
            runs.push(voltages.map_or_else(Vec::new, |v| tracing::runs(slot, v, start, paper.speed)));
            recorded.push(voltages.map_or_else(Vec::new, |v| marks::stretches(v, start, end)));
        }
        let envelopes: Vec<Envelope> = runs.iter().map(|runs| Envelope::of(runs, frame)).collect();
        let bases = spacing::bases(&slots, &envelopes, frame);
        for (slot, runs) in slots.iter().zip(&mut runs) {
            runs.iter_mut().flatten().for_each(|point| point.y = point.y + bases[slot.row]);
        }
        let overlaps = spacing::overlaps(&slots, &envelopes, &bases);
        Tracings { slots, runs, bases, overlaps, recorded }
    }

    /// Whether all leads of the page were recorded together, in one stretch.
    fn is_one_stretch(&self) -> bool {
        let mut all = self.recorded.iter().filter(|stretches| !stretches.is_empty());
        let first = all.next();
        first.is_none_or(|first| first.len() == 1 && all.all(|other| notices::are_together(first, other)))
    }

    /// Marks where recorded stretches begin and end, and where a lead stands at another moment of the axis.
    fn seams(&self, content: &Content, paper: &Paper) -> Vec<(Point, Point)> {
        let mut lines = Vec::new();
        if content.is_beat {
            return lines;
        }
        let is_one_stretch = self.is_one_stretch();
        for (slot, recorded) in self.slots.iter().zip(&self.recorded) {
            let base = self.bases[slot.row];
            if !slot.on_axis {
                lines.extend(marks::axis_break(slot, base));
            }
            if !is_one_stretch {
                lines.extend(marks::brackets(slot, recorded, content.start, base, paper.speed));
            }
        }
        lines
    }

    /// From row to row, the closest two.
    fn pitch(&self) -> Mm {
        self.bases.windows(2).map(|pair| pair[1] - pair[0]).min().unwrap_or(Mm::whole(28))
    }
}

/// A calibration pulse for each gain of the page: left of the last row for its gain, left of the first row for the
/// other.
fn pulses(frame: &Frame, paper: &Paper, slots: &[Slot], bases: &[Mm]) -> Vec<Shape> {
    let of_row = |row: usize| slots.iter().find(|slot| slot.row == row).map(|slot| slot.per_millivolt);
    let last = bases.len().saturating_sub(1);
    let last_base = bases.last().copied().unwrap_or(frame.grid.bottom);
    let gain = of_row(last).unwrap_or(paper.gain.per_millivolt());
    let others = slots.iter().find(|slot| slot.per_millivolt != gain);
    let whose = |gain: Mm| {
        let mut leads = slots.iter().filter(|slot| slot.per_millivolt == gain).map(|slot| &slot.lead);
        match (gain == paper.gain.per_millivolt(), leads.all(is_limb)) {
            (false, _) => "chest",
            (true, true) => "limb",
            (true, false) => "others",
        }
    };
    let id = |gain| if gain == paper.gain.per_millivolt() { "calibration" } else { "calibration-chest" };
    let Some(other) = others.map(|slot| slot.per_millivolt) else {
        let whose = (paper.chest != ChestGain::Same).then(|| whose(gain));
        return grid::calibration_pulse(frame, last_base, paper.speed, gain, id(gain), whose);
    };
    let first_base = bases.first().copied().unwrap_or(frame.grid.top);
    [(last_base, gain), (first_base, other)]
        .into_iter()
        .flat_map(|(base, gain)| {
            grid::calibration_pulse(frame, base, paper.speed, gain, id(gain), Some(whose(gain)))
        })
        .collect()
}

fn is_limb(lead: &Lead) -> bool {
    use Lead::{AVF, AVL, AVR, I, II, III, NegativeAVR};
    matches!(lead, I | II | III | AVR | AVL | AVF | NegativeAVR)
}

/// The leads' names with their remarks, where no tracing passes.
fn labels(content: &Content, report: &Report, tracings: &Tracings, occupancy: &mut Occupancy) -> Vec<Shape> {
    let (frame, paper) = (&report.frame, report.paper);
    let pitch = tracings.pitch();
    let mut shapes = Vec::new();
    for (slot, runs) in tracings.slots.iter().zip(&tracings.runs) {
        let base = tracings.bases[slot.row];
        // Mostly above the row's own line, so that no name seems to belong to the row below or above.
        let (above, below) =
            (Mm::whole(13).min(pitch - Mm::whole(2)), Mm::whole(13).min(pitch.over(2) - Mm::whole(1)));
        let top = (base - above).max(frame.grid.top - Mm::whole(2));
        let band = Rectangle { left: slot.left, top, right: slot.right, bottom: base + below };
        let remark = match content.voltages(&slot.lead) {
            Some(voltages) => remark(slot, paper, voltages, runs.is_empty(), content.start),
            None => "not recorded".to_owned(),
        };
        shapes.extend(label::label(occupancy, band, base, &words::lead(&slot.lead), &remark));
    }
    shapes
}

/// In each row that has a tracing, how it is filtered, and which leads are not, or not by all.
fn filter_notes(
    content: &Content,
    tracings: &Tracings,
    filters: &str,
    frame: &Frame,
    occupancy: &mut Occupancy,
) -> Vec<Shape> {
    let pitch = tracings.pitch();
    let mut shapes = Vec::new();
    for (row, base) in tracings.bases.iter().enumerate() {
        let of_row = tracings.slots.iter().zip(&tracings.runs).filter(|(slot, _)| slot.row == row);
        let drawn: Vec<&Lead> =
            of_row.filter(|(_, runs)| !runs.is_empty()).map(|(slot, _)| &slot.lead).collect();
        if drawn.is_empty() {
            continue;
        }
        let is_too_slow = |lead: &&&Lead| content.voltages(lead).is_some_and(|voltages| voltages.is_too_slow);
        let slow: Vec<String> = drawn.iter().filter(is_too_slow).map(|lead| words::lead(lead)).collect();
        let but = if slow.is_empty() {
            String::new()
        } else {
            format!("; {} not by all, see below", slow.join(", "))
        };
        let (top, bottom) = (*base - pitch.over(2), *base + pitch.over(2));
        let band = Rectangle { left: frame.origin_x, top, right: frame.end_x, bottom };
        shapes.extend(label::note(occupancy, band, &format!("Filtered: {filters}{but}")));
    }
    shapes
}

/// What the page has to say about its tracings.
fn seen(content: &Content, tracings: &Tracings, frame: &Frame) -> Seen {
    let (start, slots) = (content.start, &tracings.slots);
    let has_columns = slots.windows(2).any(|pair| pair[0].row == pair[1].row);
    let mut seen = Seen { has_columns, is_one_stretch: tracings.is_one_stretch(), ..Seen::default() };
    for (index, (slot, runs)) in slots.iter().zip(&tracings.runs).enumerate() {
        let Some(voltages) = content.voltages(&slot.lead) else {
            seen.note_absent(slot);
            continue;
        };
        if !slot.on_axis && !runs.is_empty() {
            seen.off_axis.push((slot.lead.clone(), start.plus(slot.from).unwrap_or(start)));
        }
        seen.note_provenance(slot, voltages);
        seen.note_recorded(slot, &tracings.recorded[index]);
        seen.note_gaps(slot, missing(slot, voltages, start));
        if runs.iter().flatten().any(|point| marks::is_outside(point, frame.grid)) {
            seen.note_cut(slot, furthest(slot, voltages, start));
        }
    }
    for (upper, lower) in &tracings.overlaps {
        seen.note_overlap(&slots[*upper], &slots[*lower]);
    }
    seen.sort();
    seen
}

/// What stands after a lead's name.
fn remark(slot: &Slot, paper: &Paper, voltages: &Voltages, is_empty: bool, page_start: Exact) -> String {
    let mut parts = Vec::new();
    if slot.per_millivolt != paper.gain.per_millivolt() {
        parts.push(format!("{} mm/mV", slot.per_millivolt));
    }
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

/// The banners, large, one below the other behind the tracings.
fn watermark(frame: &Frame, banners: &[&str]) -> Vec<Shape> {
    let Ok(count @ 1..) = i32::try_from(banners.len()) else { return Vec::new() };
    let middle = frame.origin_x + (frame.grid.right - frame.origin_x).over(2);
    let height = frame.grid.height().over(count + 1);
    let one_high = Style { size: Mm::whole(1), ink: Ink::Watermark, ..Style::HEAD };
    let widest = banners.iter().map(|word| one_high.measure(word)).max().unwrap_or(Mm::whole(1));
    // As large as the rows and the width allow.
    let fitting = Mm((frame.grid.width() - Mm::whole(20)).0 * 1000 / widest.0.max(1));
    let style = Style { size: Mm::whole(34).min(height).min(fitting), ..one_high };
    (1..)
        .zip(banners)
        .map(|(line, word)| {
            let base = frame.grid.top + height.times(line) + style.size.over(3);
            style.line(middle, base, Anchor::Middle, word)
        })
        .collect()
}
