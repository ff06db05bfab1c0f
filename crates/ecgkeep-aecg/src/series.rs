//! Series: who recorded with what and through which filters, and the sequence sets.
//!
//! Rule: a document is one recording. Every sequence set is one waveform of it, whatever series it stands in; every
//! waveform is written as a series of its own (a representative beat as a derived series of the first rhythm
//! series), so that each annotation set belongs to one waveform. Device, performers and filters belong to the
//! recording: they are written into every series, and a later series that states others keeps them as extras.

use ecgkeep_format::{Limits, Result};
use ecgkeep_recording::{Acquisition, CivilTime, Code, Coded, Device, Person, Waveform, WaveformKind};

use crate::conditions;
use crate::constants::{ACT_CODE, REPRESENTATIVE_BEAT, RHYTHM};
use crate::emit::Emitter;
use crate::node::Node;
use crate::notes::Notes;
use crate::sequences::{self, Set};
use crate::time;
use crate::timeline::{self, Extent, Head};
use crate::values;

/// One sequence set with what its series says of it.
pub(crate) struct Piece<'d> {
    pub(crate) series: Node<'d>,
    pub(crate) kind: WaveformKind,
    pub(crate) extent: Extent,
    pub(crate) set: Set,
}

/// Reads the series of a document and those derived from them, in the order of the document.
/// # Errors
/// Those of the sets; [`Kind::Malformed`](ecgkeep_format::Kind::Malformed) for a series without a code.
pub(crate) fn read_all<'d>(
    root: Node<'d>,
    acquisition: &mut Acquisition,
    limits: &Limits,
    notes: &Notes,
) -> Result<Vec<Piece<'d>>> {
    let (mut pieces, mut beats) = (Vec::new(), 0);
    for component in root.waiting("component") {
        let Some(series) = component.child("series") else { continue };
        component.take();
        read_one(series, &Extent::default(), acquisition, (&mut pieces, &mut beats), limits, notes)?;
    }
    Ok(pieces)
}

fn read_one<'d>(
    series: Node<'d>,
    parent: &Extent,
    acquisition: &mut Acquisition,
    (pieces, beats): (&mut Vec<Piece<'d>>, &mut u32),
    limits: &Limits,
    notes: &Notes,
) -> Result<()> {
    let Some(code) = series.child("code") else {
        return Err(series.malformed("a series without a code: RHYTHM or REPRESENTATIVE_BEAT is expected"));
    };
    let kind = read_kind(code, *beats, notes);
    let extent = read_extent(series, parent, notes)?;
    read_recorder(series, acquisition, notes);
    read_operators(series, acquisition, notes);
    let rate_stated = conditions::read(series, acquisition, notes);
    for component in series.waiting("component") {
        let Some(set_node) = component.child("sequenceSet") else { continue };
        match sequences::read(set_node, &extent, rate_stated, limits, notes)? {
            Some(set) => {
                component.take();
                *beats += u32::from(matches!(kind, WaveformKind::RepresentativeBeat { .. }));
                pieces.push(Piece { series, kind: kind.clone(), extent, set });
            }
            None => notes.departure(set_node, "a sequence set without a lead: kept as an extra item"),
        }
    }
    for derivation in series.waiting("derivation") {
        let Some(derived) = derivation.child("derivedSeries") else { continue };
        derivation.take();
        read_one(derived, &extent, acquisition, (pieces, beats), limits, notes)?;
    }
    Ok(())
}

