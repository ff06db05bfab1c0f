//! Names of leads, each set where no tracing passes.

use crate::constants::COLUMN_GAP;
use crate::typeset::{Style, shorten};
use crate::{Anchor, Mm, Point, Rectangle, Shape};

/// Which heights are taken by tracings and labels, in strips of half a millimetre.
pub(crate) struct Occupancy {
    left: Mm,
    strips: Vec<Vec<(Mm, Mm)>>,
    labels: Vec<Rectangle>,
}

/// Width of a strip.
const STRIP: i32 = 500;
/// White to keep around a label.
const CLEARANCE: Mm = Mm(600);

impl Occupancy {
    /// An empty stretch of the page.
    pub fn new(left: Mm, right: Mm) -> Occupancy {
        let count = usize::try_from((right - left).0 / STRIP + 1).unwrap_or(0);
        Occupancy { left, strips: vec![Vec::new(); count], labels: Vec::new() }
    }

    /// Marks what a tracing covers.
    pub fn add_runs(&mut self, runs: &[Vec<Point>]) {
        for run in runs {
            let mut current: Option<(usize, Mm, Mm)> = None;
            for point in run {
                let strip = self.strip(point.x);
                current = match current {
                    Some((at, low, high)) if at == strip => Some((at, low.min(point.y), high.max(point.y))),
                    Some((at, low, high)) => {
                        self.take(at, low, high);
                        // The line from strip to strip passes between the two heights.
                        let from = point.y.clamp(low, high);
                        self.take(strip, from.min(point.y), from.max(point.y));
                        Some((strip, point.y, point.y))
                    }
                    None => Some((strip, point.y, point.y)),
                };
            }
            if let Some((at, low, high)) = current {
                self.take(at, low, high);
            }
        }
    }

    /// Marks a rectangle.
    pub fn add(&mut self, box_: Rectangle) {
        for strip in self.strip(box_.left)..=self.strip(box_.right) {
            self.take(strip, box_.top, box_.bottom);
        }
    }

    fn take(&mut self, strip: usize, low: Mm, high: Mm) {
        if let Some(taken) = self.strips.get_mut(strip) {
            taken.push((low, high));
        }
    }

    fn strip(&self, x: Mm) -> usize {
        usize::try_from((x - self.left).0 / STRIP).unwrap_or(0).min(self.strips.len().saturating_sub(1))
    }

    fn is_free(&self, box_: Rectangle) -> bool {
        let (top, bottom) = (box_.top - CLEARANCE, box_.bottom + CLEARANCE);
        let strips = &self.strips[self.strip(box_.left - CLEARANCE)..=self.strip(box_.right + CLEARANCE)];
        strips.iter().flatten().all(|(low, high)| *high < top || *low > bottom)
    }

    /// Marks a rectangle as taken by a label.
    fn add_label(&mut self, box_: Rectangle) {
        self.add(box_);
        self.labels.push(box_);
    }

    fn is_free_of_labels(&self, box_: Rectangle) -> bool {
        self.labels.iter().all(|label| {
            box_.right + CLEARANCE < label.left
                || label.right + CLEARANCE < box_.left
                || box_.bottom + CLEARANCE < label.top
                || label.bottom + CLEARANCE < box_.top
        })
    }

    /// A place for a box of this size inside `band` where nothing passes, best not below `base`.
    pub fn place(&self, band: Rectangle, base: Mm, width: Mm, height: Mm) -> Option<Rectangle> {
        search(band, base, width, height, |box_| self.is_free(box_))
    }

    /// A place where at least no other label stands, be it on a tracing; the corner where there is none.
    fn place_over_tracings(&self, band: Rectangle, width: Mm, height: Mm) -> Rectangle {
        let at = corner(band);
        let at_corner = Rectangle { left: at.x, top: at.y, right: at.x + width, bottom: at.y + height };
        search(band, band.bottom, width, height, |box_| self.is_free_of_labels(box_)).unwrap_or(at_corner)
    }
}

/// A place in `band` that will do: as near as can be to the upper left corner, moved down rather than along, but along as
/// far as 15 mm before it reaches below `base`, where a name could be taken for that of the next row.
fn search(
    band: Rectangle,
    base: Mm,
    width: Mm,
    height: Mm,
    will_do: impl Fn(Rectangle) -> bool,
) -> Option<Rectangle> {
    const STEP: Mm = Mm(500);
    const BELOW: i32 = 3 * 15_000 / STEP.0;
    let at = |left: Mm, top: Mm| Rectangle { left, top, right: left + width, bottom: top + height };
    let corner = corner(band);
    let corner = at(corner.x, corner.y);
    let (along, down) = ((band.right - corner.right).0 / STEP.0, (band.bottom - corner.bottom).0 / STEP.0);
    let mut best: Option<(i32, Rectangle)> = None;
    for x in 0..=along.max(0) {
        for y in 0..=down.max(0) {
            let box_ = at(corner.left + STEP.times(x), corner.top + STEP.times(y));
            let cost = 3 * x + y + if box_.bottom > base { BELOW } else { 0 };
            if best.is_some_and(|(least, _)| least <= cost) {
                break;
            }
            if will_do(box_) {
                best = Some((cost, box_));
                break;
            }
        }
    }
    best.map(|(_, box_)| box_)
}

/// Where a label stands if it can choose: the upper left corner of its band.
fn corner(band: Rectangle) -> Point {
    Point { x: band.left + Mm(2_000), y: band.top + Mm::whole(3) }
}

