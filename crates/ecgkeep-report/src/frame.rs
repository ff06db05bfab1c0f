//! Where on the page what stands.

use crate::constants::{COLUMN_GAP, GUTTER, MARGIN};
use crate::{Mm, Paper, Rectangle};

/// The parts of a page, from top to bottom.
#[derive(Clone, Debug)]
pub(crate) struct Frame {
    pub width: Mm,
    pub height: Mm,
    /// Who: name and identifiers, and the answer of the checks.
    pub band: Rectangle,
    /// What the source says, and the findings.
    pub details: Rectangle,
    /// The paper of the tracings: gutter and ten seconds.
    pub grid: Rectangle,
    /// Where a page's first sample stands.
    pub origin_x: Mm,
    /// Seconds that fit from there to the right edge of the grid, in thousandths.
    pub milliseconds: i32,
    /// Scale, drawing, cautions, digest.
    pub footer: Rectangle,
}

/// Height of the part with name and identifiers.
const BAND_HEIGHT: Mm = Mm(18_900);
/// White under the rule that ends the head.
const BELOW_RULE: Mm = Mm(1_300);
/// Height of the part with acquisition, measurements and findings.
const DETAILS_HEIGHT: Mm = Mm(29_100);
/// Height of the grid: four rows, and room for half a row above and below.
const GRID_HEIGHT: Mm = Mm::whole(115);

impl Frame {
    pub fn new(paper: &Paper) -> Frame {
        let (width, height) = paper.size.dimensions(paper.orientation);
        let strip = paper.speed.per_second().times(10);
        let left = (width - strip - GUTTER).over(2);
        let right = left + GUTTER + strip;
        let band = Rectangle { left, top: MARGIN, right, bottom: MARGIN + BAND_HEIGHT };
        let details = band.bottom + BELOW_RULE;
        let bottom = band.bottom + DETAILS_HEIGHT;
        let details = Rectangle { left, top: details, right, bottom };
        let grid = Rectangle { left, top: bottom, right, bottom: bottom + GRID_HEIGHT };
        let footer = Rectangle { left, top: grid.bottom, right, bottom: height - MARGIN };
        Frame { width, height, band, details, grid, origin_x: left + GUTTER, milliseconds: 10_000, footer }
    }

    /// Left edge and width of one of four columns of text, or of several side by side.
    pub fn columns(&self, first: i32, count: i32) -> (Mm, Mm) {
        let one = (self.grid.width() - COLUMN_GAP.times(3)).over(4);
        let left = self.grid.left + (one + COLUMN_GAP).times(first);
        (left, one.times(count) + COLUMN_GAP.times(count - 1))
    }
}
