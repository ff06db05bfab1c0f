//! One recording to a document, in the order in which it is read.

use ecgkeep_format::{Error, File, Kind, Result, plain_name};
use ecgkeep_recording::{CivilTime, Exact, Recording, Sex, Signal, SignalUnit, Waveform, WaveformKind};

use crate::constants::{ROOT, VOLTAGES};
use crate::emit::{Emitter, is_storable};
use crate::sequences;
use crate::series::{self, extent_of};
use crate::timeline::Head;
use crate::{annotations, conditions, demographics, time};

/// Writes one recording.
/// # Errors
/// [`Kind::Refused`] for none or several recordings, for one without samples, and for a lead whose name or scale XML
/// cannot hold.
pub(crate) fn encode(recordings: &[Recording], stem: &str) -> Result<Vec<File>> {
    let [recording] = recordings else {
        let what = format!("a document holds one recording, not {}", recordings.len());
        return Err(Error::new(Kind::Refused, what).remedy("write each recording to a file of its own"));
    };
    let name = format!("{stem}.xml");
    plain_name(&name)?;
    check(recording)?;
    Ok(vec![File { name, bytes: document(recording).into_bytes() }])
}

fn check(recording: &Recording) -> Result<()> {
    let refused = |what: String| Err(Error::new(Kind::Refused, what));
    if recording.waveforms.is_empty() {
        return refused("a recording without waveforms has no series to write".to_owned());
    }
    if let Some(Sex::Other(word)) = &recording.subject.sex
        && !is_storable(word)
    {
        return refused(format!("the sex holds a character that XML cannot: {word:?}"));
    }
    for waveform in &recording.waveforms {
        let kind = waveform.kind.to_string();
        if waveform.length() == 0 {
            return refused(format!("{kind}: a waveform without samples has no digits to write"));
        }
        if !conditions::has_rate(waveform.rate()) {
            return refused(format!("{kind}: a rate of {} Hz has more than 18 digits", waveform.rate()));
        }
        if !is_storable(&kind) {
            return refused(format!("the kind of a waveform holds a character that XML cannot: {kind:?}"));
        }
        for signal in waveform.signals() {
            check_signal(signal).map_err(|error| error.within(kind.clone()))?;
        }
    }
    Ok(())
}

fn check_signal(signal: &Signal) -> Result<()> {
    let name = signal.lead.name();
    let unit = match &signal.unit {
        SignalUnit::Other(unit) => unit.as_str(),
        _ => "",
    };
    if !is_storable(&name) || !is_storable(unit) {
        let what = format!("lead {name:?} in {unit:?}: a name holds a character that XML cannot");
        return Err(Error::new(Kind::Refused, what).remedy("rename the lead"));
    }
    if matches!(&signal.unit, SignalUnit::Other(unit) if unit.is_empty() || VOLTAGES.iter().any(|row| row.0 == unit))
    {
        let what =
            format!("lead {name}: a quantity other than voltage in the unit {unit:?} would be read as one");
        return Err(Error::new(Kind::Refused, what).remedy("name the unit that the signal is in"));
    }
    if !sequences::has_scale(signal) {
        let what = format!("lead {name}: a step of {} cannot be told from zero", signal.step.nanovolts());
        return Err(Error::new(Kind::Refused, what));
    }
    Ok(())
}

fn document(recording: &Recording) -> String {
    let start = &recording.acquisition.start;
    let is_absolute = is_absolute(recording);
    let plan = Plan::of(&recording.waveforms);
    Emitter::new(&recording.extras).document(ROOT, |out| {
        demographics::write_title(out, recording);
        match time::write(start) {
            Some(low) => out.required("effectiveTime", |out| out.leaf("low", &[("value", &low)])),
            None => out.null("effectiveTime"),
        }
        demographics::write(out, recording);
        for (place, (top, derived)) in (0u32..).zip(&plan.series) {
            let waveform = &recording.waveforms[*top];
            let head = head_of(waveform, start, is_absolute && !is_beat(waveform));
            let extent = extent_of(waveform, &head, start);
            series::write(out, waveform, place, &extent, &head, &recording.acquisition, |out| {
                for (number, beat) in derived {
                    let waveform = &recording.waveforms[*beat];
                    let head = Head::Relative(waveform.start);
                    let extent = extent_of(waveform, &head, start);
                    series::write_derived(out, waveform, *number, &extent, &head, |out| {
                        annotations::write_marks(out, waveform, &head);
                    });
                }
                if place == 0 {
                    annotations::write(out, recording);
                }
                annotations::write_marks(out, waveform, &head);
            });
        }
    })
}

/// Whether times are written as calendar times: where the start is known to the second and the earliest rhythm
/// waveform begins with it, so that a reader finds the start again.
fn is_absolute(recording: &Recording) -> bool {
    let all = || recording.waveforms.iter();
    let has_rhythm = recording.rhythm().next().is_some();
    let first = all().filter(|waveform| !has_rhythm || waveform.kind == WaveformKind::Rhythm);
    let earliest = first.map(|waveform| waveform.start).min();
    time::is_precise(&recording.acquisition.start) && earliest == Some(Exact::ZERO)
}

fn is_beat(waveform: &Waveform) -> bool {
    matches!(waveform.kind, WaveformKind::RepresentativeBeat { .. })
}

fn head_of(waveform: &Waveform, start: &CivilTime, is_absolute: bool) -> Head {
    match time::after(start, waveform.start) {
        Some(first) if is_absolute => Head::Absolute(first),
        _ => Head::Relative(waveform.start),
    }
}

/// Which waveform stands in which series: the numbers of the top-level ones, each with its derived ones.
struct Plan {
    series: Vec<(usize, Vec<(u32, usize)>)>,
}

impl Plan {
    /// A representative beat is derived from the rhythm before it, or from the first series; where there are
    /// only beats, each is a series of its own.
    fn of(waveforms: &[Waveform]) -> Plan {
        let only_beats = waveforms.iter().all(is_beat);
        let tops: Vec<usize> =
            (0..waveforms.len()).filter(|at| only_beats || !is_beat(&waveforms[*at])).collect();
        let mut series: Vec<(usize, Vec<(u32, usize)>)> = tops.iter().map(|top| (*top, Vec::new())).collect();
        let is_rhythm = |at: usize| waveforms[at].kind == WaveformKind::Rhythm;
        let beats = (0..waveforms.len()).filter(|at| !only_beats && is_beat(&waveforms[*at]));
        for (number, beat) in (0u32..).zip(beats) {
            let before = tops.iter().rposition(|top| *top < beat && is_rhythm(*top));
            let place = before.or_else(|| tops.iter().position(|top| is_rhythm(*top))).unwrap_or(0);
            series[place].1.push((number, beat));
        }
        Plan { series }
    }
}
