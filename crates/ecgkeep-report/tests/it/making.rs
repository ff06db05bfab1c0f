//! Recordings made for a test, and their pages as a reader of the file sees them.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Exact, Lead, Rate, Recording, Signal, Step, Waveform};
use ecgkeep_report::{PageFacts, Paper, sheet, svg};

use crate::reading::Drawing;

/// What a millimetre may be off: half of the last decimal, twice.
pub const EXACT: f64 = 0.0011;

/// A recording of these leads at so many samples per second, one microvolt per count.
pub fn recording(rate: &str, signals: Vec<(Lead, Vec<i32>)>) -> Recording {
    let step = Step::new(Exact::whole(1000)).expect("not zero");
    let signals = signals.into_iter().map(|(lead, counts)| Signal::new(lead, step, counts)).collect();
    let rate = Rate::new(rate.parse().expect("a number")).expect("above zero");
    Recording {
        waveforms: vec![Waveform::new(rate, signals).expect("equal lengths")],
        ..Recording::default()
    }
}

/// Twelve leads of ten seconds at 500 samples per second, each sample unlike its neighbours.
pub fn twelve() -> Recording {
    let counts = |n: i32| (0..5000).map(|k| (k * 37 + n * 101) % 601 - 300).collect();
    recording("500", (0..).zip(Lead::TWELVE).map(|(n, lead)| (lead, counts(n))).collect())
}

pub fn draw_with(recording: &Recording, assessment: &Assessment, facts: &PageFacts) -> Vec<Drawing> {
    let sheet = sheet(recording, assessment, facts, &Paper::default());
    (0..sheet.pages.len()).map(|page| Drawing::read(&svg(&sheet, page))).collect()
}

pub fn draw(recording: &Recording) -> Drawing {
    draw_with(recording, &Assessment::default(), &PageFacts::default()).remove(0)
}

/// No text leaves the paper or lies on another.
pub fn assert_no_overlap(page: &Drawing, width: f64, height: f64) {
    let boxes: Vec<(&str, [f64; 4])> = page.boxes().collect();
    for (n, (text, a)) in boxes.iter().enumerate() {
        assert!(
            a[0] >= 5.0 && a[2] <= width - 5.0 && a[1] >= 3.0 && a[3] <= height - 3.0,
            "{text} leaves the page"
        );
        for (other, b) in &boxes[n + 1..] {
            let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
            assert!(apart, "{text:?} {a:?} lies on {other:?} {b:?}");
        }
    }
}

pub fn close(found: f64, expected: f64) -> bool {
    (found - expected).abs() <= EXACT
}
