//! From exact voltages to 16-bit counts of one whole number of nanovolts (5.8, 5.9: the amplitude value
//! multiplier).

use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::{Exact, Signal};

use crate::constants::clause;

/// The largest amplitude of one unit, in nanovolts: the field has 16 bits.
const MOST_NANOVOLTS: u64 = 65_535;

/// The counts of several leads at one scale.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Scaled {
    /// Nanovolts per unit, at least 1.
    pub(crate) step_nv: u16,
    /// One entry per signal; missing samples are 0, that is, 0 V.
    pub(crate) leads: Vec<Vec<i16>>,
}

/// Brings voltage signals to one scale: exactly where a whole number of nanovolts does, else rounded once, to
/// nearest, at the smallest whole number of nanovolts at which every sample fits 16 bits.
/// # Errors
/// [`Kind::Refused`] where a voltage exceeds 2.147 V or is too long a fraction.
pub(crate) fn scale(signals: &[&Signal]) -> Result<Scaled> {
    if let Some(scaled) = shared_step(signals) {
        return Ok(scaled);
    }
    let refused = |what: &str| {
        let remedy = "keep the recording in its own format, or in one with wider samples";
        Error::new(Kind::Refused, what)
            .at(Place::default().part("samples"))
            .clause(clause::RHYTHM)
            .remedy(remedy)
    };
    let leads: Option<Vec<Fractions>> = signals.iter().map(|signal| Fractions::of(signal)).collect();
    let leads = leads.ok_or_else(|| refused("the voltages are fractions too long to be compared"))?;
    if let Some(scaled) = divisor_of_voltages(&leads) {
        return Ok(scaled);
    }
    let largest = leads.iter().map(Fractions::largest_nanovolts).max().unwrap_or(0);
    let start = u64::try_from(largest / 32_769).unwrap_or(u64::MAX).max(1);
    let scaled = (start..=MOST_NANOVOLTS.min(start.saturating_add(8))).find_map(|step| rounded(&leads, step));
    scaled
        .ok_or_else(|| refused(&format!("voltages up to {largest} nV do not fit 16-bit samples of SCP-ECG")))
}

/// The common divisor of steps and offsets: exact, and near to the resolution of the source.
fn shared_step(signals: &[&Signal]) -> Option<Scaled> {
    let mut shared = 0;
    for signal in signals {
        for part in [signal.step.nanovolts().to_whole()?, signal.offset.to_whole()?] {
            shared = gcd(shared, part.unsigned_abs());
        }
    }
    let step_nv = u16::try_from(shared).ok().filter(|step| *step > 0)?;
    let leads: Option<Vec<Vec<i16>>> =
        signals.iter().map(|signal| counts(signal, i64::from(step_nv))).collect();
    Some(Scaled { step_nv, leads: leads? })
}

fn counts(signal: &Signal, step_nv: i64) -> Option<Vec<i16>> {
    let factor = signal.step.nanovolts().to_whole()? / step_nv;
    let offset = signal.offset.to_whole()? / step_nv;
    let count = |sample: &i32| {
        let count = i64::from(*sample).checked_mul(factor)?.checked_add(offset)?;
        i16::try_from(count).ok()
    };
    let mut counts = Vec::with_capacity(signal.samples.len());
    let mut next = 0;
    for gap in &signal.missing {
        for sample in &signal.samples[next..gap.start] {
            counts.push(count(sample)?);
        }
        counts.resize(gap.end, 0);
        next = gap.end;
    }
    for sample in &signal.samples[next..] {
        counts.push(count(sample)?);
    }
    Some(counts)
}

/// The voltages of a lead as fractions of one denominator.
struct Fractions {
    /// `None` for a missing sample.
    numerators: Vec<Option<i128>>,
    denominator: i128,
}

impl Fractions {
    fn of(signal: &Signal) -> Option<Fractions> {
        let (step, offset) = (signal.step.nanovolts(), signal.offset);
        let shared = Exact::ratio(step.denominator(), offset.denominator()).ok()?;
        let denominator = step.denominator().checked_mul(shared.denominator())?;
        // room for a rescaling by 16 bits and the rounding
        denominator.checked_mul(1 << 20)?;
        let whole = |part: Exact| part.numerator().checked_mul(denominator / part.denominator());
        let (step, offset) = (whole(step)?, whole(offset)?);
        let numerator = |(index, sample): (usize, &i32)| {
            if signal.is_missing(index) {
                return Some(None);
            }
            let numerator = step.checked_mul(i128::from(*sample))?.checked_add(offset)?;
            numerator.checked_mul(4)?;
            Some(Some(numerator))
        };
        let numerators = signal.samples.iter().enumerate().map(numerator).collect::<Option<_>>()?;
        Some(Fractions { numerators, denominator })
    }

