//! The voltages of one lead over the whole recording, as the source stores them or derived from I and II.

use ecgkeep_recording::{Exact, Lead, Rate, Signal, Waveform};

use crate::DisplayFilters;
use crate::constants::{MOVED_BY_MICROVOLTS, MOVED_FROM_MICROVOLTS};
use crate::zero_phase::filter;

/// Where the voltages of a lead come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Provenance {
    /// The source recorded it.
    Recorded,
    /// The source says that it computed it from other leads.
    DerivedBySource,
    /// Computed here from I and II, for the drawing only.
    DerivedHere,
}

/// All voltages of one lead.
#[derive(Clone, Debug)]
pub(crate) struct Voltages {
    pub provenance: Provenance,
    /// Stretches without a gap in sampling; missing samples are NaN.
    pub pieces: Vec<Piece>,
    /// Microvolts that are taken off for the drawing, because the lead lies far from 0 V.
    pub moved: f64,
    /// Whether some of it is sampled too slowly for a filter that was asked for, and is drawn without that filter.
    pub is_too_slow: bool,
}

/// A lead in one waveform.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    /// Seconds from the recording's start to the first sample.
    pub start: Exact,
    pub rate: Rate,
    pub microvolts: Vec<f64>,
}

impl Voltages {
    /// The lead's voltages in these waveforms, filtered for the drawing, up to `end` (in seconds from the recording's
    /// start); `None` where they have neither the lead nor what it can be derived from.
    pub fn of(
        waveforms: &[&Waveform],
        lead: &Lead,
        end: Exact,
        filters: &DisplayFilters,
    ) -> Option<Voltages> {
        let drawn_to = end;
        let end = filters.lengthened(end);
        let mut provenance = Provenance::Recorded;
        let mut pieces = Vec::new();
        for waveform in waveforms {
            if let Some(signal) = waveform.lead(lead) {
                if signal.derived {
                    provenance = Provenance::DerivedBySource;
                }
                pieces.push(Piece::new(waveform, microvolts(signal, samples_before(waveform, end))));
            }
        }
        if pieces.is_empty() && *lead == Lead::NegativeAVR {
            // The same lead with its sign changed, which its name says: no new provenance.
            let mut voltages = Voltages::of(waveforms, &Lead::AVR, drawn_to, filters)?;
            voltages
                .pieces
                .iter_mut()
                .flat_map(|piece| &mut piece.microvolts)
                .for_each(|value| *value = -*value);
            return Some(Voltages { moved: -voltages.moved, ..voltages });
        }
        if pieces.is_empty() {
            provenance = Provenance::DerivedHere;
            for waveform in waveforms {
                let limbs = (waveform.lead(&Lead::I), waveform.lead(&Lead::II));
                let count = samples_before(waveform, end);
                let derived = limbs.0.zip(limbs.1).and_then(|(one, two)| derive(lead, one, two, count));
                pieces.extend(derived.map(|microvolts| Piece::new(waveform, microvolts)));
            }
        }
        if pieces.is_empty() {
            return None;
        }
        for piece in &mut pieces {
            filter(
                &filters.sections(piece.rate),
                &mut piece.microvolts,
                DisplayFilters::mirrored(piece.rate),
            );
            piece.microvolts.truncate(sample_at(piece.start, piece.rate, drawn_to));
        }
        let is_too_slow = pieces.iter().any(|piece| !filters.fit(piece.rate));
        let moved = moved(&pieces);
        Some(Voltages { provenance, pieces, moved, is_too_slow })
    }
}

impl Voltages {
    /// How many samples the lead has between two moments.
    pub fn present(&self, from: Exact, to: Exact) -> usize {
        self.pieces
            .iter()
            .map(|piece| piece.between(from, to).filter(|(_, value)| !value.is_nan()).count())
            .sum()
    }

    /// The moment of the lead's first sample between two moments, and that of one interval after its last.
    pub fn first_and_last(&self, from: Exact, to: Exact) -> Option<(Exact, Exact)> {
        let mut found: Option<(Exact, Exact)> = None;
        for piece in &self.pieces {
            let mut present =
                piece.between(from, to).filter(|(_, value)| !value.is_nan()).map(|(sample, _)| sample);
            let Some(first) = present.next() else { continue };
            let last = present.last().unwrap_or(first);
            let (Some(first), Some(last)) = (piece.moment(first), piece.moment(last + 1)) else { continue };
            found = Some(found.map_or((first, last), |(a, b)| (a.min(first), b.max(last))));
        }
        found
    }
}

impl Piece {
    fn new(waveform: &Waveform, microvolts: Vec<f64>) -> Piece {
        Piece { start: waveform.start, rate: waveform.rate(), microvolts }
    }