/// Sets a lead's name and a remark after it in `band` where nothing passes, best above the row's `base` line, and marks
/// the place as taken. Where the two together find no place, each looks for its own; a name that finds none stands on a
/// tracing.
pub(crate) fn label(
    occupancy: &mut Occupancy,
    band: Rectangle,
    base: Mm,
    name: &str,
    remark: &str,
) -> Vec<Shape> {
    let name = shorten(name, Style::HEAD, band.width() - COLUMN_GAP);
    let name_width = Style::HEAD.measure(&name);
    let gap = if remark.is_empty() { Mm::ZERO } else { Mm::whole(1) };
    let remark = shorten(remark, Style::SMALL, band.width() - COLUMN_GAP - name_width - gap);
    let remark_width = Style::SMALL.measure(&remark);
    let (head_height, small_height) = (capitals(Style::HEAD), capitals(Style::SMALL));

    let both = occupancy.place(band, base, name_width + gap + remark_width, head_height);
    let alone = both.or_else(|| occupancy.place(band, base, name_width, head_height));
    let place = alone.unwrap_or_else(|| occupancy.place_over_tracings(band, name_width, head_height));
    occupancy.add_label(place);
    let mut shapes = vec![Style::HEAD.line(place.left, place.bottom, Anchor::Start, &name)];
    if remark.is_empty() {
        return shapes;
    }
    let at = match both {
        Some(both) => Point { x: both.left + name_width + gap, y: both.bottom },
        None => match occupancy.place(band, base, remark_width, small_height) {
            Some(place) => {
                occupancy.add_label(place);
                Point { x: place.left, y: place.bottom }
            }
            // The page says it in words below the grid as well.
            None => return shapes,
        },
    };
    shapes.push(Style::SMALL.line(at.x, at.y, Anchor::Start, &remark));
    shapes
}

/// Sets a note somewhere in `band` where nothing passes, in one piece or, where that has no room, clause by clause; a
/// clause that finds no place stands on a tracing. Nothing of it is left out.
pub(crate) fn note(occupancy: &mut Occupancy, band: Rectangle, words: &str) -> Vec<Shape> {
    let style = Style::SMALL;
    // From above its accents to below its descenders, and a little more white to the names of leads.
    let (descent, height) = (style.size.over(5), style.size + Mm(300));
    let mut shapes = Vec::new();
    let mut set = |occupancy: &mut Occupancy, place: Rectangle, words: &str| {
        occupancy.add_label(place);
        shapes.push(style.line(place.left, place.bottom - descent, Anchor::Start, words));
    };
    if let Some(place) = occupancy.place(band, band.bottom, style.measure(words), height) {
        set(occupancy, place, words);
        return shapes;
    }
    let clauses: Vec<&str> = words.split_inclusive(", ").map(str::trim_end).collect();
    for clause in clauses {
        let width = style.measure(clause);
        let place = occupancy.place(band, band.bottom, width, height);
        let place = place.unwrap_or_else(|| occupancy.place_over_tracings(band, width, height));
        set(occupancy, place, clause);
    }
    shapes
}

/// Height of capitals: 0.72 em (AFM of Helvetica, from memory).
fn capitals(style: Style) -> Mm {
    style.size.times(72).over(100)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BAND: Rectangle =
        Rectangle { left: Mm::ZERO, top: Mm::ZERO, right: Mm::whole(60), bottom: Mm::whole(28) };

    #[test]
    fn a_label_gives_way_to_a_tracing() {
        let mut occupancy = Occupancy::new(Mm::ZERO, Mm::whole(60));
        let corner = occupancy.place(BAND, BAND.bottom, Mm::whole(8), Mm::whole(3)).expect("an empty band");
        assert_eq!((corner.left, corner.top), (Mm::whole(2), Mm::whole(3)));
        let point = |x, y| Point { x: Mm::whole(x), y: Mm::whole(y) };
        // A spike through the corner, sampled only at its foot and its top.
        occupancy.add_runs(&[vec![point(0, 14), point(4, 14), point(5, 1), point(6, 14), point(60, 14)]]);
        let place = occupancy.place(BAND, BAND.bottom, Mm::whole(8), Mm::whole(3)).expect("room below");
        assert!(occupancy.is_free(place), "{place:?}");
        assert_ne!(place, corner);
    }

    #[test]
    fn a_name_moves_along_before_it_stands_below_its_line() {
        let mut occupancy = Occupancy::new(Mm::ZERO, Mm::whole(60));
        let point = |x, y| Point { x: Mm::whole(x), y: Mm::whole(y) };
        // A beat over the first 12 mm, then a line at 14 mm.
        let beat = [(0, 14), (2, 0), (4, 14), (8, 2), (12, 14), (60, 14)];
        occupancy.add_runs(&[beat.map(|(x, y)| point(x, y)).to_vec()]);
        let place = |base| occupancy.place(BAND, base, Mm::whole(8), Mm::whole(3)).expect("room");
        assert!(place(BAND.bottom).top > Mm::whole(14), "as near as can be");
        assert!(place(Mm::whole(14)).bottom < Mm::whole(14) && place(Mm::whole(14)).left > Mm::whole(8));
    }

    #[test]
    fn two_labels_never_share_a_place() {
        let mut occupancy = Occupancy::new(Mm::ZERO, Mm::whole(60));
        let first = occupancy.place(BAND, BAND.bottom, Mm::whole(8), Mm::whole(3)).expect("an empty band");
        occupancy.add(first);
        let second = occupancy.place(BAND, BAND.bottom, Mm::whole(8), Mm::whole(3)).expect("room below");
        assert!(second.top > first.bottom);
    }
}
