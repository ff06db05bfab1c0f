//! Which lead stands where in the grid, and which stretch of time it shows.

use ecgkeep_recording::{Exact, Lead};

use crate::frame::Frame;
use crate::voltages::Voltages;
use crate::{Layout, LeadOrder, Mm, Paper, spacing};

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
    /// Millimetres to the millivolt.
    pub per_millivolt: Mm,
    /// Whether the slot stands above its own moment of the time axis; a lead that was not recorded then shows another
    /// stretch.
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

/// The rows in as few groups, evenly filled, as it takes for rows not to stand too close at the page's gain.
pub(crate) fn groups<'a>(rows: &'a [Row], frame: &Frame, paper: &Paper) -> Vec<&'a [Row]> {
    let gains = rows.iter().flat_map(|row| &row.leads).map(|lead| paper.per_millivolt(lead));
    let gain = gains.max().unwrap_or(Mm::ZERO);
    let pitch = spacing::least_pitch(gain);
    let room = (frame.grid.height().0 / 1000 - spacing::FIRST_BASE - spacing::LAST_BASE) / pitch + 1;
    let most = usize::try_from(room).unwrap_or(1).max(1);
    let groups = rows.len().div_ceil(most).max(1);
    rows.chunks(rows.len().div_ceil(groups).max(1)).collect()
}

/// What the columns of a row show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Columns {
    /// One after the other, each its own stretch of the page's time axis.
    OneTimeAxis,
    /// All the same stretch from its first moment: a beat.
    SameStretch,
}

/// The slots of a page, row by row.
pub(crate) fn slots(rows: &[Row], frame: &Frame, paper: &Paper, columns: Columns) -> Vec<Slot> {
    let length = frame.end_x - frame.origin_x;
    let mut slots = Vec::new();
    for (index, row) in rows.iter().enumerate() {
        let count = i32::try_from(row.leads.len()).unwrap_or(1).max(1);
        let part = |n: i32| Exact::ratio(i128::from(frame.milliseconds * n), i128::from(1000 * count));
        let seconds = part(1).unwrap_or(Exact::ZERO);
        for (n, lead) in (0..count).zip(&row.leads) {
            let from = match columns {
                Columns::OneTimeAxis => part(n).unwrap_or(Exact::ZERO),
                Columns::SameStretch => Exact::ZERO,
            };
            slots.push(Slot {
                lead: lead.clone(),
                from,
                on_axis: true,
                seconds,
                left: frame.origin_x + length.times(n).over(count),
                right: frame.origin_x + length.times(n + 1).over(count),
                row: index,
                strip: row.strip,
                per_millivolt: paper.per_millivolt(lead),
            });
        }
    }
    slots
}

impl Slot {
    /// Moves the slot to another stretch of the page where the lead has less than half as many samples above its own
    /// moment of the axis as it has elsewhere: as late as an early lead fills it, or from where a late one begins, so
    /// that no lead goes unseen because it was recorded at another moment. `end` is the page's last moment, in seconds
    /// from its first.
    pub fn settle(&mut self, voltages: &Voltages, page_start: Exact, end: Exact) {
        let there = |from: Exact| {
            let from = page_start.plus(from).unwrap_or(page_start);
            voltages.present(from, from.plus(self.seconds).unwrap_or(from))
        };
        let page_end = page_start.plus(end).unwrap_or(page_start);
        let Some((first, last)) = voltages.first_and_last(page_start, page_end) else { return };
        let since_start = |moment: Exact| moment.minus(page_start).unwrap_or(Exact::ZERO).max(Exact::ZERO);
        let first = since_start(first);
        let late = since_start(last).minus(self.seconds).unwrap_or(first).max(first);
        let aligned = there(self.from);
        let best = [late, first].into_iter().max_by_key(|from| {
            let distance = from.minus(self.from).map_or(Exact::ZERO, Exact::magnitude);
            (there(*from), std::cmp::Reverse(distance))
        });
        if let Some(best) = best.filter(|best| 2 * aligned < there(*best)) {
            (self.from, self.on_axis) = (best, false);
        }
    }

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

#[cfg(test)]
mod tests {
    use ecgkeep_recording::{Rate, Signal, Step, Waveform};

    use super::*;
    use crate::DisplayFilters;

    fn seconds(text: &str) -> Exact {
        text.parse().expect("a number")
    }

    /// Where each lead of the first row begins, and whether that is its own moment of the axis, where all of it was
    /// recorded between two moments.
    fn starts(first: &str, last: &str) -> Vec<(String, bool)> {
        let paper = Paper::default();
        let frame = Frame::new(&paper);
        let rows = rows(Layout::ThreeByFour, LeadOrder::Standard);
        let mut slots = slots(&rows, &frame, &paper, Columns::OneTimeAxis);
        let rate = Rate::new(Exact::whole(100)).expect("above zero");
        let length = seconds(last).minus(seconds(first)).expect("later").to_f64() * 100.0;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a thousand at most")]
        let signal =
            |lead: &Lead| Signal::new(lead.clone(), Step::default(), vec![7; length.round() as usize]);
        let mut waveform =
            Waveform::new(rate, Lead::TWELVE.iter().map(signal).collect()).expect("equal lengths");
        waveform.start = seconds(first);
        let end = Exact::whole(10);
        for slot in &mut slots {
            let voltages = Voltages::of(&[&waveform], &slot.lead, end, &DisplayFilters::default());
            slot.settle(&voltages.expect("recorded"), Exact::ZERO, end);
        }
        slots[..4].iter().map(|slot| (slot.from.to_string(), slot.on_axis)).collect()
    }

    #[test]
    fn columns_follow_the_strip_but_where_a_lead_was_recorded_at_another_moment() {
        let on = |text: &str| (text.to_owned(), true);
        let off = |text: &str| (text.to_owned(), false);
        assert_eq!(starts("0", "10"), [on("0"), on("2.5"), on("5"), on("7.5")]);
        assert_eq!(starts("0", "9.8"), [on("0"), on("2.5"), on("5"), on("7.5")]);
        // Too short: as late as it fills the column.
        assert_eq!(starts("0", "4"), [on("0"), on("2.5"), off("1.5"), off("1.5")]);
        assert_eq!(starts("0", "1"), [on("0"), off("0"), off("0"), off("0")]);
        // Too late: from where it begins.
        assert_eq!(starts("6", "9"), [off("6"), off("6"), on("5"), on("7.5")]);
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
            groups(&rows, &Frame::new(paper), paper).iter().map(|group| group.len()).collect::<Vec<_>>()
        };
        assert_eq!(sizes(&Paper::default(), Layout::SixByTwo), [7]);
        assert_eq!(sizes(&Paper::default(), Layout::TwelveByOne), [6, 6]);
        assert_eq!(sizes(&portrait, Layout::TwelveByOne), [12]);
        let double = Paper { gain: crate::Gain::Mm20, ..Paper::default() };
        assert_eq!(sizes(&double, Layout::ThreeByFour), [4]);
        assert_eq!(sizes(&double, Layout::ThreeByFourThreeStrips), [3, 3]);
    }
}
