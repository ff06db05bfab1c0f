//! How far apart the rows stand, and which tracings overlap all the same.

use crate::frame::Frame;
use crate::slot::Slot;
use crate::{Mm, Point};

/// From the upper edge of the grid to 0 V of the first row, where nothing needs more: R waves of 2 mV.
pub(crate) const FIRST_BASE: i32 = 20;
/// The same from 0 V of the last row to the lower edge.
pub(crate) const LAST_BASE: i32 = 14;
/// The most that the first row may take above it, and the last one below, in millimetres.
const MOST_ABOVE: i32 = 45;
const MOST_BELOW: i32 = 30;
/// Room for a name above the first row, and for the words of the pulse below the last one.
const LEAST_EDGE: i32 = 10;
/// White between the tracings of two rows, where there is room.
const CLEARANCE: Mm = Mm::whole(2);
/// From row to row at least, in microvolts and in millimetres; project choice: 13 mm at 10 mm/mV, closer rows are hard
/// to tell apart.
const LEAST_MICROVOLTS: i32 = 1_300;
const LEAST_PITCH: i32 = 13;

/// From row to row at least, in millimetres, at so many millimetres to the millivolt.
pub(crate) fn least_pitch(per_millivolt: Mm) -> i32 {
    LEAST_PITCH.max(per_millivolt.0 / 1000 * LEAST_MICROVOLTS / 1000)
}

/// How far a tracing reaches above and below 0 V at each place along the page, in strips; `None` where there is none.
#[derive(Clone, Debug)]
pub(crate) struct Envelope {
    strips: Vec<Option<(Mm, Mm)>>,
}

/// Width of a strip.
const STRIP: i32 = 500;

impl Envelope {
    /// Of the runs of a slot, y running down from 0 V.
    pub fn of(runs: &[Vec<Point>], frame: &Frame) -> Envelope {
        let left = frame.grid.left;
        let count = usize::try_from(frame.grid.width().0 / STRIP + 1).unwrap_or(0);
        let strip = |x: Mm| usize::try_from((x - left).0 / STRIP).unwrap_or(0).min(count.saturating_sub(1));
        let mut strips: Vec<Option<(Mm, Mm)>> = vec![None; count];
        let mut take = |at: usize, y: Mm| {
            let taken = strips[at].get_or_insert((y, y));
            *taken = (taken.0.min(y), taken.1.max(y));
        };
        for run in runs {
            let mut before: Option<(usize, Mm)> = None;
            for point in run {
                let at = strip(point.x);
                // A line from strip to strip passes through all between, as high as its ends at most.
                let (from, y) = before.filter(|(from, _)| *from < at).unwrap_or((at, point.y));
                for between in from..=at {
                    if between > from {
                        take(between, y);
                    }
                    if between < at {
                        take(between, point.y);
                    }
                }
                take(at, point.y);
                before = Some((at, point.y));
            }
        }
        Envelope { strips }
    }

    /// How far it reaches above 0 V, and below.
    fn reach(&self) -> (Mm, Mm) {
        let all = self.strips.iter().flatten();
        all.fold((Mm::ZERO, Mm::ZERO), |(up, down), (top, bottom)| (up.max(-*top), down.max(*bottom)))
    }

    /// The least distance to the base line of a tracing below at which the two do not meet.
    fn meets_within(&self, below: &Envelope) -> Option<Mm> {
        let both = self.strips.iter().zip(&below.strips).filter_map(|(a, b)| a.zip(*b));
        both.map(|((_, bottom), (top, _))| bottom - top).max()
    }
}

