//! A tracing with fewer points: those are left out that the drawn line passes anyway.

use crate::Point;

/// How far above or below a sample the drawn line may pass where the sample's own point is left out, in thousandths of a
/// millimetre: half a microvolt at 10 mm/mV, a fiftieth of the stroke. With the rounding of the sample's place (half a
/// thousandth each way) it is less than 0.006 mm in all.
const TOLERANCE: i64 = 5;

/// The points of a run that are drawn: the first, the last, and of those between as many as it takes for the line to
/// pass within [`TOLERANCE`] above or below each that is left out. x never falls along a run.
pub(crate) fn simplified(run: &[Point]) -> Vec<Point> {
    corners(run).into_iter().map(|at| run[at]).collect()
}

/// Where in the run they stand. Each point is looked at once: a cone of the straight lines that still serve is opened at
/// each corner, and the point before the first one outside is the next corner.
fn corners(run: &[Point]) -> Vec<usize> {
    let Some(first) = run.first() else { return Vec::new() };
    let mut corners = vec![0];
    let mut cone = Cone::at(*first);
    for (at, point) in run.iter().enumerate().skip(1) {
        if !cone.holds(*point) {
            corners.push(at - 1);
            cone = Cone::at(run[at - 1]);
        }
        cone.narrow(*point);
    }
    if run.len() > 1 {
        corners.push(run.len() - 1);
    }
    corners
}

/// The straight lines from a point that pass all points since closely enough.
struct Cone {
    from: Point,
    /// The steepest way up and down that serves; `None` where every one does.
    least: Option<Slope>,
    greatest: Option<Slope>,
    /// Whether a point stands too far straight above or below the first.
    is_shut: bool,
}

/// `rise` over `run`, which is above zero.
#[derive(Clone, Copy)]
struct Slope {
    rise: i64,
    run: i64,
}

impl Slope {
    fn is_above(self, other: Slope) -> bool {
        self.rise * other.run > other.rise * self.run
    }
}

impl Cone {
    fn at(from: Point) -> Cone {
        Cone { from, least: None, greatest: None, is_shut: false }
    }

    /// From the cone's point to another: along, and how much greater y is.
    fn way(&self, to: Point) -> (i64, i64) {
        (i64::from(to.x.0) - i64::from(self.from.x.0), i64::from(to.y.0) - i64::from(self.from.y.0))
    }

    /// Whether a straight line to this point passes all points before it closely enough.
    fn holds(&self, point: Point) -> bool {
        let (run, rise) = self.way(point);
        if self.is_shut {
            return false;
        }
        let straight = Slope { rise, run };
        run == 0
            || (self.least.is_none_or(|least| !least.is_above(straight))
                && self.greatest.is_none_or(|greatest| !straight.is_above(greatest)))
    }

