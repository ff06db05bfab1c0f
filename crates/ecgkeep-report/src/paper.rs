//! What the caller chooses and knows: the paper, and the facts that stand on the page beside the recording.

use ecgkeep_recording::Filing;

use crate::Mm;

/// What is printed beside the recording and its assessment.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PageFacts {
    /// The recording's fingerprint: 64 hexadecimal digits.
    pub digest: String,
    /// What a person supplied beside the source; printed apart.
    pub filing: Option<Filing>,
    /// What the reader of the source noted, one sentence each.
    pub notes: Vec<String>,
    /// Whether part of the source is damaged: the page then says DAMAGED.
    pub damaged: bool,
    /// What was corrected, by whom and when; printed with the name.
    pub correction: Option<String>,
    /// The program and its version.
    pub program: String,
}

/// Paper, scale and layout. The default is A4 landscape, 25 mm/s, 10 mm/mV, three rows of four leads with a strip
/// of lead II.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Paper {
    /// The size of the paper.
    pub size: PaperSize,
    /// How it lies.
    pub orientation: Orientation,
    /// Millimetres per second.
    pub speed: Speed,
    /// Millimetres per millivolt.
    pub gain: Gain,
    /// Which lead stands where.
    pub layout: Layout,
    /// Pages to draw at most; the last one says what is left undrawn.
    pub pages_at_most: usize,
}

/// Pages to draw at most by default: 100 of 10 s, far beyond a resting recording.
const PAGES_AT_MOST: usize = 100;

impl Default for Paper {
    fn default() -> Paper {
        Paper {
            size: PaperSize::default(),
            orientation: Orientation::default(),
            speed: Speed::default(),
            gain: Gain::default(),
            layout: Layout::default(),
            pages_at_most: PAGES_AT_MOST,
        }
    }
}

/// The size of the paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum PaperSize {
    /// 210 x 297 mm (ISO 216).
    #[default]
    A4,
}

/// How the paper lies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Orientation {
    /// The long side is the width.
    #[default]
    Landscape,
}

impl PaperSize {
    /// Width and height.
    pub(crate) fn dimensions(self, orientation: Orientation) -> (Mm, Mm) {
        let (short, long) = match self {
            PaperSize::A4 => (Mm::whole(210), Mm::whole(297)),
        };
        match orientation {
            Orientation::Landscape => (long, short),
        }
    }
}

/// How fast the paper would run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Speed {
    /// 25 mm/s: 1 mm is 0.04 s.
    #[default]
    Mm25,
}

impl Speed {
    /// The way of one second.
    pub(crate) fn per_second(self) -> Mm {
        match self {
            Speed::Mm25 => Mm::whole(25),
        }
    }
}

/// How high a millivolt stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Gain {
    /// 10 mm/mV: 1 mm is 0.1 mV.
    #[default]
    Mm10,
}

impl Gain {
    /// The height of one millivolt.
    pub(crate) fn per_millivolt(self) -> Mm {
        match self {
            Gain::Mm10 => Mm::whole(10),
        }
    }
}

/// Which lead stands where.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Layout {
    /// Three rows of four leads of 2.5 s each, below them lead II for 10 s.
    #[default]
    ThreeByFour,
}
