//! Where on the page what stands.

use crate::constants::{COLUMN_GAP, GUTTER, GUTTER_AT_50, MARGIN};
use crate::{Mm, Orientation, Paper, Rectangle, Speed};

/// The parts of a page, from top to bottom.
#[derive(Clone, Debug)]
pub(crate) struct Frame {
    pub width: Mm,
    pub height: Mm,
    /// Who: name and identifiers, and the answer of the checks.
    pub band: Rectangle,
    /// What the source says, and the findings.
    pub details: Rectangle,
    /// The paper of the tracings: gutter and strip.
    pub grid: Rectangle,
    /// Where a page's first sample stands.
    pub origin_x: Mm,
    /// Where the page's last moment stands.
    pub end_x: Mm,
    /// From the one to the other, in thousandths of a second.
    pub milliseconds: i32,
    /// Scale, drawing, cautions, digest.
    pub footer: Rectangle,
}

/// Height of the part with name and identifiers.
const BAND_HEIGHT: Mm = Mm(18_900);
/// White under the rule that ends the head.
const BELOW_RULE: Mm = Mm(1_300);
/// Height of the part with acquisition, measurements and findings; more where its columns are narrower.
const DETAILS_HEIGHT: Mm = Mm(30_100);
const DETAILS_HEIGHT_PORTRAIT: Mm = Mm(38_000);
/// What the foot needs at least; more where the bar and the technical lines stand one below the other.
const FOOTER_HEIGHT: Mm = Mm(33_000);
const FOOTER_HEIGHT_PORTRAIT: Mm = Mm(48_000);
/// White at the left and right edge at least.
const SIDE: Mm = Mm::whole(7);
/// The longest strip: ten seconds at 25 mm/s.
const LONGEST_STRIP: Mm = Mm::whole(250);
/// The longest stretch of time of one page.
const MOST_MILLISECONDS: i64 = 10_000;

impl Frame {
    pub fn new(paper: &Paper) -> Frame {
        let (width, height) = paper.size.dimensions(paper.orientation);
        let gutter = if paper.speed == Speed::Mm50 { GUTTER_AT_50 } else { GUTTER };
        let strip = large_boxes(LONGEST_STRIP.min(width - SIDE.times(2) - gutter));
        let per_second = i64::from(paper.speed.per_second().0);
        let milliseconds = (i64::from(strip.0) * 1000 / per_second).min(MOST_MILLISECONDS);
        let drawn = Mm(i32::try_from(per_second * milliseconds / 1000).unwrap_or(strip.0));

        let left = (width - strip - gutter).over(2);
        let right = left + gutter + strip;
        let band = Rectangle { left, top: MARGIN, right, bottom: MARGIN + BAND_HEIGHT };
        let (details_height, footer_height) = match paper.orientation {
            Orientation::Landscape => (DETAILS_HEIGHT, FOOTER_HEIGHT),
            Orientation::Portrait => (DETAILS_HEIGHT_PORTRAIT, FOOTER_HEIGHT_PORTRAIT),
        };
        let bottom = band.bottom + details_height;
        let details = Rectangle { left, top: band.bottom + BELOW_RULE, right, bottom };
        let grid_height = large_boxes(height - MARGIN - footer_height - bottom);
        let grid = Rectangle { left, top: bottom, right, bottom: bottom + grid_height };
        let footer = Rectangle { left, top: grid.bottom, right, bottom: height - MARGIN };
        let origin_x = left + gutter;
        Frame {
            width,
            height,
            band,
            details,
            grid,
            origin_x,
            end_x: origin_x + drawn,
            milliseconds: i32::try_from(milliseconds).unwrap_or(0),
            footer,
        }
    }

    /// Left edge and width of one of four columns of text, or of several side by side.
    pub fn columns(&self, first: i32, count: i32) -> (Mm, Mm) {
        let one = (self.grid.width() - COLUMN_GAP.times(3)).over(4);
        let left = self.grid.left + (one + COLUMN_GAP).times(first);
        (left, one.times(count) + COLUMN_GAP.times(count - 1))
    }
}

/// The length in whole large boxes of the grid.
fn large_boxes(length: Mm) -> Mm {
    Mm(length.0 / 5000 * 5000)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::PaperSize;

    #[test]
    fn a_page_shows_what_its_width_holds_at_the_speed_and_no_more_than_ten_seconds() {
        let milliseconds = |size, orientation, speed| {
            let frame = Frame::new(&Paper { size, orientation, speed, ..Paper::default() });
            assert!(frame.grid.left >= SIDE && frame.grid.right <= frame.width - SIDE);
            assert!(frame.footer.height() >= FOOTER_HEIGHT && frame.end_x <= frame.grid.right);
            frame.milliseconds
        };
        use Orientation::{Landscape, Portrait};
        assert_eq!(milliseconds(PaperSize::A4, Landscape, Speed::Mm25), 10_000);
        assert_eq!(milliseconds(PaperSize::A4, Landscape, Speed::Mm12_5), 10_000);
        assert_eq!(milliseconds(PaperSize::A4, Landscape, Speed::Mm50), 5_000);
        assert_eq!(milliseconds(PaperSize::A4, Portrait, Speed::Mm25), 7_400);
        assert_eq!(milliseconds(PaperSize::Letter, Landscape, Speed::Mm25), 10_000);
        assert_eq!(milliseconds(PaperSize::Letter, Landscape, Speed::Mm50), 5_000);
        assert_eq!(milliseconds(PaperSize::Letter, Portrait, Speed::Mm12_5), 10_000);
    }
}
