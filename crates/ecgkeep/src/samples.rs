//! Samples as CSV.

use std::io::{self, Write};

use ecgkeep_recording::{Signal, SignalUnit, Waveform};

/// Writes one waveform as CSV: a header `sample` and the lead names, then per line the sample number counted from
/// 0 and each lead's voltage in microvolts (signals in another unit in 10^-6 of it, uncalibrated ones as counts),
/// exact where the decimal is finite and has at most fifteen places, else rounded to 0.001; empty where missing.
/// Returns whether anything was rounded.
/// # Errors
/// Those of writing to `out`.
pub fn samples_csv(waveform: &Waveform, out: &mut dyn Write) -> io::Result<bool> {
    let columns: Vec<Microvolts> = waveform.signals().iter().map(Microvolts::of).collect();
    write_csv(waveform, out, |column, count, text| columns[column].put(count, text))?;
    Ok(columns.iter().any(|column| column.rounds))
}

/// The same with the stored integers in place of voltages.
/// # Errors
/// Those of writing to `out`.
pub fn counts_csv(waveform: &Waveform, out: &mut dyn Write) -> io::Result<()> {
    let mut digits = itoa::Buffer::new();
    write_csv(waveform, out, |_, count, text| text.extend_from_slice(digits.format(count).as_bytes()))
}

/// Bytes gathered before they are handed to the writer.
const CHUNK: usize = 64 * 1024;

fn write_csv(
    waveform: &Waveform,
    out: &mut dyn Write,
    mut put: impl FnMut(usize, i32, &mut Vec<u8>),
) -> io::Result<()> {
    let mut text = b"sample".to_vec();
    for signal in waveform.signals() {
        text.push(b',');
        text.extend_from_slice(heading(signal).as_bytes());
    }
    text.push(b'\n');
    let mut digits = itoa::Buffer::new();
    for sample in 0..waveform.length() {
        text.extend_from_slice(digits.format(sample).as_bytes());
        for (column, signal) in waveform.signals().iter().enumerate() {
            text.push(b',');
            if !signal.is_missing(sample) {
                put(column, signal.samples[sample], &mut text);
            }
        }
        text.push(b'\n');
        if text.len() > CHUNK {
            out.write_all(&text)?;
            text.clear();
        }
    }
    out.write_all(&text)
}

/// The column's heading.
fn heading(signal: &Signal) -> String {
    quoted(&match &signal.unit {
        SignalUnit::Volt => signal.lead.name(),
        other => format!("{} [{other}]", signal.lead),
    })
}

/// The text as one field, quoted as RFC 4180 section 2 asks where it holds a comma, a quote or a line break.
pub(crate) fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// The most decimal places a voltage is printed with.
const MOST_PLACES: u32 = 15;

/// How one signal's counts become decimal text: (count x step + offset) / divisor, in units of the last place.
struct Microvolts {
    step: i128,
    offset: i128,
    divisor: i128,
    places: u32,
    rounds: bool,
}

impl Microvolts {
    fn of(signal: &Signal) -> Microvolts {
        let (step, offset) = (signal.step.nanovolts(), signal.offset);
        // A nanovolt is 10^-3 of a microvolt, a count of an uncalibrated signal 10^9 units of its step.
        let thousandths = if signal.unit == SignalUnit::Uncalibrated { 1_000_000_000 } else { 1000 };
        let common =
            lcm(step.denominator(), offset.denominator()).and_then(|common| common.checked_mul(thousandths));
        let fits = |common: i128| {
            let step = step.numerator().checked_mul(common / thousandths / step.denominator())?;
            let offset = offset.numerator().checked_mul(common / thousandths / offset.denominator())?;
            let room = 10i128.pow(MOST_PLACES);
            step.checked_mul(room)?
                .checked_mul(i128::from(i32::MIN))?
                .checked_add(offset.checked_mul(room)?)?;
            Some((step, offset))
        };
        let Some((common, (step, offset))) = common.and_then(|common| Some((common, fits(common)?))) else {
            return Microvolts::nearest(signal, thousandths);
        };
        let exact =
            (0..=MOST_PLACES).find(|places| (10i128.pow(*places)) % reduced(common, step, offset) == 0);
        let places = exact.unwrap_or(3);
        let scale = 10i128.pow(places);
        Microvolts {
            step: step * scale,
            offset: offset * scale,
            divisor: common,
            places,
            rounds: exact.is_none(),
        }
    }

