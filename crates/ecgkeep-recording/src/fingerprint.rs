//! One name for a waveform, whatever format it came from.

use std::fmt;

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::{Exact, Recording, Signal};

/// SHA-256 over leads, rates and exact voltages. Two recordings have the same fingerprint if and only if (short
/// of a collision) they hold the same samples: same kinds, starts, rates, leads in the same order, the same
/// voltage or gap at each sample. Scale and offset of the stored counts do not matter.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Fingerprint([u8; 32]);

impl fmt::Display for Fingerprint {
    /// 64 lower-case hexadecimal digits.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Serialize for Fingerprint {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl Recording {
    /// The fingerprint of all waveforms.
    #[must_use]
    pub fn fingerprint(&self) -> Fingerprint {
        let mut hash = Sha256::new();
        hash.update(b"ecgkeep samples 1\n");
        for waveform in &self.waveforms {
            let (kind, start, rate) = (&waveform.kind, waveform.start, waveform.rate());
            hash.update(format!(
                "waveform {kind}\nstart {}\nrate {}\n",
                ratio(start),
                ratio(rate.per_second())
            ));
            hash.update(format!("samples {}\n", waveform.length()));
            for signal in waveform.signals() {
                hash_signal(&mut hash, signal);
            }
        }
        Fingerprint(hash.finalize().into())
    }
}

/// A signal is written as its first voltage, its coarsest step, and its counts over that step from the first
/// voltage: the same for every way of storing the same voltages.
fn hash_signal(hash: &mut Sha256, signal: &Signal) {
    hash.update(format!("lead {:?}\nunit {}\n", signal.lead.name(), signal.unit));
    for span in &signal.missing {
        hash.update(format!("missing {} {}\n", span.start, span.end));
    }
    let present: Vec<i64> = if signal.missing.is_empty() {
        signal.samples.iter().copied().map(i64::from).collect()
    } else {
        let all = signal.samples.iter().copied().map(i64::from).enumerate();
        all.filter(|(index, _)| !signal.is_missing(*index)).map(|(_, count)| count).collect()
    };
    let Some(&first) = present.first() else { return };
    let step = signal.step.nanovolts();
    let stride = common_stride(&present);
    let coarse = Exact::whole(if step.is_negative() { -stride } else { stride }).times(step);
    let base = Exact::whole(first).times(step).and_then(|value| value.plus(signal.offset));
    match (base, coarse) {
        (Some(base), Some(coarse)) => hash.update(format!("from {} step {}\n", ratio(base), ratio(coarse))),
        // Too long for one fraction: the stored form itself, so equal bytes still have equal fingerprints.
        _ => hash.update(format!("stored {} {} {first}\n", ratio(signal.offset), ratio(step))),
    }
    let sign = if step.is_negative() { -1 } else { 1 };
    let mut bytes = Vec::with_capacity(present.len() * 8);
    for count in present {
        let steps = if stride == 0 { 0 } else { (count - first) / stride * sign };
        bytes.extend_from_slice(&steps.to_le_bytes());
    }
    hash.update(&bytes);
}

/// The greatest number that divides every distance from the first count; 0 where all are equal.
fn common_stride(counts: &[i64]) -> i64 {
    let mut stride = 0i64;
    for count in counts {
        let mut rest = (count - counts[0]).abs();
        while rest != 0 {
            (stride, rest) = (rest, stride % rest);
        }
        if stride == 1 {
            break;
        }
    }
    stride
}

fn ratio(value: Exact) -> String {
    format!("{}/{}", value.numerator(), value.denominator())
}

#[cfg(test)]
mod tests {
    use crate::{Exact, Lead, Rate, Recording, Signal, Step, Waveform};

    fn fingerprint(step: i64, offset: i64, samples: Vec<i32>) -> String {
        let step = Step::new(Exact::whole(step)).unwrap();
        let signal = Signal { offset: Exact::whole(offset), ..Signal::new(Lead::V1, step, samples) };
        let waveform = Waveform::new(Rate::new(Exact::whole(250)).unwrap(), vec![signal]).unwrap();
        Recording { waveforms: vec![waveform], ..Recording::default() }.fingerprint().to_string()
    }

    #[test]
    fn the_way_of_storing_a_voltage_does_not_matter() {
        let one = fingerprint(1000, 0, vec![4, 6, -2]);
        assert_eq!(fingerprint(2000, 4000, vec![0, 1, -3]), one);
        assert_eq!(fingerprint(-500, 0, vec![-8, -12, 4]), one);
        assert_eq!(fingerprint(7, 4000, vec![0; 3]), fingerprint(1000, 0, vec![4; 3]));
    }

    #[test]
    fn another_voltage_gives_another_fingerprint() {
        let one = fingerprint(1000, 0, vec![4, 6, -2]);
        assert_ne!(fingerprint(1000, 1, vec![4, 6, -2]), one);
        assert_ne!(fingerprint(1001, 0, vec![4, 6, -2]), one);
        assert_ne!(fingerprint(1000, 0, vec![4, 6, -1]), one);
    }
}
