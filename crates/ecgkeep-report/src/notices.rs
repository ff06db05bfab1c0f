//! What the page must say about its own drawing.

use ecgkeep_recording::{Exact, Lead, Recording, SignalUnit, WaveformKind};

use crate::page::Report;
use crate::slot::Slot;
use crate::voltages::{Provenance, Voltages};
use crate::words;

/// A stretch of time in seconds from the recording's start: its first moment and one interval after its last.
pub(crate) type Stretch = (Exact, Exact);

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
    /// Whether all leads were recorded together in one stretch.
    pub is_one_stretch: bool,
    /// Shown from another moment than that of the time axis; with that moment in seconds.
    pub off_axis: Vec<(Lead, Exact)>,
    /// The stretches in which each lead was recorded, as far as they lie on the page.
    pub recorded: Vec<(Lead, Vec<Stretch>)>,
    /// Leads of different rows whose tracings meet.
    pub overlaps: Vec<(Lead, Lead)>,
    /// Sampled too slowly for a filter that was asked for.
    pub too_slow: Vec<Lead>,
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
        if voltages.is_too_slow {
            push(&mut self.too_slow);
        }
        if voltages.moved != 0.0 && self.moved.iter().all(|(lead, _)| *lead != slot.lead) {
            self.moved.push((slot.lead.clone(), voltages.moved / 1000.0));
        }
    }

    /// Notes when a lead was recorded; once, though a strip shows it again.
    pub fn note_recorded(&mut self, slot: &Slot, stretches: &[Stretch]) {
        if !stretches.is_empty() && self.recorded.iter().all(|(lead, _)| *lead != slot.lead) {
            self.recorded.push((slot.lead.clone(), stretches.to_vec()));
        }
    }

    /// Puts the leads into the order in which they are told, whatever the layout: I, II, III, aVR to aVF, V1 to V6, others.
    pub fn sort(&mut self) {
        let rank = |lead: &Lead| {
            let known = if *lead == Lead::NegativeAVR { &Lead::AVR } else { lead };
            Lead::TWELVE.iter().position(|other| other == known).unwrap_or(Lead::TWELVE.len())
        };
        for leads in
            [&mut self.not_recorded, &mut self.derived_here, &mut self.derived_by_source, &mut self.too_slow]
        {
            leads.sort_by_key(rank);
        }
        self.moved.sort_by_key(|(lead, _)| rank(lead));
        self.cut.sort_by_key(|(lead, _)| rank(lead));
        self.gaps.sort_by_key(|(lead, _)| rank(lead));
        self.off_axis.sort_by_key(|(lead, _)| rank(lead));
        self.recorded.sort_by_key(|(lead, _)| rank(lead));
    }

    pub fn note_overlap(&mut self, upper: &Slot, lower: &Slot) {
        let pair = (upper.lead.clone(), lower.lead.clone());
        if !self.overlaps.contains(&pair) {
            self.overlaps.push(pair);
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
    let names = |leads: &[Lead]| leads.iter().map(words::lead).collect::<Vec<_>>().join(", ");
    if !seen.not_recorded.is_empty() {
        all.push(format!("Not recorded: {}.", names(&seen.not_recorded)));
    }
    if !seen.cut.is_empty() {
        let one =
            |(lead, millivolts): &(Lead, f64)| format!("{} (reaches {millivolts:.2} mV)", words::lead(lead));
        all.push(format!("Cut at the edge of the grid, marked there: {}.", join(&seen.cut, one)));
    }
    if !seen.gaps.is_empty() {
        let one = |(lead, count): &(Lead, usize)| {
            format!("{} ({})", words::lead(lead), words::count(*count, "sample", "samples"))
        };
        all.push(format!("Gaps where samples are missing: {}.", join(&seen.gaps, one)));
    }
    if !seen.moved.is_empty() {
        let one = |(lead, millivolts): &(Lead, f64)| {
            let way = if *millivolts > 0.0 { "down" } else { "up" };
            format!("{} {:.1} mV {way}", words::lead(lead), millivolts.abs())
        };
        all.push(format!("Moved as a whole, because far from 0 mV: {}.", join(&seen.moved, one)));
    }
    if !seen.derived_here.is_empty() {
        all.push(format!("Derived for this drawing from I and II: {}.", names(&seen.derived_here)));
    }
    if !seen.derived_by_source.is_empty() {
        all.push(format!("Derived by the source: {}.", names(&seen.derived_by_source)));
    }
    if !seen.overlaps.is_empty() {
        let one =
            |(upper, lower): &(Lead, Lead)| format!("{} with {}", words::lead(upper), words::lead(lower));
        let pairs = join(&seen.overlaps, one);
        all.push(format!("Overlap, each drawn whole at the gain of the page: {pairs}."));
    }
    if !seen.too_slow.is_empty() {
        let leads = names(&seen.too_slow);
        all.push(format!(
            "Without a filter that was asked for, because sampled at less than twice its frequency: {leads}."
        ));
    }
    if !is_beat {
        all.extend(moments(seen));
    }
    all
}

/// What stands at which moment of the time axis.
fn moments(seen: &Seen) -> Vec<String> {
    let mut all = Vec::new();
    if !seen.off_axis.is_empty() {
        let one =
            |(lead, from): &(Lead, Exact)| format!("{} from {} s", words::lead(lead), words::number(*from));
        let leads = join(&seen.off_axis, one);
        all.push(format!(
            "Not above its moment of the time axis, marked //, because not recorded then: {leads}."
        ));
    }
    if !seen.is_one_stretch {
        all.push(in_stretches(&seen.recorded));
    } else if seen.has_columns && seen.off_axis.is_empty() {
        all.push("All leads recorded together; each column is its own stretch of the time axis.".to_owned());
    }
    all
}

/// Stretches to name at most for one lead.
const MOST_STRETCHES: usize = 6;

/// `Not recorded together (brackets mark where a stretch begins and ends): I, II, III: 0 to 2.5 s; V1: 2.5 to 5 s.`
fn in_stretches(recorded: &[(Lead, Vec<Stretch>)]) -> String {
    let mut groups: Vec<(Vec<String>, &[Stretch])> = Vec::new();
    for (lead, stretches) in recorded {
        match groups.iter_mut().find(|(_, known)| are_together(known, stretches)) {
            Some((leads, _)) => leads.push(words::lead(lead)),
            None => groups.push((vec![words::lead(lead)], stretches)),
        }
    }
    let one = |(from, to): &Stretch| format!("{} to {} s", words::number(*from), words::number(*to));
    let listed = |stretches: &[Stretch]| {
        let shown = &stretches[..stretches.len().min(MOST_STRETCHES)];
        let rest = stretches.len() - shown.len();
        let more = if rest == 0 { String::new() } else { format!(" and {rest} more") };
        format!("{}{more}", join(shown, one))
    };
    let brackets = "brackets mark where a stretch begins and ends";
    match groups.as_slice() {
        [(_, stretches)] => format!("Recorded in several stretches ({brackets}): {}.", listed(stretches)),
        groups => {
            let one = |(leads, stretches): &(Vec<String>, &[Stretch])| {
                format!("{}: {}", leads.join(", "), listed(stretches))
            };
            let all: Vec<String> = groups.iter().map(one).collect();
            format!("Not recorded together ({brackets}): {}.", all.join("; "))
        }
    }
}

/// Whether two leads were recorded in the same stretches, but for a hundredth of a second: rates may differ.
pub(crate) fn are_together(a: &[Stretch], b: &[Stretch]) -> bool {
    let near = |a: Exact, b: Exact| a.minus(b).is_some_and(|apart| apart.magnitude().to_f64() <= 0.01);
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| near(a.0, b.0) && near(a.1, b.1))
}

/// What every page says of the recording as it is drawn: what none of them shows, and what was noted on reading.
pub(crate) fn of_report(report: &Report) -> Vec<String> {
    let mut all = Vec::new();
    let filters = &report.paper.filters;
    if !filters.is_empty() {
        let text = format!(
            "Filtered for this drawing only: {filters}; 3 dB down at these frequencies; each unbroken stretch by itself, \
             mirrored at its ends. The record holds the samples unfiltered. {}",
            filters.cautions()
        );
        all.push(text.trim().to_owned());
    }
    if !report.left_away.is_empty() {
        all.push(format!(
            "Asked for and not applied, because sampled at less than twice its frequency: {}.",
            report.left_away.frequencies()
        ));
    }
    let undrawn = undrawn(report.recording, &report.shown);
    if !undrawn.is_empty() {
        all.push(format!("In the record, not drawn: {}.", undrawn.join(", ")));
    }
    all.extend(report.facts.notes.iter().map(|note| format!("On reading: {}", words::one_line(note))));
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