    /// Step and offset themselves rounded to 10^-15 of a unit, where the exact fraction leaves no room.
    #[expect(clippy::cast_possible_truncation, reason = "the value is rounded and said to be")]
    fn nearest(signal: &Signal, thousandths: i128) -> Microvolts {
        let fine = |value: f64| (value * 1e15) as i128;
        Microvolts {
            step: fine(signal.step.nanovolts().to_f64()) * 1000,
            offset: fine(signal.offset.to_f64()) * 1000,
            divisor: thousandths * 1_000_000_000_000_000,
            places: 3,
            rounds: true,
        }
    }

    fn put(&self, count: i32, text: &mut Vec<u8>) {
        let value = i128::from(count) * self.step + self.offset;
        let (whole, rest) = (value / self.divisor, (value % self.divisor).abs());
        // Half away from zero.
        let up = rest >= self.divisor - rest && rest != 0;
        let magnitude = whole.unsigned_abs() + u128::from(up);
        if value < 0 && magnitude != 0 {
            text.push(b'-');
        }
        let mut buffer = itoa::Buffer::new();
        let scale = 10u128.pow(self.places);
        text.extend_from_slice(buffer.format(magnitude / scale).as_bytes());
        let fraction = magnitude % scale;
        if fraction != 0 {
            text.push(b'.');
            let mut digit_scale = scale / 10;
            let mut rest = fraction;
            while rest != 0 {
                text.push(b'0' + u8::try_from(rest / digit_scale).unwrap_or(0));
                rest %= digit_scale;
                digit_scale = (digit_scale / 10).max(1);
            }
        }
    }
}

/// What is left of the divisor when the factors it shares with both step and offset are taken out.
fn reduced(divisor: i128, step: i128, offset: i128) -> i128 {
    divisor / gcd(divisor, gcd(step, offset)).max(1)
}

fn gcd(a: i128, b: i128) -> i128 {
    let (mut a, mut b) = (a.abs(), b.abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

fn lcm(a: i128, b: i128) -> Option<i128> {
    a.checked_mul(b / gcd(a, b))
}

#[cfg(test)]
mod tests {
    use ecgkeep_recording::{Exact, Lead, Rate, Span, Step};

    use super::*;

    fn csv(step: &str, offset: &str, samples: &[i32]) -> (String, bool) {
        let step = Step::new(step.parse().unwrap()).unwrap();
        let signal =
            Signal { offset: offset.parse().unwrap(), ..Signal::new(Lead::II, step, samples.to_vec()) };
        let waveform = Waveform::new(Rate::new(Exact::whole(500)).unwrap(), vec![signal]).unwrap();
        let mut out = Vec::new();
        let rounded = samples_csv(&waveform, &mut out).unwrap();
        (
            String::from_utf8(out)
                .unwrap()
                .lines()
                .skip(1)
                .map(|line| line.split_once(',').unwrap().1)
                .collect::<Vec<_>>()
                .join(" "),
            rounded,
        )
    }

    #[test]
    fn voltages_are_exact_where_the_decimal_is_finite() {
        assert_eq!(csv("5000", "0", &[-23, 0, 7]), ("-115 0 35".into(), false));
        assert_eq!(csv("62.4725", "0.5", &[1, -8]), ("0.0629725 -0.49928".into(), false));
        assert_eq!(csv("-2500", "0", &[3]), ("-7.5".into(), false));
    }

    #[test]
    fn a_voltage_without_a_finite_decimal_is_rounded_and_said_to_be() {
        // 10^6 / 1716 nV = 0.58275… uV
        assert_eq!(csv("1000000/1716", "0", &[1, -1, 1716, 0]), ("0.583 -0.583 1000 0".into(), true));
        let gain: Exact = "204.91803278688525".parse().unwrap();
        let step = Exact::whole(1_000_000).over(gain).unwrap().to_string();
        assert_eq!(csv(&step, "0", &[205]), ("1000.4".into(), true));
    }

    #[test]
    fn a_missing_sample_is_empty_and_counts_are_as_stored() {
        let signal = Signal::new(Lead::Other("a,b".into()), Step::default(), vec![1, 2])
            .with_missing(vec![Span { start: 1, end: 2 }]);
        let waveform = Waveform::new(Rate::new(Exact::whole(500)).unwrap(), vec![signal]).unwrap();
        let mut out = Vec::new();
        counts_csv(&waveform, &mut out).unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), "sample,\"a,b\"\n0,1\n1,\n");
    }
}
