//! What the caller chooses and knows: the paper, and the facts that stand on the page beside the recording.

use ecgkeep_recording::{Filing, Lead};

use crate::{DisplayFilters, Mm};

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
    /// Why this is a test recording, as a sentence; the page then says TEST RECORDING.
    pub test_recording: Option<String>,
    /// How identity was taken out, as a sentence: name, dates and places are then not the source's, and the page says
    /// DE-IDENTIFIED.
    pub deidentified: Option<String>,
    /// By which revision this one was corrected, as a sentence: the page then says SUPERSEDED.
    pub superseded: Option<String>,
    /// What was corrected, by whom and when; printed with the name.
    pub correction: Option<String>,
    /// The program and its version.
    pub program: String,
}

/// Paper, scale, layout and filters. The default is A4 landscape, 25 mm/s, 10 mm/mV, three rows of four leads with a
/// strip of lead II, no filter. What one page cannot hold at the chosen scale goes on on the next; nothing is made
/// smaller to fit.
///
/// A page has the gain that was asked for, however large the deflections are: who reads a height in millimetres must
/// not find out first that one row is smaller than the others. Rows stand apart as their deflections need and the
/// page allows; what is larger than that overlaps, both tracings drawn whole, and the page names the leads.
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
    /// Whether the chest leads stand at the same gain as the others.
    pub chest: ChestGain,
    /// How many leads stand side by side, and which stand below as strips.
    pub layout: Layout,
    /// In which order the leads stand.
    pub order: LeadOrder,
    /// Filters for the drawing.
    pub filters: DisplayFilters,
    /// Pages of tracings to draw at most; the last one says what is left undrawn.
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
            chest: ChestGain::default(),
            layout: Layout::default(),
            order: LeadOrder::default(),
            filters: DisplayFilters::default(),
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
    /// 215.9 x 279.4 mm (ANSI/ASME Y14.1, size A; from memory).
    Letter,
}

/// How the paper lies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Orientation {
    /// The long side is the width.
    #[default]
    Landscape,
    /// The short side is the width.
    Portrait,
}

impl PaperSize {
    /// Width and height.
    pub(crate) fn dimensions(self, orientation: Orientation) -> (Mm, Mm) {
        let (short, long) = match self {
            PaperSize::A4 => (Mm::whole(210), Mm::whole(297)),
            PaperSize::Letter => (Mm(215_900), Mm(279_400)),
        };
        match orientation {
            Orientation::Landscape => (long, short),
            Orientation::Portrait => (short, long),
        }
    }
}

/// How fast the paper would run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Speed {
    /// 12.5 mm/s: 1 mm is 0.08 s.
    Mm12_5,
    /// 25 mm/s: 1 mm is 0.04 s.
    #[default]
    Mm25,
    /// 50 mm/s: 1 mm is 0.02 s.
    Mm50,
}

impl Speed {
    /// The way of one second.
    pub(crate) fn per_second(self) -> Mm {
        match self {
            Speed::Mm12_5 => Mm(12_500),
            Speed::Mm25 => Mm::whole(25),
            Speed::Mm50 => Mm::whole(50),
        }
    }
}

/// How high a millivolt stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Gain {
    /// 5 mm/mV: 1 mm is 0.2 mV.
    Mm5,
    /// 10 mm/mV: 1 mm is 0.1 mV.
    #[default]
    Mm10,
    /// 20 mm/mV: 1 mm is 0.05 mV.
    Mm20,
}

impl Gain {
    /// The height of one millivolt.
    pub(crate) fn per_millivolt(self) -> Mm {
        match self {
            Gain::Mm5 => Mm::whole(5),
            Gain::Mm10 => Mm::whole(10),
            Gain::Mm20 => Mm::whole(20),
        }
    }
}

/// How high the chest leads stand beside the others: their deflections are the larger ones.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum ChestGain {
    /// As high as the other leads.
    #[default]
    Same,
    /// Half as high; each chest lead says so, and has a calibration pulse of its own.
    Half,
}

impl Paper {
    /// The height of one millivolt in this lead.
    pub(crate) fn per_millivolt(&self, lead: &Lead) -> Mm {
        let whole = self.gain.per_millivolt();
        match self.chest {
            ChestGain::Half if is_chest(lead) => whole.over(2),
            _ => whole,
        }
    }
}

/// Whether the lead is one of V1 to V9 or their counterparts on the right.
pub(crate) fn is_chest(lead: &Lead) -> bool {
    use Lead::{V1, V2, V2R, V3, V3R, V4, V4R, V5, V5R, V6, V6R, V7, V7R, V8, V8R, V9, V9R};
    matches!(lead, V1 | V2 | V3 | V4 | V5 | V6 | V7 | V8 | V9)
        || matches!(lead, V2R | V3R | V4R | V5R | V6R | V7R | V8R | V9R)
}

/// How many leads stand side by side. Columns share one time axis with the strips below them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Layout {
    /// Three rows of four leads, below them lead II as a strip.
    #[default]
    ThreeByFour,
    /// Three rows of four leads, below them leads II, V1 and V5 as strips.
    ThreeByFourThreeStrips,
    /// Six rows of two leads, below them lead II as a strip.
    SixByTwo,
    /// Twelve rows, each lead for the whole length.
    TwelveByOne,
}

/// In which order the leads stand (AHA/ACC/HRS 2007 Part I names both; from memory).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum LeadOrder {
    /// I, II, III, aVR, aVL, aVF, V1 to V6.
    #[default]
    Standard,
    /// By angle (Cabrera): aVL, I, -aVR, II, aVF, III, then V1 to V6.
    Anatomical,
}
