//! What the page must say about its own drawing.

use ecgkeep_recording::{Exact, Lead, Recording, SignalUnit, WaveformKind};

use crate::slot::Slot;
use crate::voltages::{Provenance, Voltages};
use crate::words;

/// What was seen while a page was drawn, by lead.
#[derive(Clone, Debug, Default)]
pub(crate) struct Seen {
    pub not_recorded: Vec<Lead>,
    pub derived_here: Vec<Lead>,
    pub derived_by_source: Vec<Lead>,
    /// With the millivolts taken off.
    pub moved: Vec<(Lead, f64)>,
    /// With the voltage furthest from 0 V, in millivolts.
    pub cut: Vec<(Lead, f64)>,
    /// With the number of samples missing in what the page shows.
    pub gaps: Vec<(Lead, usize)>,
    /// Whether leads stand side by side.
    pub has_columns: bool,
    /// Shown from another moment than the strip below it; with that moment in seconds.
    pub off_axis: Vec<(Lead, Exact)>,
}

impl Seen {
    pub fn note_absent(&mut self, slot: &Slot) {
        if !self.not_recorded.contains(&slot.lead) {
            self.not_recorded.push(slot.lead.clone());
        }
    }

    /// Notes where a lead comes from and whether it is moved; once, though a strip shows it again.
    pub fn note_provenance(&mut self, slot: &Slot, voltages: &Voltages) {
        let push = |leads: &mut Vec<Lead>| {
            if !leads.contains(&slot.lead) {
                leads.push(slot.lead.clone());
            }
        };
        match voltages.provenance {
            Provenance::Recorded => {}
            Provenance::DerivedBySource => push(&mut self.derived_by_source),
            Provenance::DerivedHere => push(&mut self.derived_here),
        }
        if voltages.moved != 0.0 && self.moved.iter().all(|(lead, _)| *lead != slot.lead) {
            self.moved.push((slot.lead.clone(), voltages.moved / 1000.0));
        }
    }

    /// Notes missing samples; of two slots with one lead, the larger number.
    pub fn note_gaps(&mut self, slot: &Slot, missing: usize) {
        match self.gaps.iter_mut().find(|(lead, _)| *lead == slot.lead) {
            Some((_, most)) => *most = missing.max(*most),
            None if missing > 0 => self.gaps.push((slot.lead.clone(), missing)),
            None => {}
        }
    }

    /// Notes that a tracing leaves the grid; of two slots with one lead, the voltage further from 0 V.
    pub fn note_cut(&mut self, slot: &Slot, furthest: f64) {
        match self.cut.iter_mut().find(|(lead, _)| *lead == slot.lead) {
            Some((_, most)) if most.abs() >= furthest.abs() => {}
            Some((_, most)) => *most = furthest,
            None => self.cut.push((slot.lead.clone(), furthest)),
        }
    }
}

/// What a page says of its tracings, the weightiest first.
pub(crate) fn notices(seen: &Seen, is_beat: bool) -> Vec<String> {
    let mut all = Vec::new();
    let names = |leads: &[Lead]| leads.iter().map(Lead::name).collect::<Vec<_>>().join(", ");
    if !seen.not_recorded.is_empty() {
        all.push(format!("Not recorded: {}.", names(&seen.not_recorded)));
    }
    if !seen.cut.is_empty() {
        let one = |(lead, millivolts): &(Lead, f64)| format!("{lead} (reaches {millivolts:.2} mV)");
        all.push(format!("Cut at the edge of the grid, marked there: {}.", join(&seen.cut, one)));
    }
    if !seen.gaps.is_empty() {
        let one =
            |(lead, count): &(Lead, usize)| format!("{lead} ({})", words::count(*count, "sample", "samples"));
        all.push(format!("Gaps where samples are missing: {}.", join(&seen.gaps, one)));
    }
    if !seen.moved.is_empty() {
        let one = |(lead, millivolts): &(Lead, f64)| {
            let way = if *millivolts > 0.0 { "down" } else { "up" };
            format!("{lead} {:.1} mV {way}", millivolts.abs())
        };
        all.push(format!("Moved as a whole, because far from 0 mV: {}.", join(&seen.moved, one)));
    }
    if !seen.derived_here.is_empty() {
        all.push(format!("Derived for this drawing from I and II: {}.", names(&seen.derived_here)));
    }
    if !seen.derived_by_source.is_empty() {
        all.push(format!("Derived by the source: {}.", names(&seen.derived_by_source)));
    }
    if !seen.off_axis.is_empty() {
        let one = |(lead, from): &(Lead, Exact)| format!("{lead} from {} s", words::number(*from));
        let leads = join(&seen.off_axis, one);
        all.push(format!("Too short for the time axis, so shown earlier than the strip below: {leads}."));
    } else if seen.has_columns && !is_beat {
        all.push("Each column is the same stretch of time as the strip below it.".to_owned());
    }
    all
}