    /// The samples between two moments, with their numbers.
    fn between(&self, from: Exact, to: Exact) -> impl Iterator<Item = (usize, f64)> + '_ {
        let (first, end) = (self.sample_at(from), self.sample_at(to));
        (first..end).zip(self.microvolts.get(first..end).unwrap_or_default().iter().copied())
    }

    /// When a sample was taken, in seconds from the recording's start.
    pub fn moment(&self, sample: usize) -> Option<Exact> {
        let since = Exact::whole(i64::try_from(sample).ok()?).times(self.rate.interval())?;
        self.start.plus(since)
    }

    /// One interval after the last sample.
    pub fn end(&self) -> Exact {
        self.moment(self.microvolts.len()).unwrap_or(self.start)
    }

    /// The first sample at or after this moment; the number of samples where there is none.
    pub fn sample_at(&self, seconds: Exact) -> usize {
        sample_at(self.start, self.rate, seconds).min(self.microvolts.len())
    }
}

/// The first sample at or after this moment, were there as many as it takes.
fn sample_at(start: Exact, rate: Rate, seconds: Exact) -> usize {
    let Some(position) = seconds.minus(start).and_then(|since| since.times(rate.per_second())) else {
        return usize::MAX;
    };
    let up = position.numerator().div_euclid(position.denominator())
        + i128::from(position.numerator().rem_euclid(position.denominator()) != 0);
    usize::try_from(up.max(0)).unwrap_or(usize::MAX)
}

fn samples_before(waveform: &Waveform, end: Exact) -> usize {
    sample_at(waveform.start, waveform.rate(), end).min(waveform.length())
}

/// The first samples of a signal in microvolts, NaN where missing; no more of them than are drawn, because a
/// recording may be a day long.
fn microvolts(signal: &Signal, count: usize) -> Vec<f64> {
    let (step, offset) = (signal.step.nanovolts().to_f64() / 1000.0, signal.offset.to_f64() / 1000.0);
    let mut values: Vec<f64> =
        signal.samples[..count].iter().map(|sample| f64::from(*sample) * step + offset).collect();
    for span in signal.missing.iter().take_while(|span| span.start < count) {
        values[span.start..span.end.min(count)].fill(f64::NAN);
    }
    values
}

/// III, aVR, aVL or aVF from I and II (Einthoven's law and Goldberger's definitions, exact for every body); `None`
/// for another lead.
fn derive(lead: &Lead, one: &Signal, two: &Signal, count: usize) -> Option<Vec<f64>> {
    let formula: fn(f64, f64) -> f64 = match lead {
        Lead::III => |one, two| two - one,
        Lead::AVR => |one, two| -(one + two) / 2.0,
        Lead::AVL => |one, two| one - two / 2.0,
        Lead::AVF => |one, two| two - one / 2.0,
        _ => return None,
    };
    let (one, two) = (microvolts(one, count), microvolts(two, count));
    Some(one.into_iter().zip(two).map(|(one, two)| formula(one, two)).collect())
}

/// The lead's median in whole steps where it lies far from 0 V, else nothing. A shift of the whole tracing changes
/// no shape and no difference of voltages.
fn moved(pieces: &[Piece]) -> f64 {
    let mut present: Vec<f64> =
        pieces.iter().flat_map(|piece| &piece.microvolts).copied().filter(|value| !value.is_nan()).collect();
    if present.is_empty() {
        return 0.0;
    }
    let middle = present.len() / 2;
    let (_, median, _) = present.select_nth_unstable_by(middle, f64::total_cmp);
    if median.abs() <= MOVED_FROM_MICROVOLTS {
        return 0.0;
    }
    (*median / MOVED_BY_MICROVOLTS).round() * MOVED_BY_MICROVOLTS
}

#[cfg(test)]
mod tests {
    use ecgkeep_recording::Step;

    use super::*;

    const END: Exact = Exact::whole(10);

    fn waveform(leads: &[(Lead, [i32; 3])]) -> Waveform {
        let step = Step::new(Exact::whole(1000)).expect("not zero");
        let signal = |(lead, counts): &(Lead, [i32; 3])| Signal::new(lead.clone(), step, counts.to_vec());
        let rate = Rate::new(Exact::whole(500)).expect("above zero");
        Waveform::new(rate, leads.iter().map(signal).collect()).expect("equal lengths")
    }

    fn unfiltered(waveform: &Waveform, lead: &Lead, end: Exact) -> Option<Voltages> {
        Voltages::of(&[waveform], lead, end, &DisplayFilters::default())
    }

