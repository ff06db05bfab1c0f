//! Lengths and sizes of the page, the reason beside each.

use crate::Mm;

/// Height and length of the calibration pulse: 1 mV for 0.2 s (common practice, no source).
pub(crate) const PULSE_MICROVOLTS: f64 = 1000.0;
/// See [`PULSE_MICROVOLTS`].
pub(crate) const PULSE_SECONDS: f64 = 0.2;
/// The bar to be measured with a ruler before anything else is measured.
pub(crate) const BAR: Mm = Mm::whole(50);

/// Sizes of type, four in all: the patient's name.
pub(crate) const NAME_SIZE: Mm = Mm(6_400);
/// Identifiers, the answer of the checks, names of leads.
pub(crate) const HEAD_SIZE: Mm = Mm(4_000);
/// What is read after that.
pub(crate) const BODY_SIZE: Mm = Mm(2_700);
/// The smallest: technical lines, cautions.
pub(crate) const SMALL_SIZE: Mm = Mm(2_400);
/// From line to line of [`BODY_SIZE`].
pub(crate) const BODY_LEADING: Mm = Mm(3_450);
/// From line to line of [`SMALL_SIZE`].
pub(crate) const SMALL_LEADING: Mm = Mm(3_050);

/// Stroke of a tracing: thin enough to read 0.5 mm, thick enough to copy.
pub(crate) const TRACING_STROKE: Mm = Mm(250);
/// Stroke of the calibration pulse, the bar and the marks.
pub(crate) const MARK_STROKE: Mm = Mm(250);
/// Stroke of the lines at every 5 mm.
pub(crate) const COARSE_STROKE: Mm = Mm(160);
/// Stroke of the lines at every 1 mm.
pub(crate) const FINE_STROKE: Mm = Mm(100);
/// Stroke of the rules between the parts of the page.
pub(crate) const RULE_STROKE: Mm = Mm(200);

/// White at the upper and lower edge, which many printers cannot reach.
pub(crate) const MARGIN: Mm = Mm::whole(6);
/// The room left of the tracings, where the calibration pulse stands apart from them; more where the pulse is as long
/// as that.
pub(crate) const GUTTER: Mm = Mm::whole(10);
pub(crate) const GUTTER_AT_50: Mm = Mm::whole(15);
/// White between a label and its text.
pub(crate) const LABEL_GAP: Mm = Mm(1_500);
/// A label wider than this runs into the first line of its text, so that it does not push the other texts of its list
/// away from their labels.
pub(crate) const RUN_IN_FROM: Mm = Mm::whole(20);
/// Between columns of text.
pub(crate) const COLUMN_GAP: Mm = Mm::whole(5);

/// A lead whose median lies further from 0 V than this is moved as a whole, and the page says by how much.
pub(crate) const MOVED_FROM_MICROVOLTS: f64 = 500.0;
/// It is moved by a whole number of these.
pub(crate) const MOVED_BY_MICROVOLTS: f64 = 100.0;