/// Writes the series of one waveform that is no derived one, `place` its number among those; `inside` writes what
/// follows the sets.
pub(crate) fn write(
    out: &mut Emitter<'_>,
    waveform: &Waveform,
    place: u32,
    extent: &Extent,
    head: &Head,
    acquisition: &Acquisition,
    inside: impl FnOnce(&mut Emitter<'_>),
) {
    out.required("component", |out| {
        out.with("series", &[("classCode", "OBSSER"), ("moodCode", "EVN")], true, |out| {
            write_kind(out, &waveform.kind, place);
            write_extent(out, extent);
            write_recorder(out, &acquisition.recorder);
            for operator in &acquisition.operators {
                out.required("secondaryPerformer", |out| {
                    out.required("seriesPerformer", |out| values::write_person(out, operator));
                });
            }
            conditions::write(out, acquisition, waveform.rate());
            out.required("component", |out| sequences::write(out, waveform, head));
            inside(out);
        });
    });
}

/// Writes a representative beat; `place` is its number among those written so far.
pub(crate) fn write_derived(
    out: &mut Emitter<'_>,
    waveform: &Waveform,
    place: u32,
    extent: &Extent,
    head: &Head,
    inside: impl FnOnce(&mut Emitter<'_>),
) {
    out.required("derivation", |out| {
        out.with("derivedSeries", &[("classCode", "OBSSER"), ("moodCode", "EVN")], true, |out| {
            write_kind(out, &waveform.kind, place);
            write_extent(out, extent);
            conditions::write_rate(out, waveform.rate());
            out.required("component", |out| sequences::write(out, waveform, head));
            inside(out);
        });
    });
}

/// A representative beat is of the class that its code's original text says, else of the class of its position.
fn read_kind(code: Node<'_>, position: u32, notes: &Notes) -> WaveformKind {
    const CLASS: &str = "beat class ";
    let name = code.peek("code").unwrap_or_default();
    if name.eq_ignore_ascii_case(RHYTHM) {
        values::coded(code);
        WaveformKind::Rhythm
    } else if name.eq_ignore_ascii_case(REPRESENTATIVE_BEAT) {
        let text = values::coded(code).text.unwrap_or_default();
        let stated = text.strip_prefix(CLASS).and_then(|number| number.parse().ok());
        let class = stated.unwrap_or(position);
        WaveformKind::RepresentativeBeat { class }
    } else if let (true, Some(name)) = (name.is_empty(), code.attribute("displayName")) {
        code.attribute("nullFlavor");
        WaveformKind::Other(name.to_owned())
    } else {
        notes.departure(code, format!("the series code {name:?} is neither RHYTHM nor REPRESENTATIVE_BEAT"));
        values::coded(code);
        WaveformKind::Other(name.to_owned())
    }
}

fn write_kind(out: &mut Emitter<'_>, kind: &WaveformKind, place: u32) {
    let code = |value: &str| Code { system: ACT_CODE.to_owned(), value: value.to_owned(), meaning: None };
    match kind {
        WaveformKind::Rhythm => values::write_code(out, ACT_CODE, RHYTHM),
        WaveformKind::RepresentativeBeat { class } => {
            let text = (*class != place).then(|| format!("beat class {class}"));
            values::write_coded(out, "code", None, &Coded { text, codes: vec![code(REPRESENTATIVE_BEAT)] });
        }
        WaveformKind::Other(name) => out.leaf("code", &[("nullFlavor", "OTH"), ("displayName", name)]),
        other => out.leaf("code", &[("nullFlavor", "OTH"), ("displayName", &other.to_string())]),
    }
}

fn read_extent(series: Node<'_>, parent: &Extent, notes: &Notes) -> Result<Extent> {
    let Some(interval) = series.child("effectiveTime") else {
        notes.departure(series, "a series without an effectiveTime");
        return Ok(*parent);
    };
    values::silence(interval);
    let mut extent = Extent::default();
    for (name, slot) in [("low", &mut extent.low), ("high", &mut extent.high)] {
        if let Some(node) = interval.child(name) {
            *slot = timeline::read_stamp(node, notes)?;
        }
    }
    if extent.low.is_none() {
        if let Some(center) = interval.child("center") {
            extent.low = timeline::read_stamp(center, notes)?;
        } else if interval.peek("value").is_some() {
            notes.departure(interval, "an effectiveTime with a value of its own instead of low and high");
            extent.low = timeline::read_stamp(interval, notes)?;
        }
    }
    Ok(extent)
}

fn write_extent(out: &mut Emitter<'_>, extent: &Extent) {
    let Some(low) = extent.low.as_ref().and_then(time::write) else { return out.null("effectiveTime") };
    out.required("effectiveTime", |out| {
        out.leaf("low", &[("value", &low)]);
        if let Some(high) = extent.high.as_ref().and_then(time::write) {
            out.leaf("high", &[("value", &high)]);
        }
    });
}

/// The interval of a waveform: from its first sample to one interval after the last, where that can be said exactly.
pub(crate) fn extent_of(waveform: &Waveform, head: &Head, start: &CivilTime) -> Extent {
    let low = match head {
        Head::Absolute(first) => Some(*first),
        Head::Relative(_) => Some(*start).filter(|start| start.date.is_some()),
    };
    let high = match head {
        Head::Absolute(first) => time::after(first, values::rounded(waveform.seconds())),
        Head::Relative(_) => None,
    };
    Extent { low, high }
}

/// Takes what a series says where nothing was said before or the same was; else gives it back and says so.
pub(crate) fn settle<T: PartialEq + Default>(
    known: &mut T,
    found: T,
    nodes: &[Node<'_>],
    what: &str,
    notes: &Notes,
) {
    if found == T::default() || found == *known {
        return;
    }
    if *known == T::default() {
        *known = found;
        return;
    }
    for node in nodes {
        node.release();
        notes.not_taken(*node, format!("a later series states another {what}: kept as an extra item"));
    }
}

fn read_recorder(series: Node<'_>, acquisition: &mut Acquisition, notes: &Notes) {
    let Some(outer) = series.child("author") else { return };
    let Some(author) = outer.child("seriesAuthor") else { return outer.release() };
    let mut device = Device { id: extension(author), ..Device::default() };
    if let Some(made) = author.child("manufacturedSeriesDevice") {
        device.serial = extension(made);
        device.model = text_of(made, "manufacturerModelName");
        device.software = text_of(made, "softwareName");
    }
    if let Some(maker) = author.child("manufacturerOrganization") {
        device.manufacturer = text_of(maker, "name");
    }
    settle(&mut acquisition.recorder, device, &[outer], "recording device", notes);
}

fn write_recorder(out: &mut Emitter<'_>, device: &Device) {
    let Device { manufacturer, model, serial, software, id } = device;
    out.optional("author", |out| {
        out.optional("seriesAuthor", |out| {
            write_extension(out, id.as_deref());
            out.optional("manufacturedSeriesDevice", |out| {
                write_extension(out, serial.as_deref());
                out.text("manufacturerModelName", model.as_deref());
                out.text("softwareName", software.as_deref());
            });
            out.optional("manufacturerOrganization", |out| out.text("name", manufacturer.as_deref()));
        });
    });
}

/// The extension of an element's `id`, or its root where it has no extension.
pub(crate) fn extension(node: Node<'_>) -> Option<String> {
    let id = node.child("id")?;
    values::silence(id);
    id.attribute("extension").or_else(|| id.attribute("root")).map(str::to_owned)
}

/// Writes what [`extension`] reads.
pub(crate) fn write_extension(out: &mut Emitter<'_>, id: Option<&str>) {
    if let Some(id) = id {
        out.leaf("id", &[("extension", id)]);
    }
}

/// The text of a child element; `None` where it is empty.
pub(crate) fn text_of(node: Node<'_>, name: &'static str) -> Option<String> {
    let child = node.child(name)?;
    values::silence(child);
    let text = child.text();
    (!text.is_empty()).then(|| text.to_owned())
}

/// Whoever took part in the recording of a series is an operator; a function code stays an extra.
fn read_operators(series: Node<'_>, acquisition: &mut Acquisition, notes: &Notes) {
    let mut nodes = Vec::new();
    let mut operators: Vec<Person> = Vec::new();
    for performer in series.waiting("secondaryPerformer") {
        let Some(inner) = performer.child("seriesPerformer") else { continue };
        performer.take();
        operators.push(values::person(inner));
        nodes.push(performer);
    }
    settle(&mut acquisition.operators, operators, &nodes, "operator", notes);
}