    #[test]
    fn four_leads_follow_from_i_and_ii() {
        // The first sample of the PTB Diagnostic record s0010_re: I -489, II -458, hence III 31, aVR 473.5,
        // aVL -260, aVF -213.5 (its header: 31, 474, -260, -214).
        let eight = waveform(&[(Lead::I, [-489, 0, 0]), (Lead::II, [-458, 0, 0])]);
        for (lead, expected) in
            [(Lead::III, 31.0), (Lead::AVR, 473.5), (Lead::AVL, -260.0), (Lead::AVF, -213.5)]
        {
            let voltages = unfiltered(&eight, &lead, END).expect("derived");
            assert_eq!(voltages.provenance, Provenance::DerivedHere);
            assert_eq!(voltages.pieces[0].microvolts[0], expected, "{lead}");
        }
        assert!(unfiltered(&eight, &Lead::V1, END).is_none());
    }

    #[test]
    fn minus_avr_is_avr_with_its_sign_changed() {
        let all = waveform(&[(Lead::AVR, [700, 700, 701])]);
        let voltages = unfiltered(&all, &Lead::NegativeAVR, END).expect("aVR is there");
        assert_eq!(voltages.pieces[0].microvolts, [-700.0, -700.0, -701.0]);
        assert_eq!((voltages.provenance, voltages.moved), (Provenance::Recorded, -700.0));
    }

    #[test]
    fn a_recorded_lead_is_never_replaced_by_a_derived_one() {
        let all = waveform(&[(Lead::I, [1, 1, 1]), (Lead::II, [2, 2, 2]), (Lead::III, [9, 9, 9])]);
        let three = unfiltered(&all, &Lead::III, END).expect("recorded");
        assert_eq!((three.provenance, three.pieces[0].microvolts[0]), (Provenance::Recorded, 9.0));
    }

    #[test]
    fn a_lead_far_from_zero_is_moved_by_whole_tenths_of_a_millivolt() {
        let moved = |counts| unfiltered(&waveform(&[(Lead::V1, counts)]), &Lead::V1, END).map(|v| v.moved);
        assert_eq!(moved([500, 500, 9000]), Some(0.0));
        assert_eq!(moved([-1234, -1234, 0]), Some(-1200.0));
    }

    #[test]
    fn what_is_not_drawn_is_not_computed() {
        let all = waveform(&[(Lead::I, [1, 2, 3]), (Lead::II, [4, 5, 6])]);
        let end = Exact::ratio(1, 250).expect("two samples");
        for lead in [Lead::I, Lead::AVF] {
            assert_eq!(unfiltered(&all, &lead, end).expect("there").pieces[0].microvolts.len(), 2);
        }
    }

    #[test]
    fn a_filter_does_not_see_where_the_drawing_ends() {
        let count = |k: i32| (k * 37) % 601 - 300;
        let step = Step::new(Exact::whole(1000)).expect("not zero");
        let signal = Signal::new(Lead::II, step, (0..5_000).map(count).collect());
        let rate = Rate::new(Exact::whole(100)).expect("above zero");
        let waveform = Waveform::new(rate, vec![signal]).expect("one signal");
        let filters = DisplayFilters {
            high_pass_hz: Exact::ratio(1, 2).ok(),
            low_pass_hz: Some(40.into()),
            ..Default::default()
        };
        let values = |seconds: i64| {
            let voltages = Voltages::of(&[&waveform], &Lead::II, seconds.into(), &filters).expect("recorded");
            voltages.pieces[0].microvolts.clone()
        };
        let (part, whole) = (values(20), values(50));
        assert_eq!((part.len(), whole.len()), (2_000, 5_000));
        assert!(part.iter().zip(&whole).all(|(a, b)| (a - b).abs() < 0.01));
    }

    #[test]
    fn a_lead_says_when_it_was_recorded() {
        let mut voltages = unfiltered(&waveform(&[(Lead::I, [1, 2, 3])]), &Lead::I, END).expect("recorded");
        voltages.pieces[0].microvolts[0] = f64::NAN;
        let mut later = voltages.pieces[0].clone();
        later.start = Exact::whole(2);
        voltages.pieces.push(later);
        let at = |text: &str| -> Exact { text.parse().expect("a number") };
        assert_eq!(voltages.first_and_last(at("0"), at("10")), Some((at("0.002"), at("2.006"))));
        assert_eq!(voltages.first_and_last(at("0.003"), at("1")), Some((at("0.004"), at("0.006"))));
        assert_eq!(voltages.first_and_last(at("1"), at("2")), None);
        assert_eq!((voltages.present(at("0"), at("10")), voltages.present(at("1"), at("2.004"))), (4, 1));
    }

    #[test]
    fn a_moment_between_two_samples_belongs_to_the_later_one() {
        let piece = Piece {
            start: Exact::ZERO,
            rate: Rate::new(Exact::whole(360)).expect("above zero"),
            microvolts: vec![0.0; 1000],
        };
        let at = |text: &str| piece.sample_at(text.parse().expect("a number"));
        assert_eq!((at("0"), at("2.5"), at("1/720"), at("-1"), at("9")), (0, 900, 1, 0, 1000));
    }
}
