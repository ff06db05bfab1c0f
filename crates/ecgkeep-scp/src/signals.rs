//! Sections 5 and 6: the samples of the reference beat and of the rhythm, lead after lead (5.8, 5.9).

use ecgkeep_format::Weight;

use crate::constants::SIGNAL_HEADER_BYTES;
use crate::huffman::{self, Decoded, Tables};
use crate::reading::{Reading, Section};

/// The bytes that one lead may take: its length has 16 bits.
const MOST_LEAD_BYTES: u64 = 65_535;

/// Section 5 or 6, its samples still coded.
pub(crate) struct Signals<'a> {
    /// Nanovolts per unit; 0 where the record gives no scale.
    pub(crate) step_nv: u16,
    /// Microseconds from one stored sample to the next, never 0.
    pub(crate) interval_us: u16,
    /// Whether stretches outside the protected areas are decimated.
    pub(crate) is_bimodal: bool,
    order: u8,
    /// One entry per lead, in the order of section 3.
    pub(crate) leads: Vec<LeadBytes<'a>>,
}

/// The coded samples of one lead.
#[derive(Clone, Copy)]
pub(crate) struct LeadBytes<'a> {
    /// The byte of the file at which they begin.
    pub(crate) at: usize,
    /// The bytes that are there.
    pub(crate) bytes: &'a [u8],
    /// The bytes that should be there.
    pub(crate) stated: usize,
}

/// Reads the head of section 5 or 6 and finds the bytes of each lead. `None`, with a note, where the samples
/// cannot be placed in time.
pub(crate) fn read_signals<'a>(
    reading: &mut Reading<'a>,
    section: &Section<'a>,
    lead_count: usize,
) -> Option<Signals<'a>> {
    let mut cursor = reading.cursor(section);
    let mut head =
        || Ok::<_, ecgkeep_format::Error>((cursor.u16()?, cursor.u16()?, cursor.u8()?, cursor.u8()?));
    let Ok((step_nv, interval_us, order, bimodal)) = head() else {
        reading.note(Weight::Damage, section.number, section.start, "too short to hold samples");
        return None;
    };
    let at = section.body_start();
    if interval_us == 0 {
        reading.note(
            Weight::Damage,
            section.number,
            at + 2,
            "the sampling interval is 0: the samples are not read",
        );
        return None;
    }
    if order > 2 {
        let text = format!("difference encoding {order} is none of 0, 1, 2: the samples are not read");
        reading.note(Weight::Damage, section.number, at + 4, text);
        return None;
    }
    if step_nv == 0 {
        let text = "the amplitude of one unit is 0: the scale is not known, and none is supposed";
        reading.note(Weight::Departure, section.number, at, text);
    }
    let mut lengths = Vec::with_capacity(lead_count);
    for _ in 0..lead_count {
        lengths.push(usize::from(cursor.u16().unwrap_or(0)));
    }
    let data_at = at + SIGNAL_HEADER_BYTES + lead_count * 2;
    let data = section.body.get(SIGNAL_HEADER_BYTES + lead_count * 2..).unwrap_or_default();
    let mut leads = Vec::with_capacity(lead_count);
    let mut start = 0usize;
    for stated in lengths {
        let end = start + stated;
        let bytes = &data[start.min(data.len())..end.min(data.len())];
        leads.push(LeadBytes { at: data_at + start.min(data.len()), bytes, stated });
        start = end;
    }
    let is_bimodal = section.number == 6 && bimodal != 0;
    Some(Signals { step_nv, interval_us, is_bimodal, order, leads })
}

