//! From voltages to a path.

use ecgkeep_recording::Exact;

use crate::constants::TRACING_STROKE;
use crate::simplified::simplified;
use crate::slot::Slot;
use crate::voltages::Voltages;
use crate::{Ink, Mm, Point, Shape, Speed};

/// The samples of a slot as unbroken runs of points, 0 V at height 0: each sample stands at its own moment and height,
/// rounded once to a thousandth of a millimetre; where samples are missing, a run ends. Nothing is left out.
pub(crate) fn runs(slot: &Slot, voltages: &Voltages, page_start: Exact, speed: Speed) -> Vec<Vec<Point>> {
    let (Some(from), Some(to)) =
        (page_start.plus(slot.from), page_start.plus(slot.from).and_then(|from| from.plus(slot.seconds)))
    else {
        return Vec::new();
    };
    // A microvolt is so many thousandths of a millimetre high as a millivolt is millimetres.
    let height = slot.per_millivolt.to_f64();
    let per_second = f64::from(speed.per_second().0);
    let mut runs = Vec::new();
    for piece in &voltages.pieces {
        let (first, end) = (piece.sample_at(from), piece.sample_at(to));
        let ahead = piece.start.minus(from).map_or(0.0, Exact::to_f64);
        let rate = piece.rate.per_second().to_f64();
        let mut run = Vec::with_capacity(end - first);
        for (sample, microvolts) in piece.microvolts[first..end].iter().enumerate() {
            if microvolts.is_nan() {
                if !run.is_empty() {
                    runs.push(std::mem::take(&mut run));
                }
                continue;
            }
            #[expect(clippy::cast_precision_loss, reason = "no recording has 2^52 samples")]
            let seconds = ahead + (first + sample) as f64 / rate;
            let x = slot.left + Mm::from_thousandths(seconds * per_second);
            let y = -Mm::from_thousandths((microvolts - voltages.moved) * height);
            run.push(Point { x, y });
        }
        if !run.is_empty() {
            runs.push(run);
        }
    }
    runs
}

/// The path of a slot, without the points that its line passes anyway: the page is laid out by every sample, and drawn
/// with as few points as serve.
pub(crate) fn path(slot: &Slot, runs: &[Vec<Point>]) -> Shape {
    let title =
        if slot.strip { format!("lead {}, rhythm strip", slot.lead) } else { format!("lead {}", slot.lead) };
    let runs = runs.iter().map(|run| simplified(run)).collect();
    Shape::Path { id: slot.id(), title, runs, stroke: TRACING_STROKE, ink: Ink::Black }
}
