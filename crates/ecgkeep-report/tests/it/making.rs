//! Recordings made for a test, and their pages as a reader of the file sees them.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Exact, Lead, Rate, Recording, Signal, Step, Waveform};
use ecgkeep_report::{PageFacts, Paper, sheet, svg};

use crate::reading::Drawing;

/// What a millimetre may be off: half of the last decimal, twice.
pub const EXACT: f64 = 0.0011;

/// How far a drawn line may pass from a sample in millimetres, the bound of the page.
pub const DRAWN_WITHIN: f64 = 0.01;
/// From sample to sample in millimetres at 500 samples per second and 25 mm/s.
pub const AT_500: f64 = 0.05;

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

/// Whether a height read off a drawn line, above another of its points, is as it should be.
pub fn drawn(found: f64, expected: f64) -> bool {
    (found - expected).abs() < DRAWN_WITHIN
}

/// The greatest distance in millimetres of a place from a line, and of a corner of the line from the places: neither does
/// the line leave a place aside, nor has it a corner where there is no place. The places follow each other in x.
pub fn deviation(line: &[(f64, f64)], places: &[(f64, f64)]) -> f64 {
    let distance = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).hypot(a.1 - b.1);
    let near = |corner: f64, place: f64| (corner - place).abs() <= 2.0 * DRAWN_WITHIN;
    let (mut first, mut greatest) = (0, 0.0f64);
    for place in places {
        while first + 2 < line.len() && line[first + 1].0 < place.0 - 2.0 * DRAWN_WITHIN {
            first += 1;
        }
        let pieces = line[first..].windows(2).take_while(|pair| pair[0].0 <= place.0 + 2.0 * DRAWN_WITHIN);
        let from_line = pieces.map(|pair| from_piece(*place, pair[0], pair[1])).reduce(f64::min);
        greatest = greatest.max(from_line.unwrap_or_else(|| distance(*place, line[0])));
    }
    let mut first = 0;
    for corner in line {
        while first + 1 < places.len() && places[first].0 < corner.0 && !near(corner.0, places[first].0) {
            first += 1;
        }
        let close_by = places[first..].iter().take_while(|place| near(corner.0, place.0));
        let from_places = close_by.map(|place| distance(*corner, *place)).reduce(f64::min);
        greatest = greatest.max(from_places.unwrap_or(f64::INFINITY));
    }
    greatest
}

/// From a place to a straight piece of a line.
fn from_piece(place: (f64, f64), from: (f64, f64), to: (f64, f64)) -> f64 {
    let (along, up) = (to.0 - from.0, to.1 - from.1);
    let part = ((place.0 - from.0) * along + (place.1 - from.1) * up) / (along * along + up * up).max(1e-12);
    let part = part.clamp(0.0, 1.0);
    (place.0 - from.0 - part * along).hypot(place.1 - from.1 - part * up)
}
