//! The making of the recording: when, and how it was filtered; not who, where and with which device.

use ecgkeep_recording::{Acquisition, Filters, Recording};

use crate::Method;
use crate::alias::Alias;

pub(crate) fn acquisition(source: &Acquisition, alias: &Alias, method: &Method<'_>) -> Acquisition {
    let Acquisition {
        identifiers: _,
        start,
        operators: _,
        referring: _,
        requesting: _,
        confirming: _,
        institution: _,
        department: _,
        room: _,
        analysing_institution: _,
        analysing_department: _,
        recorder: _,
        analyser: _,
        filters: Filters { high_pass_hz, low_pass_hz, notch_hz, described: _ },
        mains_hz,
        placement: _,
        urgency: _,
        order_number: _,
        sequence_number: _,
        indications: _,
        remarks: _,
    } = source;
    Acquisition {
        start: method.dates.time(start, alias.days),
        filters: Filters {
            high_pass_hz: *high_pass_hz,
            low_pass_hz: *low_pass_hz,
            notch_hz: notch_hz.clone(),
            described: Vec::new(),
        },
        mains_hz: *mains_hz,
        remarks: vec![statement(method)],
        ..Acquisition::default()
    }
}

/// What the statement of the method begins with.
const DEIDENTIFIED: &str = "de-identified by ";

/// The method that a recording states, where identity was taken out of it here.
#[must_use]
pub fn stated_method(recording: &Recording) -> Option<&str> {
    let mut remarks = recording.acquisition.remarks.iter();
    remarks.find(|remark| remark.starts_with(DEIDENTIFIED)).map(String::as_str)
}

/// The method, as it stands in the result: plain ASCII on one short line, so that every format carries it.
fn statement(method: &Method<'_>) -> String {
    let Method { dates, pseudonyms, program } = method;
    let dates = dates.words();
    format!(
        "{DEIDENTIFIED}{program}: pseudonym {pseudonyms}; {dates}; else only what an allow-list names is kept; \
         samples unaltered"
    )
}
