//! The paper under the tracings: grid, time axis, calibration pulse, and the bar to measure.

use ecgkeep_recording::Exact;

use crate::constants::{
    BAR, COARSE_STROKE, FINE_STROKE, MARK_STROKE, PULSE_MICROVOLTS, PULSE_SECONDS, TRACING_STROKE,
};
use crate::frame::Frame;
use crate::slot::Slot;
use crate::typeset::Style;
use crate::{Anchor, Ink, Mm, Point, Shape, Speed, words};

/// Lines at every 1 mm and every 5 mm, counted from where the first sample stands.
pub(crate) fn grid(frame: &Frame) -> [Shape; 2] {
    let area = frame.grid;
    let (mut fine, mut coarse) = (Vec::new(), Vec::new());
    let mut push = |is_coarse: bool, line| if is_coarse { coarse.push(line) } else { fine.push(line) };
    let mut x = area.left;
    while x <= area.right {
        let line = (Point { x, y: area.top }, Point { x, y: area.bottom });
        push((x - frame.origin_x).0 % 5000 == 0, line);
        x = x + Mm::whole(1);
    }
    let mut y = area.top;
    while y <= area.bottom {
        push((y - area.top).0 % 5000 == 0, (Point { x: area.left, y }, Point { x: area.right, y }));
        y = y + Mm::whole(1);
    }
    [
        Shape::Lines { id: "grid-1mm".into(), lines: fine, stroke: FINE_STROKE, ink: Ink::FineGrid },
        Shape::Lines { id: "grid-5mm".into(), lines: coarse, stroke: COARSE_STROKE, ink: Ink::CoarseGrid },
    ]
}

/// One millivolt for 0.2 s, drawn and not recorded, in the room left of the row with this base line.
/// `whose` names the leads it stands for, where a page has two gains.
pub(crate) fn calibration_pulse(
    frame: &Frame,
    base: Mm,
    speed: Speed,
    per_millivolt: Mm,
    id: &str,
    whose: Option<&str>,
) -> Vec<Shape> {
    let height = Mm::from_thousandths(PULSE_MICROVOLTS * per_millivolt.to_f64());
    let length = Mm::from_thousandths(PULSE_SECONDS * f64::from(speed.per_second().0));
    let room = frame.origin_x - frame.grid.left;
    let left = frame.grid.left + (room - length).over(2);
    let (right, top) = (left + length, base - height);
    let point = |x, y| Point { x, y };
    let pulse = vec![point(left, base), point(left, top), point(right, top), point(right, base)];
    let foot = Mm(1_500);
    let feet =
        vec![(point(left - foot, base), point(left, base)), (point(right, base), point(right + foot, base))];
    let middle = frame.grid.left + room.over(2);
    let mut shapes = vec![
        Shape::Path {
            id: id.into(),
            title: "calibration pulse: 1 mV for 0.2 s, drawn, not recorded".into(),
            runs: vec![pulse],
            stroke: TRACING_STROKE,
            ink: Ink::Black,
        },
        Shape::Lines { id: format!("{id}-feet"), lines: feet, stroke: TRACING_STROKE, ink: Ink::Black },
    ];
    for (line, words) in (1..).zip(whose.into_iter().chain(["1 mV", "0.2 s"])) {
        let y = base + Mm(3_100).times(line);
        shapes.push(Style::SMALL.line(middle, y, Anchor::Middle, words));
    }
    shapes
}

/// Ticks at every second and their numbers, counted from the recording's start, under the grid.
pub(crate) fn time_axis(frame: &Frame, page_start: Exact, speed: Speed) -> Vec<Shape> {
    let bottom = frame.grid.bottom;
    let mut ticks = Vec::new();
    let mut shapes = Vec::new();
    for second in 0..=frame.milliseconds / 1000 {
        let x = frame.origin_x + speed.per_second().times(second);
        ticks.push((Point { x, y: bottom }, Point { x, y: bottom + Mm(1_000) }));
        let moment = page_start.plus(second.into()).map(words::number).unwrap_or_default();
        let anchor = if x == frame.grid.right { Anchor::End } else { Anchor::Middle };
        shapes.push(Style::SMALL.line(x, bottom + Mm(3_200), anchor, &format!("{moment} s")));
    }
    shapes.push(Shape::Lines { id: "seconds".into(), lines: ticks, stroke: FINE_STROKE, ink: Ink::Black });
    shapes
}

/// Ticks where one column of a row ends and the next begins.
pub(crate) fn column_ticks(slots: &[Slot], bases: &[Mm]) -> Vec<(Point, Point)> {
    let mut ticks = Vec::new();
    for slot in slots.iter().filter(|slot| slots.iter().any(|s| s.row == slot.row && s.left < slot.left)) {
        for (from, to) in [(Mm::whole(-8), Mm::whole(-5)), (Mm::whole(5), Mm::whole(8))] {
            let (x, base) = (slot.left, bases[slot.row]);
            ticks.push((Point { x, y: base + from }, Point { x, y: base + to }));
        }
    }
    ticks
}

/// The bar of 50 mm with its left end at `left`, and the advice to measure it.
pub(crate) fn bar(left: Mm, y: Mm) -> Vec<Shape> {
    let right = left + BAR;
    let tick = Mm(1_500);
    let end = |x| (Point { x, y: y - tick }, Point { x, y: y + tick });
    vec![
        Shape::Path {
            id: "bar".into(),
            title: "a bar of 50 mm".into(),
            runs: vec![vec![Point { x: left, y }, Point { x: right, y }]],
            stroke: MARK_STROKE,
            ink: Ink::Black,
        },
        Shape::Lines {
            id: "bar-ends".into(),
            lines: vec![end(left), end(right)],
            stroke: FINE_STROKE,
            ink: Ink::Black,
        },
    ]
}
