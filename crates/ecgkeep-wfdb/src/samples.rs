//! The frames of a signal file: apart into signals, and together again (signal(5)).
//!
//! A frame holds, for each signal of the file in the order of the header, its samples of that frame; packing
//! runs on over frame borders.

use ecgkeep_recording::Span;

use crate::constants::Packing;
use crate::packing::{first_of_212, second_of_212};

/// Samples unpacked at a time: they stay in the processor's nearest cache.
const BLOCK: usize = 4096;
/// Every packing puts 1, 2 or 3 samples together, so a block of a multiple of 6 frames holds whole units.
const FRAMES_OF_WHOLE_UNITS: usize = 6;

/// One signal as a file holds it.
#[derive(Debug, Default)]
pub(crate) struct Stored {
    /// All samples, 0 where missing.
    pub(crate) samples: Vec<i32>,
    /// Where the invalid code stood.
    pub(crate) missing: Vec<Span>,
    /// The low 16 bits of the sum of all samples as stored, invalid codes included.
    pub(crate) sum: u16,
    /// The first sample as stored.
    pub(crate) first: Option<i32>,
}

/// Takes frames apart. `per_frame` has one entry per signal, the samples of it in a frame; `bytes` are at least
/// as many as `frames` frames take.
pub(crate) fn decode(bytes: &[u8], packing: &Packing, per_frame: &[usize], frames: usize) -> Vec<Stored> {
    if (packing.number, per_frame) == (212, &[1, 1]) {
        return decode_pairs(bytes, packing.invalid, frames);
    }
    let frame: usize = per_frame.iter().sum();
    let mut signals: Vec<Stored> = per_frame
        .iter()
        .map(|count| Stored { samples: Vec::with_capacity(count * frames), ..Stored::default() })
        .collect();
    let block_frames = block_frames(frame, frames);
    let mut block = vec![0; block_frames * frame];
    let mut done = 0;
    while done < frames {
        let count = block_frames.min(frames - done);
        let block = &mut block[..count * frame];
        packing.unpack(&bytes[done * frame / packing.unit.0 * packing.unit.1..], block);
        let mut offset = 0;
        for (signal, per_frame) in signals.iter_mut().zip(per_frame) {
            let before = signal.samples.len();
            take(&mut signal.samples, block, frame, offset, *per_frame);
            signal.account(before, packing.invalid);
            offset += per_frame;
        }
        done += count;
    }
    signals
}

/// Two signals in format 212, as the long records of ambulatory ECGs have them: each three bytes are a frame, so both
/// signals come straight from the bytes.
fn decode_pairs(bytes: &[u8], invalid: Option<i32>, frames: usize) -> Vec<Stored> {
    let signal = || Stored { samples: Vec::with_capacity(frames), ..Stored::default() };
    let (mut first, mut second) = (signal(), signal());
    for triplets in bytes.as_chunks::<3>().0[..frames].chunks(BLOCK) {
        let before = first.samples.len();
        first.samples.extend(triplets.iter().map(first_of_212));
        first.account(before, invalid);
        second.samples.extend(triplets.iter().map(second_of_212));
        second.account(before, invalid);
    }
    vec![first, second]
}

/// Frames in a block: as many as fit [`BLOCK`], whole units, or all.
fn block_frames(frame: usize, frames: usize) -> usize {
    let fitting = BLOCK / frame.max(1) / FRAMES_OF_WHOLE_UNITS * FRAMES_OF_WHOLE_UNITS;
    fitting.max(FRAMES_OF_WHOLE_UNITS).min(frames)
}

/// Appends one signal's samples of a block of frames. Two frame sizes are so common that the compiler is told of them.
fn take(samples: &mut Vec<i32>, block: &[i32], frame: usize, offset: usize, per_frame: usize) {
    if per_frame == frame {
        samples.extend_from_slice(block);
    } else if per_frame == 1 {
        match frame {
            2 => samples.extend(block.as_chunks::<2>().0.iter().map(|frame| frame[offset])),
            12 => samples.extend(block.as_chunks::<12>().0.iter().map(|frame| frame[offset])),
            _ => samples.extend(block.chunks_exact(frame).map(|frame| frame[offset])),
        }
    } else {
        for frame in block.chunks_exact(frame) {
            samples.extend_from_slice(&frame[offset..offset + per_frame]);
        }
    }
}

impl Stored {
    /// A signal of FLAC samples or of none, accounted for in one go.
    pub(crate) fn of(samples: Vec<i32>, invalid: Option<i32>) -> Stored {
        let mut stored = Stored { samples, ..Stored::default() };
        stored.account(0, invalid);
        stored
    }

    /// A signal that has no samples: all are missing.
    pub(crate) fn absent(length: usize) -> Stored {
        let missing = if length == 0 { Vec::new() } else { vec![Span { start: 0, end: length }] };
        Stored { samples: vec![0; length], missing, ..Stored::default() }
    }

    /// Format 8: turns differences into samples; `None` where one does not fit 32 bits.
    pub(crate) fn integrate(&mut self, start: i32) -> Option<()> {
        let mut value = start;
        for sample in &mut self.samples {
            value = value.checked_add(*sample)?;
            *sample = value;
        }
        self.sum = checksum(&self.samples);
        self.first = self.samples.first().copied();
        Some(())
    }

