//! Supporting regions of interest: between which times, on which leads an annotation holds.

use ecgkeep_recording::{CivilTime, Exact, Lead, Waveform};

use crate::constants::{ACT_CODE, REGION, TIME_ABSOLUTE, TIME_RELATIVE};
use crate::emit::Emitter;
use crate::leads;
use crate::node::Node;
use crate::notes::Notes;
use crate::series::Piece;
use crate::time;
use crate::timeline::{self, Head};
use crate::values::{self, decimal};

/// A point in time as a boundary states it.
#[derive(Clone, Copy)]
pub(crate) enum Point {
    Absolute(CivilTime),
    /// Seconds on the axis of the series' relative times.
    Relative(Exact),
}

/// A region; without leads it holds on all of them.
#[derive(Default)]
pub(crate) struct Region {
    pub(crate) leads: Vec<Lead>,
    pub(crate) low: Option<Point>,
    pub(crate) center: Option<Point>,
    pub(crate) high: Option<Point>,
}

impl Region {
    /// Whether it is bounded in time.
    pub(crate) fn has_time(&self) -> bool {
        self.low.is_some() || self.center.is_some() || self.high.is_some()
    }
}

/// Reads the region of an annotation, taken; `None`, and nothing taken for good, for one that is bounded by something
/// else than times and leads.
pub(crate) fn read(annotation: Node<'_>, notes: &Notes) -> Option<Region> {
    let mut supports = annotation.waiting("support");
    let Some(support) = supports.next() else { return Some(Region::default()) };
    if supports.next().is_some() {
        return None;
    }
    let node = support.find("supportingROI")?;
    let mut region = Region::default();
    for component in node.waiting("component") {
        let boundary = component.find("boundary")?;
        let code = boundary.find("code")?;
        let name = code.peek("code").unwrap_or_default().to_ascii_uppercase();
        if name == TIME_ABSOLUTE || name == TIME_RELATIVE {
            let value = boundary.find("value")?;
            let is_absolute = name == TIME_ABSOLUTE;
            let point = |name| match value.find(name) {
                Some(node) => read_point(node, is_absolute, notes).map(Some),
                None => Some(None),
            };
            (region.low, region.center, region.high) = (point("low")?, point("center")?, point("high")?);
            if value.peek("value").is_some() {
                region.center = Some(read_point(value, is_absolute, notes)?);
            }
            value.take();
            for part in ["low", "center", "high"] {
                value.child(part);
            }
            values::coded(code);
        } else if boundary.find("value").is_none() {
            region.leads.push(leads::read(code, notes)?.0);
        } else {
            return None;
        }
        for taken in [component, boundary, code] {
            taken.take();
        }
    }
    support.take();
    node.take();
    if let Some(code) = node.child("code") {
        values::coded(code);
    }
    Some(region)
}

fn read_point(node: Node<'_>, is_absolute: bool, notes: &Notes) -> Option<Point> {
    if is_absolute {
        timeline::read_stamp(node, notes).ok()?.map(Point::Absolute)
    } else {
        timeline::read_seconds(node).ok().map(Point::Relative)
    }
}

/// The sample nearest to a point, counted from the first of a set.
pub(crate) fn sample(point: Point, piece: &Piece<'_>, notes: &Notes) -> Option<i64> {
    let low = piece.extent.low;
    let seconds = match (point, piece.set.head) {
        (Point::Absolute(at), Head::Absolute(head)) => time::between(&head, &at)?,
        (Point::Relative(at), Head::Relative(head)) => at.minus(head)?,
        (Point::Absolute(at), Head::Relative(head)) => time::between(&low?, &at)?.minus(head)?,
        (Point::Relative(at), Head::Absolute(head)) => time::between(&head, &low?)?.plus(at)?,
    };
    let position = seconds.times(piece.set.rate.per_second())?;
    let sample = values::nearest(position)?;
    let off = position.minus(sample.into())?.magnitude();
    if off > Exact::ratio(1, 1_000_000).unwrap_or(Exact::ZERO) {
        notes.not_taken(
            piece.series,
            "times of annotations that lie between two samples: the nearest sample is taken",
        );
    }
    Some(sample)
}

/// A region to be written: samples of one waveform, by their part in the interval, and a lead.
pub(crate) struct Bounds<'a> {
    pub(crate) points: &'a [(&'static str, i64)],
    pub(crate) lead: Option<&'a Lead>,
}

/// Writes a region; its points are samples on the time axis given.
pub(crate) fn write(out: &mut Emitter<'_>, bounds: &Bounds<'_>, axis: Option<(&Waveform, &Head)>) {
    let Bounds { points, lead } = bounds;
    if points.is_empty() && lead.is_none() {
        return;
    }
    out.required("support", |out| {
        out.with("supportingROI", &[("classCode", "ROIBND"), ("moodCode", "EVN")], true, |out| {
            values::write_code(out, ACT_CODE, REGION);
            if let Some((waveform, head)) = axis
                && !points.is_empty()
            {
                out.required("component", |out| {
                    out.required("boundary", |out| {
                        let (name, kind) = match head {
                            Head::Absolute(_) => (TIME_ABSOLUTE, "IVL_TS"),
                            Head::Relative(_) => (TIME_RELATIVE, "IVL_PQ"),
                        };
                        values::write_code(out, ACT_CODE, name);
                        out.with("value", &[("xsi:type", kind)], true, |out| {
                            for (part, sample) in *points {
                                write_point(out, part, *sample, waveform, head);
                            }
                        });
                    })
                });
            }
            if let Some(lead) = lead {
                out.required("component", |out| {
                    out.required("boundary", |out| leads::write(out, lead, None, false));
                });
            }
        });
    });
}

fn write_point(out: &mut Emitter<'_>, part: &'static str, sample: i64, waveform: &Waveform, head: &Head) {
    let Some(seconds) = offset(sample, waveform) else { return };
    match head {
        Head::Absolute(start) => {
            if let Some(text) = time::after(start, seconds).as_ref().and_then(time::write) {
                out.leaf(part, &[("value", &text)]);
            }
        }
        Head::Relative(start) => {
            if let Some(at) = start.plus(seconds) {
                out.leaf(part, &[("value", &decimal(at)), ("unit", "s")]);
            }
        }
    }
}

/// Whether a sample of a waveform has a time that can be written.
pub(crate) fn has_time(sample: i64, waveform: &Waveform, head: &Head) -> bool {
    let seconds = offset(sample, waveform);
    match head {
        Head::Absolute(start) => seconds.and_then(|seconds| time::after(start, seconds)).is_some(),
        Head::Relative(start) => seconds.and_then(|seconds| start.plus(seconds)).is_some(),
    }
}

fn offset(sample: i64, waveform: &Waveform) -> Option<Exact> {
    Exact::whole(sample).times(waveform.rate().interval())
}
