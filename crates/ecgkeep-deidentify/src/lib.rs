//! Takes the identity out of a recording by an allow-list over the whole model: what is not named here to stay, goes.
//!
//! Every struct is taken apart field by field, so a new field of the model does not compile until it is decided
//! ([`rule`] says for each field what becomes of it). Free text, extras and everything that only a source could
//! have worded are removed; numbers, dates and words of a published vocabulary stay or are replaced. Samples are never
//! touched: the fingerprint is the same, unless a signal or waveform had a name of the source's own, which is replaced.
//!
//! Neither way of choosing pseudonyms, nor shifting dates, makes a data set anonymous by itself: shifted dates are
//! dates, so the result is not "Safe Harbor" (45 CFR 164.514(b)(2)); whoever gives data away decides with those
//! responsible for it whether what is left may identify somebody, the heart's own signal included.

mod ages;
mod alias;
mod dates;
mod making;
mod person;
mod rules;
mod signals;
mod words;

use std::collections::BTreeMap;
use std::fmt;

use ecgkeep_recording::{Change, Difference, Field, Origin, Recording, differences};

pub use alias::{Alias, KEY_BYTES, Key, PatientKey, alias_from, name_from};
pub use dates::Dates;
pub use making::stated_method;
pub use rules::{Action, Rule, rule, rules_table};

use ages::Age;
use signals::Names;

/// How identity is taken out, besides the alias.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Method<'a> {
    /// What becomes of dates.
    pub dates: Dates,
    /// How the pseudonym was chosen, in a phrase: stands in the result's remark.
    pub pseudonyms: &'a str,
    /// The program and its version.
    pub program: &'a str,
}

/// A recording without its identity, and what was done to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Deidentified {
    /// The new recording; its one remark states the method.
    pub recording: Recording,
    /// What differs from the source, counted by field, in the order of [`Field::ALL`]; never a value.
    pub taken: Vec<Taken>,
}

/// What was done to one field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taken {
    /// Which field.
    pub field: Field,
    /// What its rule says.
    pub action: Action,
    /// How many items of it differ from the source.
    pub count: usize,
}

impl fmt::Display for Taken {
    /// `patient name: removed (3)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {} ({})", self.field, self.action.past(), self.count)
    }
}

/// Makes the recording anew from what the allow-list lets through.
#[must_use]
pub fn deidentify(source: &Recording, alias: &Alias, method: &Method<'_>) -> Deidentified {
    let Recording { subject, acquisition, waveforms, measurements, statements: _, extras: _, origin: _ } =
        source;
    let mut names = Names::default();
    let age = Age::of(subject, &acquisition.start);
    let recording = Recording {
        subject: person::subject(subject, age, alias, method.dates),
        acquisition: making::acquisition(acquisition, alias, method),
        waveforms: waveforms.iter().map(|waveform| signals::waveform(waveform, &mut names)).collect(),
        measurements: measurements
            .iter()
            .filter_map(|measurement| signals::measurement(measurement, &mut names))
            .collect(),
        statements: Vec::new(),
        extras: Vec::new(),
        origin: Origin::default(),
    };
    let mut counts: BTreeMap<Field, usize> = BTreeMap::new();
    let is_of_source = |difference: &Difference| !matches!(difference.change, Change::Added { .. });
    for difference in differences(source, &recording).iter().filter(|one| is_of_source(one)) {
        *counts.entry(difference.field).or_default() += 1;
    }
    let taken = counts.into_iter().map(|(field, count)| Taken { field, action: rule(field).action, count });
    Deidentified { taken: taken.collect(), recording }
}

#[cfg(test)]
mod tests;