/// Where 0 V of each row stands, on lines of the grid: evenly spaced, but for rows whose tracings need more room, as far
/// as the page has it; the first row lower and the last one higher where their tracings would leave the grid.
pub(crate) fn bases(slots: &[Slot], envelopes: &[Envelope], frame: &Frame) -> Vec<Mm> {
    let count = slots.iter().map(|slot| slot.row + 1).max().unwrap_or(0);
    let in_row = |row: usize| slots.iter().zip(envelopes).filter(move |(slot, _)| slot.row == row);
    let reach = |row: usize| {
        let all = in_row(row).map(|(_, envelope)| envelope.reach());
        all.fold((Mm::ZERO, Mm::ZERO), |(up, down), (a, b)| (up.max(a), down.max(b)))
    };
    let needs: Vec<i32> = (1..count)
        .map(|row| {
            let pairs = in_row(row - 1).flat_map(|(_, a)| in_row(row).map(move |(_, b)| a.meets_within(b)));
            pairs.flatten().max().map_or(0, |needed| up_to_whole(needed + CLEARANCE))
        })
        .collect();
    let gain = slots.iter().map(|slot| slot.per_millivolt).max().unwrap_or(Mm::ZERO);
    let least = least_pitch(gain);
    let height = frame.grid.height().0 / 1000;
    let needed: i32 = needs.iter().map(|need| (*need).max(least)).sum();
    let above = up_to_whole(reach(0).0) + 1;
    let below = up_to_whole(reach(count.saturating_sub(1)).1) + 1;
    // First what the first row needs above and the last one below, as far as the rows may stand as close as that.
    let spare =
        (height - FIRST_BASE - LAST_BASE - least * i32::try_from(needs.len()).unwrap_or(1).max(1)).max(0);
    let first = above.clamp(FIRST_BASE, MOST_ABOVE.min(FIRST_BASE + spare));
    let spare = spare - (first - FIRST_BASE);
    let last = below.clamp(LAST_BASE, MOST_BELOW.min(LAST_BASE + spare));
    // Then what the others need, from white above the first row and below the last one.
    let short = (needed - (height - first - last)).max(0);
    let from_above = short.min((first - above.max(LEAST_EDGE)).max(0));
    let from_below = (short - from_above).min((last - below.max(LEAST_EDGE)).max(0));
    let (first, last) = (first - from_above, height - last + from_below);
    let mut bases = vec![frame.grid.top + Mm::whole(first)];
    for pitch in pitches(&needs, last - first, least) {
        let before = bases[bases.len() - 1];
        bases.push(before + Mm::whole(pitch));
    }
    bases
}

fn up_to_whole(length: Mm) -> i32 {
    (length.0 + 999).div_euclid(1000)
}

/// From row to row in whole millimetres, `total` in all: even, but as much more as a pair of rows needs, and where the
/// page has less than all need, as much as it has, the greediest cut first.
fn pitches(needs: &[i32], total: i32, least: i32) -> Vec<i32> {
    let sum = |level: i32, cap: i32| -> i32 { needs.iter().map(|need| (*need).min(cap).max(level)).sum() };
    let highest = total.max(least);
    // The highest level that all can have, and below the level of the least the highest cap.
    let level = (least..=highest).rev().find(|level| sum(*level, highest) <= total);
    let (level, cap) = match level {
        Some(level) => (level, highest),
        None => (least, (least..=highest).rev().find(|cap| sum(least, *cap) <= total).unwrap_or(least)),
    };
    let mut pitches: Vec<i32> = needs.iter().map(|need| (*need).min(cap).max(level)).collect();
    let mut left = total - pitches.iter().sum::<i32>();
    // What does not come out even goes to the lowest pairs of rows, one millimetre each.
    for pitch in pitches.iter_mut().rev() {
        if left > 0 {
            *pitch += 1;
            left -= 1;
        }
    }
    pitches
}

