//! Marks beside the tracings: where one leaves the grid, where a recorded stretch begins and ends, where a lead does
//! not stand above its moment of the time axis.

use ecgkeep_recording::Exact;

use crate::slot::Slot;
use crate::voltages::{Piece, Voltages};
use crate::{Ink, Mm, Point, Rectangle, Shape, Speed};

/// A small arrow at the edge of the grid for each stretch of a tracing that leaves it.
pub(crate) fn cuts(runs: &[Vec<Point>], area: Rectangle) -> Vec<Shape> {
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

pub(crate) fn is_outside(point: &Point, area: Rectangle) -> bool {
    point.y < area.top || point.y > area.bottom
}

/// The stretches in which a lead was recorded, as far as they lie on the page, in seconds from the recording's start.
pub(crate) fn stretches(voltages: &Voltages, page_start: Exact, page_end: Exact) -> Vec<(Exact, Exact)> {
    let on_page = |piece: &Piece| (piece.start.max(page_start), piece.end().min(page_end));
    voltages.pieces.iter().map(on_page).filter(|(from, to)| from < to).collect()
}

type Lines = Vec<(Point, Point)>;

/// A bracket at the base line of a slot where a recorded stretch begins or ends inside it.
pub(crate) fn brackets(
    slot: &Slot,
    stretches: &[(Exact, Exact)],
    page_start: Exact,
    base: Mm,
    speed: Speed,
) -> Lines {
    let (half, foot) = (Mm::whole(4), Mm(1_200));
    let from = page_start.plus(slot.from).unwrap_or(page_start);
    let place = |moment: Exact| {
        let ahead = moment.minus(from).filter(|ahead| *ahead > Exact::ZERO && *ahead < slot.seconds)?;
        Some(slot.left + Mm::from_thousandths(ahead.to_f64() * f64::from(speed.per_second().0)))
    };
    let mut lines = Vec::new();
    let mut bracket = |x: Mm, foot: Mm| {
        let point = |x, y| Point { x, y };
        let (top, bottom) = (base - half, base + half);
        lines.push((point(x, top), point(x, bottom)));
        lines.extend([top, bottom].map(|y| (point(x, y), point(x + foot, y))));
    };
    for (begin, end) in stretches {
        if let Some(x) = place(*begin) {
            bracket(x, foot);
        }
        if let Some(x) = place(*end) {
            bracket(x, -foot);
        }
    }
    lines
}

/// Two slanted strokes through the base line where a slot does not stand above its moment of the time axis.
pub(crate) fn axis_break(slot: &Slot, base: Mm) -> Lines {
    let (half, slant, gap) = (Mm(1_800), Mm(1_000), Mm(900));
    let stroke = |x: Mm| {
        let (low, high) = (Point { x, y: base + half }, Point { x: x + slant, y: base - half });
        (low, high)
    };
    vec![stroke(slot.left + Mm(100)), stroke(slot.left + Mm(100) + gap)]
}
