//! Which lead stands where in the grid, and which stretch of time it shows.

use ecgkeep_recording::{Exact, Lead};

use crate::frame::Frame;
use crate::{Layout, LeadOrder, Mm};

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

/// Rows of leads: each names what stands side by side, and whether it is a strip.
#[derive(Clone, Debug)]
pub(crate) struct Row {
    pub leads: Vec<Lead>,
    pub strip: bool,
}

/// The limb leads in the usual order, and by angle (Cabrera).
const LIMB: [Lead; 6] = [Lead::I, Lead::II, Lead::III, Lead::AVR, Lead::AVL, Lead::AVF];
const LIMB_BY_ANGLE: [Lead; 6] = [Lead::AVL, Lead::I, Lead::NegativeAVR, Lead::II, Lead::AVF, Lead::III];
const CHEST: [Lead; 6] = [Lead::V1, Lead::V2, Lead::V3, Lead::V4, Lead::V5, Lead::V6];

/// From row to row at least, in millimetres; project choice: closer rows at 10 mm/mV are hard to tell apart.
const LEAST_PITCH: i32 = 13;

/// The rows of a layout, from top to bottom.
pub(crate) fn rows(layout: Layout, order: LeadOrder) -> Vec<Row> {
    let limb = match order {
        LeadOrder::Standard => LIMB,
        LeadOrder::Anatomical => LIMB_BY_ANGLE,
    };
    let all: Vec<Lead> = limb.into_iter().chain(CHEST).collect();
    let (count, strips): (usize, &[Lead]) = match layout {
        Layout::ThreeByFour => (3, &[Lead::II]),
        Layout::ThreeByFourThreeStrips => (3, &[Lead::II, Lead::V1, Lead::V5]),
        Layout::SixByTwo => (6, &[Lead::II]),
        Layout::TwelveByOne => (12, &[]),
    };
    let row = |n: usize| Row { leads: all.iter().skip(n).step_by(count).cloned().collect(), strip: false };
    (0..count).map(row).chain(strips.iter().map(Row::strip)).collect()
}

impl Row {
    /// A row of one lead over the whole length, which shows it again or by itself.
    pub fn strip(lead: &Lead) -> Row {
        Row { leads: vec![lead.clone()], strip: true }
    }
}

/// The rows in as few groups, evenly filled, as it takes for rows not to stand too close.
pub(crate) fn groups<'a>(rows: &'a [Row], frame: &Frame) -> Vec<&'a [Row]> {
    let room = (frame.grid.height().0 / 1000 - FIRST_BASE - LAST_BASE) / LEAST_PITCH + 1;
    let most = usize::try_from(room).unwrap_or(1).max(1);
    let groups = rows.len().div_ceil(most).max(1);
    rows.chunks(rows.len().div_ceil(groups).max(1)).collect()
}

/// What the columns of a row show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Columns {
    /// One after the other, as much of the recording as is left.
    OneTimeAxis(Exact),
    /// All the same stretch from its first moment: a beat.
    SameStretch,
}