impl<'a> Signals<'a> {
    /// Where the lengths of raw leads turn out to count samples, as some writers have it, finds the bytes anew.
    /// `stored` holds the samples of each lead; the flag says whether anything changed.
    pub(crate) fn count_samples_instead_of_bytes(&mut self, body: &'a [u8], stored: &[usize]) -> bool {
        let data = body.get(SIGNAL_HEADER_BYTES + self.leads.len() * 2..).unwrap_or_default();
        let samples: usize = self.leads.iter().map(|lead| lead.stated).sum();
        let counts_samples = self.leads.iter().zip(stored).all(|(lead, stored)| lead.stated == *stored);
        if samples == 0 || data.len() != samples * 2 || !counts_samples {
            return false;
        }
        let (mut start, at) = (0, self.leads[0].at);
        for lead in &mut self.leads {
            let stated = lead.stated * 2;
            *lead = LeadBytes { at: at + start, bytes: &data[start..start + stated], stated };
            start += stated;
        }
        true
    }

    /// Decodes up to `count` samples of one lead: the entropy code, then the differences.
    pub(crate) fn decode(&self, lead: usize, tables: Option<&Tables>, count: usize) -> Decoded {
        let LeadBytes { bytes, stated, .. } = self.leads[lead];
        let mut decoded = match tables {
            Some(tables) => tables.decode(bytes, count),
            // codes without their tables would pass for samples; one byte may fill to an even length
            None if stated != count * 2 && stated != count * 2 + 1 => {
                Decoded::stopped(Vec::new(), "its bytes do not fit its number of plain samples")
            }
            None => raw(bytes, count),
        };
        if let Some(good) = undo_differences(self.order, &mut decoded.values) {
            decoded.values.truncate(good);
            decoded.stop = Some("a sample has more than 32 bits");
        }
        decoded
    }
}

fn raw(bytes: &[u8], count: usize) -> Decoded {
    let pairs = bytes.chunks_exact(2).take(count);
    let values: Vec<i32> = pairs.map(|pair| i16::from_le_bytes([pair[0], pair[1]]).into()).collect();
    let stop = (values.len() < count).then_some("the data ends before the last sample");
    Decoded { values, stop, bits_left: 0 }
}

/// Turns differences into samples in place; the number of good ones where a sample exceeds 32 bits.
fn undo_differences(order: u8, values: &mut [i32]) -> Option<usize> {
    let (mut before, mut last) = (0i64, 0i64);
    for (index, value) in values.iter_mut().enumerate() {
        let sample = match order {
            1 => i64::from(*value) + last,
            // the second value is a sample, no difference
            2 if index > 1 => i64::from(*value) + 2 * last - before,
            _ => i64::from(*value),
        };
        match i32::try_from(sample) {
            Ok(sample) => *value = sample,
            Err(_) => return Some(index),
        }
        (before, last) = (last, sample);
    }
    None
}

fn differences(order: u8, samples: &[i16]) -> Vec<i32> {
    let wide = |sample: &i16| i32::from(*sample);
    let kept = samples.iter().take(usize::from(order)).map(wide);
    match order {
        0 => samples.iter().map(wide).collect(),
        1 => kept.chain(samples.windows(2).map(|w| wide(&w[1]) - wide(&w[0]))).collect(),
        _ => kept.chain(samples.windows(3).map(|w| wide(&w[2]) - 2 * wide(&w[1]) + wide(&w[0]))).collect(),
    }
}

/// How samples are coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Coding {
    /// Difference encoding: 0, 1 or 2.
    pub(crate) order: u8,
    /// Whether the default Huffman table is used, or plain 16-bit numbers.
    pub(crate) is_huffman: bool,
    /// Bytes of all leads together.
    pub(crate) bytes: u64,
}

/// The plain coding; `None` where a lead is longer than its length field can say.
pub(crate) fn raw_coding(leads: &[Vec<i16>]) -> Option<Coding> {
    let lengths = leads.iter().map(|samples| samples.len() as u64 * 2);
    let bytes = lengths.clone().sum();
    lengths.max().is_none_or(|most| most <= MOST_LEAD_BYTES).then_some(Coding {
        order: 0,
        is_huffman: false,
        bytes,
    })
}

