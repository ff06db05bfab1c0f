//! Control variables of a series: filters, lead system, and the sampling rate where its interval is no decimal.

use ecgkeep_recording::{Acquisition, Coded, Exact, Filters, Quantity, Rate};

use crate::constants::{
    CUTOFF_FREQUENCY, FILTER_DESCRIPTION, HIGH_PASS, LEAD_SYSTEM, LOW_PASS, MDC, NOTCH, NOTCH_FREQUENCY,
    SAMPLE_RATE,
};
use crate::emit::Emitter;
use crate::node::Node;
use crate::notes::Notes;
use crate::series::{settle, text_of};
use crate::values;

/// Reads the control variables of a series; gives the sampling rate that one of them may state.
pub(crate) fn read(series: Node<'_>, acquisition: &mut Acquisition, notes: &Notes) -> Option<Exact> {
    let (mut filters, mut placement, mut rate) = (Filters::default(), None, None);
    let (mut filter_nodes, mut placement_nodes) = (Vec::new(), Vec::new());
    for outer in series.waiting("controlVariable") {
        let inner = outer.find("controlVariable").unwrap_or(outer);
        let Some(code) = inner.find("code") else { continue };
        let name = code.peek("code").unwrap_or_default().to_ascii_uppercase();
        let is_taken = match name.as_str() {
            HIGH_PASS | LOW_PASS | NOTCH => {
                let nested = if name == NOTCH { NOTCH_FREQUENCY } else { CUTOFF_FREQUENCY };
                match read_filter(inner, nested, notes) {
                    None => false,
                    Some(hertz) if name == NOTCH => {
                        filters.notch_hz.push(hertz);
                        true
                    }
                    Some(hertz) => {
                        let slot = if name == HIGH_PASS {
                            &mut filters.high_pass_hz
                        } else {
                            &mut filters.low_pass_hz
                        };
                        let is_first = slot.is_none();
                        slot.get_or_insert(hertz);
                        is_first
                    }
                }
            }
            FILTER_DESCRIPTION => match text_of(inner, "value") {
                Some(text) => {
                    filters.described.push(text);
                    true
                }
                None => false,
            },
            SAMPLE_RATE => {
                rate = inner.child("value").and_then(read_rate);
                rate.is_some()
            }
            _ if name.starts_with(LEAD_SYSTEM) && placement.is_none() => {
                placement = Some(values::coded(code));
                placement_nodes.push(outer);
                true
            }
            _ => false,
        };
        if is_taken {
            outer.take();
            inner.take();
            values::coded(code.take());
            if name != SAMPLE_RATE && !name.starts_with(LEAD_SYSTEM) {
                filter_nodes.push(outer);
            }
        }
    }
    settle(&mut acquisition.filters, filters, &filter_nodes, "set of filters", notes);
    settle(&mut acquisition.placement, placement, &placement_nodes, "electrode placement", notes);
    rate
}

/// Writes the control variables of a series.
pub(crate) fn write(out: &mut Emitter<'_>, acquisition: &Acquisition, rate: Rate) {
    let Filters { high_pass_hz, low_pass_hz, notch_hz, described } = &acquisition.filters;
    let corners = [(LOW_PASS, CUTOFF_FREQUENCY, low_pass_hz), (HIGH_PASS, CUTOFF_FREQUENCY, high_pass_hz)];
    let corners = corners.iter().filter_map(|(filter, nested, hertz)| Some((*filter, *nested, (**hertz)?)));
    let notches = notch_hz.iter().map(|hertz| (NOTCH, NOTCH_FREQUENCY, *hertz));
    for (filter, nested, hertz) in corners.chain(notches) {
        write_variable(out, filter, |out| {
            out.required("component", |out| {
                out.required("controlVariable", |out| {
                    values::write_code(out, MDC, nested);
                    values::write_quantity(out, "value", true, &Quantity::new(hertz, "Hz"));
                });
            });
        });
    }
    // an empty text would say nothing
    for text in described.iter().filter(|text| !text.is_empty()) {
        write_variable(out, FILTER_DESCRIPTION, |out| {
            out.with("value", &[("xsi:type", "ST")], true, |out| out.content(text));
        });
    }
    if let Some(placement) = acquisition.placement.as_ref().filter(|placement| is_lead_system(placement)) {
        out.required("controlVariable", |out| {
            out.required("controlVariable", |out| values::write_coded(out, "code", None, placement));
        });
    }
    write_rate(out, rate);
}