    fn largest_nanovolts(&self) -> u128 {
        let largest = self.numerators.iter().flatten().map(|numerator| numerator.unsigned_abs()).max();
        largest.unwrap_or(0).div_ceil(self.denominator.unsigned_abs())
    }
}

/// The largest divisor of all voltages, where they are whole nanovolts and it makes them fit.
fn divisor_of_voltages(leads: &[Fractions]) -> Option<Scaled> {
    let mut shared: u128 = 0;
    for lead in leads {
        for numerator in lead.numerators.iter().flatten() {
            if numerator % lead.denominator != 0 {
                return None;
            }
            shared = gcd_wide(shared, (numerator / lead.denominator).unsigned_abs());
        }
    }
    let step = (1..=MOST_NANOVOLTS).rev().find(|step| shared.is_multiple_of(u128::from(*step)))?;
    rounded(leads, if shared == 0 { 1 } else { step })
}

/// Every voltage as the nearest multiple of a step, halves away from zero; `None` where one does not fit 16 bits.
fn rounded(leads: &[Fractions], step: u64) -> Option<Scaled> {
    let step_nv = u16::try_from(step).ok()?;
    let lead = |lead: &Fractions| -> Option<Vec<i16>> {
        let divisor = lead.denominator.checked_mul(i128::from(step))?;
        let count = |numerator: &Option<i128>| {
            let Some(numerator) = numerator else { return Some(0) };
            let (whole, rest) = (numerator / divisor, (numerator % divisor).abs());
            let up = if rest * 2 >= divisor { numerator.signum() } else { 0 };
            i16::try_from(whole + up).ok()
        };
        lead.numerators.iter().map(count).collect()
    };
    Some(Scaled { step_nv, leads: leads.iter().map(lead).collect::<Option<_>>()? })
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

fn gcd_wide(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;
    use ecgkeep_recording::{Lead, Span, Step};

    fn signal(step: &str, offset: &str, samples: &[i32]) -> Signal {
        let step = Step::new(step.parse().expect("a number")).expect("not zero");
        Signal { offset: offset.parse().expect("a number"), ..Signal::new(Lead::I, step, samples.to_vec()) }
    }

    fn scaled(signals: &[Signal]) -> (u16, Vec<Vec<i16>>) {
        let scaled = scale(&signals.iter().collect::<Vec<_>>()).expect("the signals fit");
        (scaled.step_nv, scaled.leads)
    }

    #[test]
    fn leads_share_the_divisor_of_their_steps_and_offsets() {
        assert_eq!(scaled(&[signal("5000", "0", &[1, -2])]), (5000, vec![vec![1, -2]]));
        let two = [signal("2500", "0", &[1, 2]), signal("1000", "500", &[3, 4])];
        assert_eq!(scaled(&two), (500, vec![vec![5, 10], vec![7, 9]]));
        assert_eq!(scaled(&[signal("-1000", "0", &[5])]), (1000, vec![vec![-5]]));
    }

    #[test]
    fn voltages_that_share_a_divisor_are_exact_where_steps_do_not() {
        // a step of half a nanovolt, every sample even
        assert_eq!(scaled(&[signal("0.5", "0", &[2000, -4000])]), (1000, vec![vec![1, -2]]));
        // a step of 1 nV would not fit 16 bits, the voltages are multiples of 62500 nV
        assert_eq!(scaled(&[signal("1", "0", &[2_000_000, 3_000_000])]), (62_500, vec![vec![32, 48]]));
        assert_eq!(scaled(&[signal("0.5", "0", &[0, 0])]), (1, vec![vec![0, 0]]));
    }

    #[test]
    fn other_voltages_are_rounded_once_at_the_smallest_step_that_fits() {
        let (step, leads) = scaled(&[signal("1000000/1716", "0", &[1716, -1716, 1])]);
        assert_eq!(step, 31); // 1 mV / 31 nV = 32258; at 30 nV it would be 33333
        assert_eq!(leads, [[32_258, -32_258, 19]]); // 582.75 nV / 31 nV = 18.798
        let halves = [signal("0.5", "0", &[65_533, -65_536])];
        assert_eq!(scaled(&halves), (1, vec![vec![32_767, -32_768]]));
    }

    #[test]
    fn what_fits_no_step_is_refused_and_missing_samples_are_zero_volts() {
        let error = scale(&[&signal("1000000000", "0", &[3])]).expect_err("3 V are too much");
        assert_eq!(error.kind(), Kind::Refused);
        let gap = vec![Span { start: 1, end: 2 }];
        assert_eq!(scaled(&[signal("1000", "3000", &[1, 9, 2]).with_missing(gap.clone())]).1, [[4, 0, 5]]);
        assert_eq!(scaled(&[signal("1.5", "3", &[1, 9, 2]).with_missing(gap)]).1[0][1], 0);
    }
}
