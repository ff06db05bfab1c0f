//! Signals, marks and measurements: numbers stay; names of the source's own are replaced.

use std::collections::BTreeMap;

use ecgkeep_recording::{
    Lead, Mark, MarkKind, Measurement, MeasurementKind, Scope, Signal, SignalUnit, Wave, Waveform,
    WaveformKind,
};

use crate::words::{BEATS, FORMULAS, RHYTHMS, SIGNALS, UNITS, one_of};

/// What replaced which name of the source's own: the same name is replaced the same everywhere in a recording.
#[derive(Default)]
pub(crate) struct Names {
    leads: BTreeMap<String, String>,
    kinds: BTreeMap<String, String>,
}

impl Names {
    fn lead(&mut self, lead: &Lead) -> Lead {
        match lead {
            Lead::Other(name) if !one_of(SIGNALS, name) => {
                let number = self.leads.len() + 1;
                let name = self.leads.entry(name.clone()).or_insert_with(|| format!("signal {number}"));
                Lead::Other(name.clone())
            }
            named => named.clone(),
        }
    }

    fn kind(&mut self, kind: &WaveformKind) -> WaveformKind {
        match kind {
            WaveformKind::Rhythm => WaveformKind::Rhythm,
            WaveformKind::RepresentativeBeat { class } => WaveformKind::RepresentativeBeat { class: *class },
            WaveformKind::Other(name) => {
                let number = self.kinds.len() + 1;
                let name = self.kinds.entry(name.clone()).or_insert_with(|| format!("waveform {number}"));
                WaveformKind::Other(name.clone())
            }
            // a kind that the model gains later has no words of its own, or its arm is missing here
            _ => WaveformKind::Other("waveform".to_owned()),
        }
    }
}

/// The waveform with the same samples.
pub(crate) fn waveform(source: &Waveform, names: &mut Names) -> Waveform {
    let signals = source.signals().iter().map(|source| signal(source, names)).collect();
    // The lengths and gaps are those of a waveform that exists.
    let mut waveform = Waveform::new(source.rate(), signals).expect("the signals are those of a waveform");
    waveform.kind = names.kind(&source.kind);
    waveform.start = source.start;
    waveform.marks = source.marks.iter().map(|source| mark(source, names)).collect();
    waveform
}

fn signal(source: &Signal, names: &mut Names) -> Signal {
    let Signal { lead, label: _, unit, step, offset, missing, derived, skew, samples } = source;
    Signal {
        lead: names.lead(lead),
        label: None,
        unit: match unit {
            SignalUnit::Other(name) if !one_of(UNITS, name) => SignalUnit::Other("unit".to_owned()),
            named => named.clone(),
        },
        step: *step,
        offset: *offset,
        missing: missing.clone(),
        derived: *derived,
        skew: *skew,
        samples: samples.clone(),
    }
}

fn mark(source: &Mark, names: &mut Names) -> Mark {
    let Mark { sample, lead, kind, label, text, codes: _ } = source;
    let wave = |wave: &Wave| match wave {
        Wave::Other(_) => Wave::Unstated,
        named => named.clone(),
    };
    let kind = match kind {
        MarkKind::Onset(of) => MarkKind::Onset(wave(of)),
        MarkKind::Peak(of) => MarkKind::Peak(wave(of)),
        MarkKind::Offset(of) => MarkKind::Offset(wave(of)),
        MarkKind::Other(_) => MarkKind::Other("mark".to_owned()),
        named => named.clone(),
    };
    Mark {
        sample: *sample,
        lead: lead.as_ref().map(|lead| names.lead(lead)),
        kind,
        label: label.clone().filter(|label| one_of(BEATS, label)),
        text: text.clone().filter(|text| one_of(RHYTHMS, text)),
        codes: Vec::new(),
    }
}

/// `None` for a measurement under the source's own name or in a unit of its own.
pub(crate) fn measurement(source: &Measurement, names: &mut Names) -> Option<Measurement> {
    let Measurement { kind, value, unit, scope, formula } = source;
    if matches!(kind, MeasurementKind::Other(_)) || !one_of(UNITS, unit) {
        return None;
    }
    Some(Measurement {
        kind: kind.clone(),
        value: *value,
        unit: unit.clone(),
        scope: match scope {
            Scope::Lead(lead) => Scope::Lead(names.lead(lead)),
            other => other.clone(),
        },
        formula: formula.clone().filter(|formula| one_of(FORMULAS, formula)),
    })
}