/// The slots of a page, row by row.
pub(crate) fn slots(rows: &[Row], frame: &Frame, columns: Columns) -> Vec<Slot> {
    let length = frame.end_x - frame.origin_x;
    let mut slots = Vec::new();
    for (index, row) in rows.iter().enumerate() {
        let count = i32::try_from(row.leads.len()).unwrap_or(1).max(1);
        let part = |n: i32| Exact::ratio(i128::from(frame.milliseconds * n), i128::from(1000 * count));
        let seconds = part(1).unwrap_or(Exact::ZERO);
        for (n, lead) in (0..count).zip(&row.leads) {
            let (from, on_axis) = match columns {
                Columns::OneTimeAxis(left) => start(part(n).unwrap_or(Exact::ZERO), seconds, left),
                Columns::SameStretch => (Exact::ZERO, true),
            };
            slots.push(Slot {
                lead: lead.clone(),
                from,
                on_axis,
                seconds,
                left: frame.origin_x + length.times(n).over(count),
                right: frame.origin_x + length.times(n + 1).over(count),
                row: index,
                strip: row.strip,
            });
        }
    }
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
        let kind = if self.strip { "strip" } else { "lead" };
        let name = self.lead.name();
        let is_plain = |c: char| c.is_ascii_alphanumeric() || c == '-';
        if name.chars().all(is_plain) {
            return format!("{kind}-{name}");
        }
        // Two odd names may look alike when made plain: the row tells them apart.
        let plain: String = name.chars().map(|c| if is_plain(c) { c } else { '-' }).collect();
        format!("{kind}-{plain}-row-{}", self.row)
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
    let gaps = i32::try_from(reach.len()).unwrap_or(1).saturating_sub(1).max(1);
    let height = frame.grid.height().0 / 1000;
    // What is left when the rows stand as close as they may.
    let spare = (height - FIRST_BASE - LAST_BASE - LEAST_PITCH * gaps).max(0);
    let above = reach.first().map_or(0, |(above, _)| up_to_whole(*above) + 1);
    let below = reach.last().map_or(0, |(_, below)| up_to_whole(*below) + 1);
    let first = above.clamp(FIRST_BASE, MOST_ABOVE.min(FIRST_BASE + spare));
    let spare = spare - (first - FIRST_BASE);
    let last = height - below.clamp(LAST_BASE, MOST_BELOW.min(LAST_BASE + spare));
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
            let slots = slots(
                &rows(Layout::ThreeByFour, LeadOrder::Standard),
                &frame,
                Columns::OneTimeAxis(seconds(left)),
            );
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
            let mut reach = [(Mm::ZERO, Mm::ZERO); 4];
            (reach[0].0, reach[3].1) = (Mm::whole(above), Mm::whole(below));
            bases(&reach, &frame).iter().map(|base| (*base - frame.grid.top).0 / 1000).collect::<Vec<_>>()
        };
        assert_eq!(at(5, 5), [20, 47, 74, 101]);
        assert_eq!(at(30, 20), [31, 52, 73, 94]);
        assert_eq!(at(900, 900), [45, 58, 72, 85]);
    }

    #[test]
    fn every_layout_shows_every_lead_once_besides_its_strips() {
        for layout in
            [Layout::ThreeByFour, Layout::ThreeByFourThreeStrips, Layout::SixByTwo, Layout::TwelveByOne]
        {
            for (order, avr) in [(LeadOrder::Standard, Lead::AVR), (LeadOrder::Anatomical, Lead::NegativeAVR)]
            {
                let rows = rows(layout, order);
                let mut leads: Vec<Lead> =
                    rows.iter().filter(|row| !row.strip).flat_map(|row| row.leads.clone()).collect();
                assert!(leads.contains(&avr));
                leads.sort_by_key(Lead::number);
                leads.dedup();
                assert_eq!(leads.len(), 12, "{layout:?}");
            }
        }
        let first: Vec<String> =
            rows(Layout::ThreeByFour, LeadOrder::Anatomical)[0].leads.iter().map(Lead::name).collect();
        assert_eq!(first, ["aVL", "II", "V1", "V4"]);
    }

    #[test]
    fn rows_that_would_stand_too_close_go_on_the_next_page() {
        let portrait = Paper { orientation: crate::Orientation::Portrait, ..Paper::default() };
        let sizes = |paper: &Paper, layout| {
            let rows = rows(layout, LeadOrder::Standard);
            groups(&rows, &Frame::new(paper)).iter().map(|group| group.len()).collect::<Vec<_>>()
        };
        assert_eq!(sizes(&Paper::default(), Layout::SixByTwo), [7]);
        assert_eq!(sizes(&Paper::default(), Layout::TwelveByOne), [6, 6]);
        assert_eq!(sizes(&portrait, Layout::TwelveByOne), [12]);
    }
}