/// A rate in hertz (PQ), or as samples in seconds (RTO_PQ_PQ).
fn read_rate(value: Node<'_>) -> Option<Exact> {
    if let Some(hertz) = values::quantity(value) {
        return (hertz.unit == "Hz").then_some(hertz.value);
    }
    let part = |name, unit| {
        let part = values::quantity(value.child(name)?)?;
        (part.unit == unit).then_some(part.value)
    };
    part("numerator", "1")?.over(part("denominator", "s")?)
}

/// Writes the rate itself where the increment can only be rounded.
pub(crate) fn write_rate(out: &mut Emitter<'_>, rate: Rate) {
    if rate.interval().to_short_decimal().is_some() {
        return;
    }
    let hertz = rate.per_second();
    write_variable(out, SAMPLE_RATE, |out| {
        if hertz.to_short_decimal().is_some() {
            return values::write_quantity(out, "value", true, &Quantity::new(hertz, "Hz"));
        }
        let part = |value: i128, unit: &str| Quantity::new(Exact::ratio(value, 1).unwrap_or_default(), unit);
        out.with("value", &[("xsi:type", "RTO_PQ_PQ")], true, |out| {
            values::write_quantity(out, "numerator", false, &part(hertz.numerator(), "1"));
            values::write_quantity(out, "denominator", false, &part(hertz.denominator(), "s"));
        });
    });
}

/// Whether a rate can be written: its interval or itself as a decimal, or both parts of it as whole numbers.
pub(crate) fn has_rate(rate: Rate) -> bool {
    let hertz = rate.per_second();
    let whole = |value: i128| Exact::ratio(value, 1).is_ok_and(|value| value.to_short_decimal().is_some());
    let is_ratio = whole(hertz.numerator()) && whole(hertz.denominator());
    rate.interval().to_short_decimal().is_some() || hertz.to_short_decimal().is_some() || is_ratio
}

fn write_variable(out: &mut Emitter<'_>, code: &str, inside: impl FnOnce(&mut Emitter<'_>)) {
    out.required("controlVariable", |out| {
        out.required("controlVariable", |out| {
            values::write_code(out, MDC, code);
            inside(out);
        });
    });
}

/// Whether the first code of a placement is a lead system of 11073: the only one that has a place.
fn is_lead_system(placement: &Coded) -> bool {
    placement.codes.first().is_some_and(|code| code.value.to_ascii_uppercase().starts_with(LEAD_SYSTEM))
}

/// The frequency of a filter in hertz: nested in it, or its own value. `None` for what is no frequency.
fn read_filter(filter: Node<'_>, nested: &str, notes: &Notes) -> Option<Exact> {
    let inner = filter.waiting("component").find_map(|component| {
        let variable = component.find("controlVariable")?;
        let code = variable.find("code")?;
        let is_ours = code.peek("code")?.eq_ignore_ascii_case(nested);
        is_ours.then_some((component, variable, code))
    });
    let value = match inner {
        Some((_, variable, _)) => variable.find("value")?,
        None => filter.find("value")?,
    };
    let hertz = values::quantity(value).filter(|quantity| quantity.unit == "Hz");
    let Some(hertz) = hertz else {
        let text = value.peek("value").unwrap_or_default();
        let what = format!("a filter whose frequency is {text:?}, not a number of Hz: kept as an extra item");
        notes.departure(filter, what);
        return None;
    };
    value.attribute("type");
    value.take();
    match inner {
        Some((component, variable, code)) => {
            component.take();
            variable.take();
            values::coded(code.take());
        }
        None => notes.departure(filter, "a filter whose frequency is not nested in it"),
    }
    Some(hertz.value)
}