/// What every page says of the recording as it is drawn: what none of them shows, and what was noted on reading.
pub(crate) fn of_report(recording: &Recording, shown: &[Lead], notes: &[String]) -> Vec<String> {
    let mut all = Vec::new();
    let undrawn = undrawn(recording, shown);
    if !undrawn.is_empty() {
        all.push(format!("In the record, not drawn: {}.", undrawn.join(", ")));
    }
    all.extend(notes.iter().map(|note| format!("On reading: {}", words::one_line(note))));
    all
}

fn join<T>(all: &[T], one: impl Fn(&T) -> String) -> String {
    all.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// Signals that are no voltages or have no place, waveforms of another kind, a lead that stands twice.
fn undrawn(recording: &Recording, shown: &[Lead]) -> Vec<String> {
    let mut all = Vec::new();
    for waveform in &recording.waveforms {
        match &waveform.kind {
            WaveformKind::Rhythm | WaveformKind::RepresentativeBeat { .. } => {}
            WaveformKind::Other(name) => {
                all.push(format!("waveform {name}"));
                continue;
            }
            _ => {
                all.push("a waveform of a kind not known here".to_owned());
                continue;
            }
        }
        let mut before: Vec<&Lead> = Vec::new();
        for signal in waveform.signals() {
            let name = signal.label.clone().unwrap_or_else(|| signal.lead.name());
            match &signal.unit {
                SignalUnit::Volt if before.contains(&&signal.lead) => {
                    all.push(format!("{name} a second time"));
                }
                SignalUnit::Volt if is_shown(shown, &signal.lead) => before.push(&signal.lead),
                SignalUnit::Volt => all.push(format!("{name} (no place in this report)")),
                SignalUnit::Uncalibrated => all.push(format!("{name} (no scale, so no voltage)")),
                _ => all.push(format!("{name} (not a voltage)")),
            }
        }
    }
    all.dedup();
    all
}

/// Whether a page shows the lead, be it with its sign changed.
fn is_shown(shown: &[Lead], lead: &Lead) -> bool {
    shown.contains(lead) || (*lead == Lead::AVR && shown.contains(&Lead::NegativeAVR))
}

/// Duration, sampling and resolution in words, a range where waveforms or leads differ.
pub(crate) fn sampling(recording: &Recording) -> String {
    let voltages = || recording.rhythm().flat_map(|w| w.signals().iter().filter(|s| s.is_voltage()));
    if voltages().next().is_none() {
        return "No lead with a known voltage".to_owned();
    }
    let range = |values: &mut dyn Iterator<Item = Exact>| {
        let first = values.next()?;
        Some(values.fold((first, first), |(low, high), value| (low.min(value), high.max(value))))
    };
    let words_of = |range: Option<(Exact, Exact)>| match range {
        Some((low, high)) if low == high => words::number(low),
        Some((low, high)) => format!("{} to {}", words::number(low), words::number(high)),
        None => words::NOT_STATED.to_owned(),
    };
    let rate = range(&mut recording.rhythm().map(|waveform| waveform.rate().per_second()));
    let thousand = Exact::whole(1000);
    let step = range(&mut voltages().filter_map(|s| s.step.nanovolts().magnitude().over(thousand)));
    let seconds = range(&mut recording.rhythm().map(ecgkeep_recording::Waveform::seconds));
    let samples =
        range(&mut recording.rhythm().filter_map(|w| Some(Exact::whole(i64::try_from(w.length()).ok()?))));
    format!(
        "{} s at {} samples/s, {} in each lead, {} µV per step",
        words_of(seconds),
        words_of(rate),
        words_of(samples),
        words_of(step),
    )
}