    /// Sums the samples from `before` on and turns invalid codes into missing samples.
    fn account(&mut self, before: usize, invalid: Option<i32>) {
        let fresh = &mut self.samples[before..];
        self.first = self.first.or(fresh.first().copied());
        self.sum = self.sum.wrapping_add(checksum(fresh));
        let Some(invalid) = invalid else { return };
        if !fresh.contains(&invalid) {
            return;
        }
        for (index, sample) in fresh.iter_mut().enumerate().filter(|(_, sample)| **sample == invalid) {
            *sample = 0;
            let at = before + index;
            match self.missing.last_mut() {
                Some(last) if last.end == at => last.end += 1,
                _ => self.missing.push(Span { start: at, end: at + 1 }),
            }
        }
    }

    /// Drops so many samples in front and marks as many missing at the end.
    pub(crate) fn shift(&mut self, by: usize) {
        let length = self.samples.len();
        let by = by.min(length);
        if by == 0 {
            return;
        }
        self.samples.copy_within(by.., 0);
        self.samples[length - by..].fill(0);
        let moved = self
            .missing
            .iter()
            .map(|span| Span { start: span.start.saturating_sub(by), end: span.end.saturating_sub(by) });
        let mut missing: Vec<Span> = moved.filter(|span| !span.is_empty()).collect();
        match missing.last_mut() {
            Some(last) if last.end == length - by => last.end = length,
            _ => missing.push(Span { start: length - by, end: length }),
        }
        self.missing = missing;
    }
}

/// The low 16 bits of the sum (header(5), checksum).
pub(crate) fn checksum(samples: &[i32]) -> u16 {
    let sum = samples.iter().fold(0i32, |sum, sample| sum.wrapping_add(*sample));
    let bytes = sum.to_le_bytes();
    u16::from_le_bytes([bytes[0], bytes[1]])
}

/// Puts frames together: the mirror of [`decode`]. Each signal has `per_frame` samples for each frame.
pub(crate) fn encode(signals: &[&[i32]], packing: &Packing, per_frame: &[usize], frames: usize) -> Vec<u8> {
    let frame: usize = per_frame.iter().sum();
    let total = packing.bytes_for((frame * frames) as u64).and_then(|bytes| usize::try_from(bytes).ok());
    let mut bytes = Vec::with_capacity(total.unwrap_or(0));
    let block_frames = block_frames(frame, frames);
    let mut block = vec![0; block_frames * frame];
    let mut done = 0;
    while done < frames {
        let count = block_frames.min(frames - done);
        let block = &mut block[..count * frame];
        let mut offset = 0;
        for (signal, per_frame) in signals.iter().zip(per_frame) {
            let samples = &signal[done * per_frame..(done + count) * per_frame];
            if *per_frame == 1 {
                let slots = block.chunks_exact_mut(frame);
                slots.zip(samples).for_each(|(frame, sample)| frame[offset] = *sample);
            } else {
                let slots = block.chunks_exact_mut(frame).map(|frame| &mut frame[offset..offset + per_frame]);
                slots
                    .zip(samples.chunks_exact(*per_frame))
                    .for_each(|(slot, samples)| slot.copy_from_slice(samples));
            }
            offset += per_frame;
        }
        packing.pack(block, &mut bytes);
        done += count;
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::constants::{F16, F212};

    #[test]
    fn a_frame_holds_each_signals_samples_in_header_order() {
        // signal(5): two samples of the first signal, then one of the second
        let bytes = [1, 0, 2, 0, 10, 0, 3, 0, 4, 0, 20, 0];
        let read = decode(&bytes, &F16, &[2, 1], 2);
        assert_eq!(read[0].samples, [1, 2, 3, 4]);
        assert_eq!(read[1].samples, [10, 20]);
        assert_eq!((read[0].sum, read[1].first), (10, Some(10)));
        assert_eq!(encode(&[&[1, 2, 3, 4], &[10, 20]], &F16, &[2, 1], 2), bytes);
    }

    #[test]
    fn packing_runs_on_over_frame_borders_and_blocks() {
        let signals: Vec<Vec<i32>> =
            (0..3).map(|k| (0..9_999).map(|i| (i * 7 + k * 11) % 4_095 - 2_047).collect()).collect();
        let slices: Vec<&[i32]> = signals.iter().map(Vec::as_slice).collect();
        let bytes = encode(&slices, &F212, &[1, 1, 1], 9_999);
        let read = decode(&bytes, &F212, &[1, 1, 1], 9_999);
        for (signal, read) in signals.iter().zip(&read) {
            assert_eq!(*signal, read.samples);
            assert_eq!(checksum(signal), read.sum);
        }
    }

    #[test]
    fn invalid_codes_are_missing_samples_and_count_in_the_checksum() {
        let read = decode(&[1, 0, 0, 0x80, 0, 0x80, 2, 0], &F16, &[1], 4);
        assert_eq!(read[0].samples, [1, 0, 0, 2]);
        assert_eq!(read[0].missing, [Span { start: 1, end: 3 }]);
        assert_eq!(read[0].sum, 3);
    }

    #[test]
    fn a_skewed_signal_loses_its_front_and_lacks_its_end() {
        let mut stored = decode(&[1, 0, 0, 0x80, 3, 0, 4, 0], &F16, &[1], 4).remove(0);
        stored.shift(1);
        assert_eq!(stored.samples, [0, 3, 4, 0]);
        assert_eq!(stored.missing, [Span { start: 0, end: 1 }, Span { start: 3, end: 4 }]);
        stored.shift(9);
        assert_eq!(stored.missing, [Span { start: 0, end: 4 }]);
    }
}