/// Which tracings of different rows meet, by the numbers of their slots.
pub(crate) fn overlaps(slots: &[Slot], envelopes: &[Envelope], bases: &[Mm]) -> Vec<(usize, usize)> {
    let mut all = Vec::new();
    for (a, upper) in slots.iter().enumerate() {
        for (b, lower) in slots.iter().enumerate().filter(|(_, lower)| lower.row > upper.row) {
            let apart = bases[lower.row] - bases[upper.row];
            if envelopes[a].meets_within(&envelopes[b]).is_some_and(|needed| needed >= apart) {
                all.push((a, b));
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::slot::{Columns, rows, slots};
    use crate::{Layout, LeadOrder, Paper};

    #[test]
    fn pitches_are_even_where_no_row_needs_more_and_fill_the_room() {
        assert_eq!(pitches(&[0, 0, 0], 81, 13), [27, 27, 27]);
        assert_eq!(pitches(&[0, 0, 0], 40, 13), [13, 13, 14]);
        assert_eq!(pitches(&[41, 0, 0], 81, 13), [41, 20, 20]);
        assert_eq!(pitches(&[60, 15, 15], 81, 13), [51, 15, 15]);
        assert_eq!(pitches(&[900, 900, 900], 80, 13), [26, 27, 27]);
        assert!(pitches(&[], 80, 13).is_empty());
    }

    #[test]
    fn closer_rows_go_with_a_smaller_gain_and_no_closer_than_their_labels_allow() {
        assert_eq!([5, 10, 20].map(|gain| least_pitch(Mm::whole(gain))), [13, 13, 26]);
    }

    /// The base lines of a default page where some tracings reach so far above and below 0 V.
    fn at(reach: &[(&str, i32, i32)]) -> Vec<i32> {
        let paper = Paper::default();
        let frame = Frame::new(&paper);
        let slots =
            slots(&rows(Layout::ThreeByFour, LeadOrder::Standard), &frame, &paper, Columns::OneTimeAxis);
        let envelope = |slot: &Slot| {
            let (_, above, below) = *reach.iter().find(|(id, _, _)| *id == slot.id()).unwrap_or(&("", 0, 0));
            let point = |y: i32| Point { x: slot.left + Mm::whole(1), y: Mm::whole(y) };
            Envelope::of(&[vec![point(0), point(-above), point(below)]], &frame)
        };
        let envelopes: Vec<Envelope> = slots.iter().map(envelope).collect();
        let bases = bases(&slots, &envelopes, &frame);
        bases.iter().map(|base| (*base - frame.grid.top).0 / 1000).collect()
    }

    #[test]
    fn rows_make_room_for_a_tall_first_and_a_deep_last_one() {
        assert_eq!(at(&[]), [20, 47, 74, 101]);
        assert_eq!(at(&[("lead-I", 5, 5), ("strip-II", 5, 5)]), [20, 47, 74, 101]);
        assert_eq!(at(&[("lead-I", 30, 0), ("strip-II", 0, 20)]), [31, 52, 73, 94]);
        assert_eq!(at(&[("lead-I", 900, 0), ("strip-II", 0, 900)]), [45, 58, 71, 85]);
    }

    #[test]
    fn rows_stand_apart_as_their_tracings_need() {
        // 20 mm down, 25 mm up and 2 mm between them.
        assert_eq!(at(&[("lead-I", 0, 20), ("lead-II", 25, 0)]), [20, 67, 84, 101]);
        // The same in two columns does not meet.
        assert_eq!(at(&[("lead-I", 0, 20), ("lead-V2", 25, 0)]), [20, 47, 74, 101]);
    }

    #[test]
    fn tracings_meet_where_one_reaches_below_the_other() {
        let paper = Paper::default();
        let frame = Frame::new(&paper);
        let rows = rows(Layout::TwelveByOne, LeadOrder::Standard);
        let slots = slots(&rows[..3], &frame, &paper, Columns::OneTimeAxis);
        let at = |x: i32, y: i32| Point { x: frame.origin_x + Mm::whole(x), y: Mm::whole(y) };
        let flat = |y: i32| Envelope::of(&[vec![at(0, y), at(50, y)]], &frame);
        // A spike between two samples far apart still passes all strips between them.
        let spike = Envelope::of(&[vec![at(0, 0), at(20, 0), at(21, 31), at(22, 0)]], &frame);
        let bases = [0, 20, 40].map(Mm::whole);
        assert_eq!(overlaps(&slots, &[spike.clone(), flat(0), flat(0)], &bases), [(0, 1)]);
        assert_eq!(overlaps(&slots, &[flat(0), flat(0), flat(0)], &bases), []);
        assert_eq!(overlaps(&slots, &[flat(45), flat(0), flat(0)], &bases), [(0, 1), (0, 2)]);
        assert_eq!(spike.meets_within(&flat(0)), Some(Mm::whole(31)));
    }
}
