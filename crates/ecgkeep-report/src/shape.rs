//! What a page is made of: plain shapes in millimetres, every decision taken.

use crate::Mm;

/// A printable report, page by page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// Whose recording and of when, for the title bar.
    pub title: String,
    /// What the pages show, in words, for who cannot see them.
    pub description: String,
    /// The language of the page's own words (BCP 47).
    pub language: &'static str,
    /// Width of every page.
    pub width: Mm,
    /// Height of every page.
    pub height: Mm,
    /// The pages, at least one.
    pub pages: Vec<Page>,
    /// All that the report says, in full and in words, in the order in which it is read.
    pub words: Vec<Passage>,
}

/// What belongs together under one heading.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Passage {
    /// The heading.
    pub heading: String,
    /// What stands under it.
    pub entries: Vec<Entry>,
}

/// One entry of a list.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Entry {
    /// A word or two that stand before the text; may be empty.
    pub label: String,
    /// The text.
    pub text: String,
}

/// One page: shapes in the order in which they are drawn. The origin is the top left corner, y runs down.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Page {
    /// What the page shows, in words.
    pub description: String,
    /// The shapes.
    pub shapes: Vec<Shape>,
}

/// A place on the page.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Point {
    /// From the left edge.
    pub x: Mm,
    /// From the upper edge.
    pub y: Mm,
}

/// An upright rectangle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rectangle {
    /// Left edge.
    pub left: Mm,
    /// Upper edge.
    pub top: Mm,
    /// Right edge.
    pub right: Mm,
    /// Lower edge.
    pub bottom: Mm,
}

impl Rectangle {
    /// From the left edge to the right one.
    #[must_use]
    pub fn width(&self) -> Mm {
        self.right - self.left
    }

    /// From the upper edge to the lower one.
    #[must_use]
    pub fn height(&self) -> Mm {
        self.bottom - self.top
    }
}

/// One shape.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Shape {
    /// Straight lines that have nothing to do with each other, such as those of a grid.
    Lines {
        /// Name of the shape, unlike any other on the page; letters, digits and hyphens.
        id: String,
        /// Where each line begins and ends.
        lines: Vec<(Point, Point)>,
        /// Width of the stroke.
        stroke: Mm,
        /// Colour.
        ink: Ink,
    },
    /// A tracing: unbroken runs of points, with gaps between the runs. A run of one point is a dot. A sample has no
    /// point of its own where the line passes less than 0.01 mm from it.
    Path {
        /// Name of the shape, unlike any other on the page; letters, digits and hyphens.
        id: String,
        /// What it shows, in words.
        title: String,
        /// The runs, none of them empty.
        runs: Vec<Vec<Point>>,
        /// Width of the stroke.
        stroke: Mm,
        /// Colour.
        ink: Ink,
    },
    /// A filled polygon.
    Polygon {
        /// Corners, in order.
        corners: Vec<Point>,
        /// Colour.
        ink: Ink,
    },
    /// A line of text.
    Text(Text),
    /// Shapes of which only what lies inside the rectangle shows.
    Inside {
        /// The rectangle.
        clip: Rectangle,
        /// The shapes, in the order in which they are drawn.
        shapes: Vec<Shape>,
    },
}

/// A line of text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Text {
    /// Where the line stands: on its base line, at the end that `anchor` names.
    pub at: Point,
    /// Size of the type (its em).
    pub size: Mm,
    /// The width that the line takes, whatever font draws it.
    pub width: Mm,
    /// Which end stands at `at`.
    pub anchor: Anchor,
    /// Regular or bold.
    pub weight: Weight,
    /// Colour.
    pub ink: Ink,
    /// The text; free of control characters.
    pub text: String,
}

/// Which end of a line of text is fixed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Anchor {
    /// The left end.
    #[default]
    Start,
    /// The middle.
    Middle,
    /// The right end.
    End,
}

/// How heavy the type is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Weight {
    /// Regular.
    #[default]
    Regular,
    /// Bold.
    Bold,
}

/// The colours of the page. They differ in lightness, so that all of them survive grey printing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Ink {
    /// Tracings and words.
    #[default]
    Black,
    /// Words that explain others.
    Quiet,
    /// Rules between the parts of the page.
    Rule,
    /// The lines at every 5 mm.
    CoarseGrid,
    /// The lines at every 1 mm.
    FineGrid,
    /// A word behind the tracings.
    Watermark,
    /// Words on black.
    White,
}

impl Ink {
    /// Red, green and blue, 0 to 255 each (sRGB).
    #[must_use]
    pub fn rgb(self) -> [u8; 3] {
        match self {
            Ink::Black => [0x12, 0x14, 0x16],
            Ink::Quiet => [0x4c, 0x52, 0x56],
            Ink::Rule => [0x7c, 0x85, 0x88],
            Ink::CoarseGrid => [0x93, 0xb0, 0xac],
            Ink::FineGrid => [0xcb, 0xdb, 0xd8],
            Ink::Watermark => [0xdd, 0xdd, 0xdd],
            Ink::White => [0xff, 0xff, 0xff],
        }
    }
}
