//! Which lead stands where in the grid, and which stretch of time it shows.

use ecgkeep_recording::{Exact, Lead};

use crate::frame::Frame;
use crate::{Layout, Mm};

/// A place for one tracing.
#[derive(Clone, Debug)]
pub(crate) struct Slot {
    pub lead: Lead,
    /// Seconds from the page's first moment to the slot's first one.
    pub from: Exact,
    /// Seconds shown.
    pub seconds: Exact,
    /// Where the slot's first moment stands, and where its last one.
    pub left: Mm,
    pub right: Mm,
    /// The row, from 0.
    pub row: usize,
    /// Whether it is a rhythm strip, which shows a lead a second time.
    pub strip: bool,
    /// Whether the slot stands above its own moment of the time axis; where a recording is too short for that, it
    /// shows an earlier stretch.
    pub on_axis: bool,
}

/// Three rows of four leads; each column is the same stretch of time in all rows and in the strip below.
const THREE_BY_FOUR: [[Lead; 4]; 3] = [
    [Lead::I, Lead::AVR, Lead::V1, Lead::V4],
    [Lead::II, Lead::AVL, Lead::V2, Lead::V5],
    [Lead::III, Lead::AVF, Lead::V3, Lead::V6],
];

/// Rows of the layout, the strip included.
const ROWS: usize = 4;

/// The slots of a page on which so much of the recording is left to show, row by row.
pub(crate) fn slots(layout: Layout, frame: &Frame, seconds_left: Exact) -> Vec<Slot> {
    match layout {
        Layout::ThreeByFour => three_by_four(frame, seconds_left),
    }
}

fn three_by_four(frame: &Frame, seconds_left: Exact) -> Vec<Slot> {
    let strip = frame.grid.right - frame.origin_x;
    let column = |n: i32| frame.origin_x + strip.times(n).over(4);
    let quarter = i64::from(frame.milliseconds / 4);
    let seconds = |milliseconds: i64| Exact::ratio(i128::from(milliseconds), 1000).unwrap_or(Exact::ZERO);
    let mut slots = Vec::with_capacity(13);
    for (row, leads) in THREE_BY_FOUR.iter().enumerate() {
        for (n, lead) in (0..4).zip(leads) {
            let (from, on_axis) = start(seconds(i64::from(n) * quarter), seconds(quarter), seconds_left);
            slots.push(Slot {
                lead: lead.clone(),
                from,
                on_axis,
                seconds: seconds(quarter),
                left: column(n),
                right: column(n + 1),
                row,
                strip: false,
            });
        }
    }
    slots.push(Slot {
        lead: Lead::II,
        from: Exact::ZERO,
        seconds: seconds(4 * quarter),
        left: frame.origin_x,
        right: frame.grid.right,
        row: ROWS - 1,
        strip: true,
        on_axis: true,
    });
    slots
}

/// Where a column begins: above its own moment of the strip, unless less than half of it is left there; then as late
/// as the recording fills it, so that no lead goes unseen because the recording is short.
fn start(aligned: Exact, length: Exact, seconds_left: Exact) -> (Exact, bool) {
    let half = Exact::ratio(1, 2).ok().and_then(|half| half.times(length)).unwrap_or(Exact::ZERO);
    if aligned.is_zero() || aligned.plus(half).is_some_and(|middle| middle <= seconds_left) {
        return (aligned, true);
    }
    (seconds_left.minus(length).unwrap_or(Exact::ZERO).max(Exact::ZERO), false)
}

impl Slot {
    /// The name of the slot's shapes.
    pub fn id(&self) -> String {
        let name: String =
            self.lead.name().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
        format!("{}-{name}", if self.strip { "strip" } else { "lead" })
    }
}

/// From the upper edge of the grid to 0 V of the first row, where nothing needs more: R waves of 2 mV.
const FIRST_BASE: i32 = 20;
/// The same from 0 V of the last row to the lower edge.
const LAST_BASE: i32 = 14;
/// The most that the first row may take above it, and the last one below, in millimetres.
const MOST_ABOVE: i32 = 45;
const MOST_BELOW: i32 = 30;

/// Where 0 V of each row stands, on lines of the grid: evenly spaced, the first row lower and the last one higher
/// where their tracings, which reach so far above and below 0 V, would leave the grid.
pub(crate) fn bases(reach: &[(Mm, Mm)], frame: &Frame) -> Vec<Mm> {
    let up_to_whole = |length: Mm| (length.0 + 999).div_euclid(1000);
    let above = reach.first().map_or(0, |(above, _)| up_to_whole(*above) + 1);
    let below = reach.last().map_or(0, |(_, below)| up_to_whole(*below) + 1);
    let first = above.clamp(FIRST_BASE, MOST_ABOVE);
    let last = frame.grid.height().0 / 1000 - below.clamp(LAST_BASE, MOST_BELOW);
    let gaps = i32::try_from(reach.len()).unwrap_or(1).saturating_sub(1).max(1);
    (0..=gaps)
        .take(reach.len())
        .map(|row| frame.grid.top + Mm::whole(first + ((last - first) * row + gaps / 2) / gaps))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Paper;

    fn seconds(text: &str) -> Exact {
        text.parse().expect("a number")
    }

    #[test]
    fn columns_follow_the_strip_and_step_back_only_where_a_recording_ends_before_their_middle() {
        let frame = Frame::new(&Paper::default());
        let starts = |left: &str| {
            let slots = slots(Layout::ThreeByFour, &frame, seconds(left));
            slots[..4].iter().map(|slot| (slot.from.to_string(), slot.on_axis)).collect::<Vec<_>>()
        };
        let on = |text: &str| (text.to_owned(), true);
        let off = |text: &str| (text.to_owned(), false);
        assert_eq!(starts("10"), [on("0"), on("2.5"), on("5"), on("7.5")]);
        assert_eq!(starts("9.8"), [on("0"), on("2.5"), on("5"), on("7.5")]);
        assert_eq!(starts("4"), [on("0"), on("2.5"), off("1.5"), off("1.5")]);
        assert_eq!(starts("1"), [on("0"), off("0"), off("0"), off("0")]);
    }

    #[test]
    fn rows_make_room_for_a_tall_first_and_a_deep_last_one() {
        let frame = Frame::new(&Paper::default());
        let at = |above: i32, below: i32| {
            let mut reach = [(Mm::ZERO, Mm::ZERO); ROWS];
            (reach[0].0, reach[3].1) = (Mm::whole(above), Mm::whole(below));
            bases(&reach, &frame).iter().map(|base| (*base - frame.grid.top).0 / 1000).collect::<Vec<_>>()
        };
        assert_eq!(at(5, 5), [20, 47, 74, 101]);
        assert_eq!(at(30, 20), [31, 52, 73, 94]);
        assert_eq!(at(900, 900), [45, 58, 72, 85]);
    }
}