/// The Huffman coding with the differences that make all leads together the smallest; `None` where none fits.
pub(crate) fn best_huffman_coding(leads: &[Vec<i16>]) -> Option<Coding> {
    let coding = |order| {
        let mut bytes = 0;
        for samples in leads {
            let own = cost_bits(order, samples)?.div_ceil(8);
            bytes += own;
            if own > MOST_LEAD_BYTES {
                return None;
            }
        }
        Some(Coding { order, is_huffman: true, bytes })
    };
    [2, 1, 0].into_iter().filter_map(coding).min_by_key(|coding| coding.bytes)
}

/// `None` where a difference has more than 16 bits.
fn cost_bits(order: u8, samples: &[i16]) -> Option<u64> {
    differences(order, samples).into_iter().map(|value| huffman::default_cost(value).map(u64::from)).sum()
}

/// The body of section 5 or 6. The coding must be one that was found for these leads.
pub(crate) fn write_signals(step_nv: u16, interval_us: u16, coding: Coding, leads: &[Vec<i16>]) -> Vec<u8> {
    let mut body = Vec::with_capacity(SIGNAL_HEADER_BYTES + leads.len() * 2);
    body.extend(step_nv.to_le_bytes());
    body.extend(interval_us.to_le_bytes());
    body.extend([coding.order, 0]);
    let coded: Vec<Vec<u8>> = leads.iter().map(|samples| write_lead(coding, samples)).collect();
    for lead in &coded {
        let length = u16::try_from(lead.len()).expect("the coding was found to fit each lead's length field");
        body.extend(length.to_le_bytes());
    }
    for lead in &coded {
        body.extend(lead);
    }
    body
}

fn write_lead(coding: Coding, samples: &[i16]) -> Vec<u8> {
    let values = differences(coding.order, samples);
    if coding.is_huffman {
        huffman::encode_default(&values, samples.len() as u64 * 8)
    } else {
        samples.iter().flat_map(|sample| sample.to_le_bytes()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rhythm_section_of_the_worked_record_is_written() {
        let leads = [vec![3, 4, 6, 5, 5, -20], vec![0, 0, 1, 200, 199, 198]];
        let body = write_signals(1000, 2000, Coding { order: 2, is_huffman: true, bytes: 13 }, &leads);
        let expected = [
            0xe8, 0x03, 0xd0, 0x07, 2, 0, 5, 0, 8, 0, 0xe7, 0x93, 0xb3, 0xfe, 0xe7, 0x27, 0xfe, 0x01, 0x8d,
            0xff, 0xff, 0x9c, 0,
        ];
        assert_eq!(body, expected);
    }

    #[test]
    fn differences_are_undone_for_every_order() {
        let samples: Vec<i16> = vec![i16::MIN, i16::MAX, 0, 5, -7, 7, i16::MAX, i16::MIN];
        for order in 0..=2 {
            for length in 0..=samples.len() {
                let mut values = differences(order, &samples[..length]);
                assert_eq!(undo_differences(order, &mut values), None);
                assert_eq!(
                    values,
                    samples[..length].iter().map(|sample| i32::from(*sample)).collect::<Vec<_>>()
                );
            }
        }
        assert_eq!(undo_differences(1, &mut [i32::MAX, 1]), Some(1));
    }

    #[test]
    fn the_coding_found_is_the_smallest_that_fits() {
        let ramp: Vec<i16> = (0..1000).map(|index| index * 20).collect();
        let coding = best_huffman_coding(&[ramp]).unwrap();
        assert_eq!((coding.order, coding.bytes), (2, (1u64 + 18 + 998).div_ceil(8)));
        // second differences of full-scale steps exceed 16 bits, the samples do not
        let steps: Vec<i16> =
            (0..100).map(|index| if index % 2 == 0 { i16::MIN } else { i16::MAX }).collect();
        assert_eq!(best_huffman_coding(&[steps]).unwrap().order, 0);
        assert!(raw_coding(&[vec![0; 32_768]]).is_none());
        assert!(raw_coding(&[vec![0; 32_767]]).is_some());
    }
}
