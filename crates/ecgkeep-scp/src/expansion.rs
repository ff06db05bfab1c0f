//! Undoing the high compression of older records: stretches stored at a lower rate are expanded, and the
//! reference beat is added back (5.7 to 5.9, annex C).

use crate::beats::{Beats, Complex};
use crate::constants::MOST_OVERLAP;
use crate::leads::LeadRow;

/// A stretch of one lead: so many samples at the full rate, each stored value standing for `factor` of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Stretch {
    samples: usize,
    factor: u32,
}

impl Stretch {
    fn stored(self) -> usize {
        self.samples.div_ceil(self.factor as usize)
    }
}

/// The stretches of a lead: full rate within the protected areas (sorted, disjoint), decimated outside.
pub(crate) fn stretches(row: &LeadRow, protected: &[(u32, u32)], factor: u32) -> Vec<Stretch> {
    let mut found = Vec::with_capacity(protected.len().min(row.samples()) * 2 + 1);
    let mut next = u64::from(row.first);
    let end = u64::from(row.last) + 1;
    let mut push = |from: u64, to: u64, factor| {
        let samples = usize::try_from(to.saturating_sub(from)).unwrap_or(0);
        if samples > 0 {
            found.push(Stretch { samples, factor });
        }
    };
    for (first, last) in protected {
        let (from, to) = (u64::from(*first).clamp(next, end), (u64::from(*last) + 1).clamp(next, end));
        push(next, from, factor);
        push(from, to, 1);
        next = to.max(from);
    }
    push(next, end, factor);
    found
}

/// The protected areas in order, overlapping ones joined; the flag says whether anything had to be done.
pub(crate) fn in_order(areas: &[(u32, u32)]) -> (Vec<(u32, u32)>, bool) {
    let mut sorted: Vec<(u32, u32)> = areas.iter().copied().filter(|area| area.0 <= area.1).collect();
    sorted.sort_unstable();
    let mut joined: Vec<(u32, u32)> = Vec::with_capacity(sorted.len());
    for area in sorted {
        match joined.last_mut() {
            Some(last) if area.0 <= last.1 => last.1 = last.1.max(area.1),
            _ => joined.push(area),
        }
    }
    let changed = joined != areas;
    (joined, changed)
}

/// The values that the stretches store.
pub(crate) fn stored(stretches: &[Stretch]) -> usize {
    stretches.iter().map(|stretch| stretch.stored()).sum()
}

/// Expands stored values to the full rate: each stands unchanged for all samples it was stored for. Where values
/// are missing at the end, the samples end early.
pub(crate) fn expand(stretches: &[Stretch], values: &[i32]) -> Vec<i32> {
    let mut values = values.iter();
    let mut samples = Vec::new();
    for stretch in stretches {
        let mut left = stretch.samples;
        while left > 0 {
            let Some(value) = values.next() else { return samples };
            let held = left.min(stretch.factor as usize);
            samples.resize(samples.len() + held, *value);
            left -= held;
        }
    }
    samples
}

/// The reference beat of one lead in the units of the result, and the sample of it, counted from 1, that falls
/// on the reference point of a complex.
pub(crate) struct ReferenceBeat<'a> {
    /// Samples at the full rate.
    pub(crate) samples: &'a [i64],
    /// Counted from 1.
    pub(crate) fiducial: u16,
}

/// Adds the reference beat to the samples of a lead, wherever it was subtracted.
pub(crate) fn add_beats(samples: &mut [i64], row: &LeadRow, complexes: &[Complex], beat: &ReferenceBeat) {
    for complex in complexes {
        let Some((from, to)) = zone(row, complex, beat) else { continue };
        for number in from..=to {
            let in_beat = number - i64::from(complex.fiducial) + i64::from(beat.fiducial) - 1;
            let at = number - i64::from(row.first);
            let place = usize::try_from(at).ok().and_then(|at| samples.get_mut(at));
            let added = usize::try_from(in_beat).ok().and_then(|index| beat.samples.get(index));
            if let (Some(sample), Some(added)) = (place, added) {
                *sample += added;
            }
        }
    }
}

/// Whether the zones cover a lead more often than any honest record would make them.
pub(crate) fn overlaps_too_much(row: &LeadRow, beats: &Beats, beat: &ReferenceBeat) -> bool {
    let zones = beats.complexes.iter().filter_map(|complex| zone(row, complex, beat));
    let covered: u64 = zones.map(|(from, to)| from.abs_diff(to) + 1).sum();
    covered > MOST_OVERLAP * row.samples() as u64
}

/// The samples of the lead, by number, to which the beat is added: the part of the zone that lies in the lead
/// and for which the beat has a sample.
fn zone(row: &LeadRow, complex: &Complex, beat: &ReferenceBeat) -> Option<(i64, i64)> {
    if complex.kind != 0 || complex.begin == 0 {
        return None;
    }
    let first_of_beat = i64::from(complex.fiducial) - i64::from(beat.fiducial) + 1;
    let last_of_beat = first_of_beat + i64::try_from(beat.samples.len()).ok()? - 1;
    let from = i64::from(complex.begin).max(row.first.into()).max(first_of_beat);
    let to = i64::from(complex.end).min(row.last.into()).min(last_of_beat);
    (from <= to).then_some((from, to))
}

#[cfg(test)]
mod tests {
    use super::*;
    use ecgkeep_recording::Lead;

    fn row(first: u32, last: u32) -> LeadRow {
        LeadRow { lead: Lead::I, first, last }
    }

    #[test]
    fn stored_values_stand_for_their_samples() {
        let parts = stretches(&row(1, 12), &[(6, 8)], 4);
        assert_eq!(stored(&parts), 2 + 3 + 1);
        assert_eq!(expand(&parts, &[1, 2, 3, 4, 5, 6]), [1, 1, 1, 1, 2, 3, 4, 5, 6, 6, 6, 6]);
        assert_eq!(expand(&parts, &[1, 2, 3]), [1, 1, 1, 1, 2, 3]);
        // areas outside the lead, and a lead that begins within one
        let parts = stretches(&row(7, 12), &[(1, 2), (6, 8), (30, 40)], 4);
        assert_eq!(stored(&parts), 2 + 1);
    }

    #[test]
    fn areas_are_sorted_and_joined() {
        assert_eq!(in_order(&[(1, 4), (9, 12)]), (vec![(1, 4), (9, 12)], false));
        assert_eq!(in_order(&[(9, 12), (1, 4), (3, 6), (8, 7)]), (vec![(1, 6), (9, 12)], true));
    }

    #[test]
    fn the_beat_is_added_where_it_was_subtracted_and_nowhere_else() {
        let beat = ReferenceBeat { samples: &[10, 20, 30], fiducial: 2 };
        let complexes = [
            Complex { kind: 0, begin: 3, fiducial: 4, end: 5 },
            // the zone is wider than the beat, and reaches out of the lead
            Complex { kind: 0, begin: 7, fiducial: 10, end: 99 },
            Complex { kind: 1, begin: 1, fiducial: 2, end: 3 },
            Complex { kind: 0, begin: 0, fiducial: 2, end: 0 },
        ];
        let mut samples = [0; 10];
        add_beats(&mut samples, &row(1, 10), &complexes, &beat);
        assert_eq!(samples, [0, 0, 10, 20, 30, 0, 0, 0, 10, 20]);
    }
}