    /// Leaves only the lines that pass this point closely enough.
    fn narrow(&mut self, point: Point) {
        let (run, rise) = self.way(point);
        if run == 0 {
            self.is_shut |= rise.abs() > TOLERANCE;
            return;
        }
        let (least, greatest) =
            (Slope { rise: rise - TOLERANCE, run }, Slope { rise: rise + TOLERANCE, run });
        if self.least.is_none_or(|before| least.is_above(before)) {
            self.least = Some(least);
        }
        if self.greatest.is_none_or(|before| before.is_above(greatest)) {
            self.greatest = Some(greatest);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Mm;

    fn run(points: &[(i32, i32)]) -> Vec<Point> {
        points.iter().map(|(x, y)| Point { x: Mm(*x), y: Mm(*y) }).collect()
    }

    /// How far a point stands above or below the straight line between two others, in thousandths of a millimetre,
    /// rounded up. The line passes the point's x; upright lines stand there over their whole height.
    fn above_or_below(point: Point, from: Point, to: Point) -> i64 {
        let [x, y] =
            [[point.x, from.x, to.x], [point.y, from.y, to.y]].map(|of| of.map(|mm| i64::from(mm.0)));
        assert!(x[1] <= x[0] && x[0] <= x[2], "the line passes the point");
        let along = x[2] - x[1];
        if along == 0 {
            return (y[1].min(y[2]) - y[0]).max(y[0] - y[1].max(y[2])).max(0);
        }
        let apart = ((y[0] - y[1]) * along - (y[2] - y[1]) * (x[0] - x[1])).abs();
        apart.div_euclid(along) + i64::from(apart % along != 0)
    }

    /// The greatest distance above or below over all points of a run, worked out anew from its corners; its first and
    /// last point are among them.
    fn greatest(run: &[Point]) -> i64 {
        let corners = corners(run);
        assert_eq!((corners.first(), corners.last()), (Some(&0), Some(&(run.len() - 1))));
        let between = |pair: &[usize]| {
            let points = run[pair[0]..=pair[1]].iter();
            points.map(|point| above_or_below(*point, run[pair[0]], run[pair[1]])).max()
        };
        corners.windows(2).filter_map(between).max().unwrap_or(0)
    }

    #[test]
    fn a_straight_line_is_two_points_and_a_corner_one_more() {
        let line: Vec<(i32, i32)> = (0..5000).map(|k| (k * 50, k * 3)).collect();
        assert_eq!(simplified(&run(&line)), run(&[line[0], line[4999]]));
        let corner: Vec<(i32, i32)> = (0..100).map(|k: i32| (k * 50, (k - 40).abs() * 30)).collect();
        assert_eq!(simplified(&run(&corner)), run(&[corner[0], corner[40], corner[99]]));
    }

    #[test]
    fn what_stands_further_off_than_the_tolerance_is_drawn() {
        let bump = |height: i32| run(&[(0, 0), (50, 0), (100, height), (150, 0), (200, 0)]);
        assert_eq!(simplified(&bump(5)), run(&[(0, 0), (200, 0)]));
        assert_eq!(simplified(&bump(6)), run(&[(0, 0), (100, 6), (200, 0)]));
        assert_eq!(simplified(&bump(-1500)), bump(-1500));
    }

    #[test]
    fn a_run_of_one_or_two_points_is_drawn_as_it_is() {
        for points in [vec![], vec![(3, 4)], vec![(3, 4), (3, 4)], vec![(3, 4), (53, -4)]] {
            assert_eq!(simplified(&run(&points)), run(&points));
        }
    }

    #[test]
    fn samples_that_share_an_x_are_drawn_as_high_as_they_reach() {
        let dense = run(&[(0, 0), (0, 900), (0, -900), (0, 5), (1, 0), (1, 700), (1, 0), (2, 0)]);
        let drawn = simplified(&dense);
        assert!([900, -900, 700].iter().all(|y| drawn.iter().any(|point| point.y.0 == *y)), "{drawn:?}");
        assert!(greatest(&dense) <= TOLERANCE);
    }

    #[test]
    fn the_bound_is_reached_and_never_passed() {
        let slow: Vec<(i32, i32)> = (0..5000).map(|k| (k * 50, k * k / 4000)).collect();
        let drawn = simplified(&run(&slow));
        assert!(drawn.len() < 300, "{} points", drawn.len());
        assert!((TOLERANCE - 1..=TOLERANCE).contains(&greatest(&run(&slow))));
    }

    /// Whole numbers as if drawn by lot, the same each time (Marsaglia, "Xorshift RNGs", J. Stat. Softw. 8(14), 2003).
    struct Lot(u64);

    impl Lot {
        fn below(&mut self, bound: i32) -> i32 {
            self.0 ^= self.0 << 13;
            self.0 ^= self.0 >> 7;
            self.0 ^= self.0 << 17;
            i32::try_from(self.0 % u64::from(bound.unsigned_abs())).expect("below an i32")
        }

        fn around(&mut self, reach: i32) -> i32 {
            self.below(2 * reach + 1) - reach
        }

        fn one_of(&mut self, choices: [i32; 5]) -> i32 {
            choices[usize::try_from(self.below(5)).expect("not below zero")]
        }

        /// A run as recordings make them: samples evenly apart, or several to a thousandth of a millimetre; noise of any
        /// height on a slope, steps that stay and spikes that do not, up to what no page holds.
        fn run(&mut self) -> Vec<Point> {
            let (eighths, slope, noise) =
                (self.below(400), self.around(40), self.one_of([0, 1, 9, 30, 4000]));
            let reach = self.one_of([9, 20, 1000, 30_000, 200_000_000]);
            let (length, mut level) = (1 + self.below(400), 0);
            let place = |k: i32| {
                let event = self.below(40);
                let jump = if event < 2 { self.around(reach) } else { 0 };
                level = if event == 0 { jump } else { level };
                let height = level + if event == 1 { jump } else { 0 } + self.around(noise);
                Point { x: Mm(k * eighths / 8), y: Mm(height + k * slope) }
            };
            (0..length).map(place).collect()
        }
    }

    #[test]
    fn no_sample_of_any_run_stands_further_from_the_drawn_line_than_the_tolerance() {
        let mut lot = Lot(88_172_645_463_325_252);
        let (mut samples, mut drawn) = (0, 0);
        for n in 0..20_000 {
            let run = lot.run();
            assert!(greatest(&run) <= TOLERANCE, "run {n}: {run:?}");
            samples += run.len();
            drawn += simplified(&run).len();
        }
        assert!(drawn < samples, "{drawn} of {samples}");
    }
}
