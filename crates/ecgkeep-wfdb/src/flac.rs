//! Signal files that are FLAC streams (storage formats 508, 516, 524): one channel per signal.
//!
//! Sample = FLAC value, without a shift; the stream's sampling rate is a placeholder. Facts from the public WFDB
//! specification and PyPI wfdb 4.3.1; the stream itself is RFC 9639.

use std::io::ErrorKind;

use claxon::FlacReader;
use ecgkeep_format::{Error, Kind, Note, Place, Result, Weight};
use md5::{Digest, Md5};

use crate::constants::{FLAC_BITS, FLAC_FRAME, SIGNAL_FILE};
use crate::line::CORRECT_IT;

const NOT_WHOLE: &str = "get the whole file again";

/// A FLAC stream and what is wanted of it.
pub(crate) struct Wanted<'a> {
    /// The file's name, for errors.
    pub(crate) file: &'a str,
    /// The whole file.
    pub(crate) bytes: &'a [u8],
    /// Bits a sample may have at most.
    pub(crate) bits: u32,
    /// Signals, each a channel.
    pub(crate) channels: usize,
    /// The most samples that may be read of all channels together.
    pub(crate) limit: u64,
}

/// Samples of each channel that the stream states; `None` where it does not say.
pub(crate) fn length(wanted: &Wanted) -> Result<Option<u64>> {
    Ok(open(wanted)?.streaminfo().samples)
}

/// The first `count` samples of each channel.
/// # Errors
/// [`Kind::Malformed`] where the stream is none, has other channels or wider samples, or a frame is damaged;
/// [`Kind::Truncated`] where it ends before; [`Kind::Limit`].
pub(crate) fn decode(wanted: &Wanted, count: usize, notes: &mut Vec<Note>) -> Result<Vec<Vec<i32>>> {
    let mut reader = open(wanted)?;
    let info = reader.streaminfo();
    let most = (wanted.bytes.len() as u64 / FLAC_FRAME.1).saturating_mul(FLAC_FRAME.0);
    let most = info.samples.map_or(most, |stated| most.min(stated));
    if count as u64 > most {
        let text = format!("holds at most {most} samples a channel, {count} are needed");
        return Err(wanted.error(Kind::Truncated, text).remedy(NOT_WHOLE));
    }
    let mut channels: Vec<Vec<i32>> = (0..wanted.channels).map(|_| Vec::with_capacity(count)).collect();
    let is_summed = info.md5sum != [0; 16];
    let mut sum =
        Sum { hash: Md5::new(), width: info.bits_per_sample.div_ceil(8) as usize, bytes: Vec::new() };
    let mut frames = reader.blocks();
    let (mut buffer, mut read) = (Vec::new(), 0u64);
    while let Some(block) = frames.read_next_or_eof(buffer).map_err(|error| wanted.failed(error))? {
        if block.channels() as usize != wanted.channels {
            let text = format!("a frame has {} channels, the stream {}", block.channels(), wanted.channels);
            return Err(wanted.error(Kind::Malformed, text));
        }
        read += u64::from(block.duration());
        if read.saturating_mul(wanted.channels as u64) > wanted.limit {
            let text = format!("expands to more than the limit of {} samples", wanted.limit);
            return Err(wanted.error(Kind::Limit, text));
        }
        for (samples, channel) in channels.iter_mut().zip(0..) {
            let room = count - samples.len();
            let fresh = block.channel(channel);
            samples.extend_from_slice(&fresh[..fresh.len().min(room)]);
        }
        if is_summed {
            sum.add(&block);
        }
        buffer = block.into_buffer();
    }
    if read < count as u64 || info.samples.is_some_and(|stated| stated > read) {
        let text = format!(
            "ends after {read} samples a channel, {} are stated",
            info.samples.unwrap_or(count as u64)
        );
        return Err(wanted.error(Kind::Truncated, text).remedy(NOT_WHOLE));
    }
    if is_summed && sum.hash.finalize()[..] != info.md5sum {
        let text = "the MD5 of the FLAC stream does not match its samples";
        let note = Note::new(Weight::Damage, Place::file(wanted.file), text);
        notes.push(Note { clause: Some("RFC 9639, 8.2"), ..note });
    }
    Ok(channels)
}

fn open<'a>(wanted: &Wanted<'a>) -> Result<FlacReader<&'a [u8]>> {
    if !wanted.bytes.starts_with(b"fLaC") {
        let text = "does not begin as a FLAC stream does";
        return Err(wanted.error(Kind::Malformed, text.to_owned()).remedy(NOT_WHOLE));
    }
    let reader = FlacReader::new(wanted.bytes).map_err(|error| wanted.failed(error))?;
    let info = reader.streaminfo();
    if info.channels as usize != wanted.channels {
        let text = format!("the FLAC stream has {} channels for {} signals", info.channels, wanted.channels);
        return Err(wanted.error(Kind::Malformed, text).remedy(CORRECT_IT));
    }
    if info.bits_per_sample > wanted.bits || !FLAC_BITS.contains(&info.bits_per_sample) {
        let text =
            format!("the FLAC stream has {} bits a sample, its format {}", info.bits_per_sample, wanted.bits);
        return Err(wanted.error(Kind::Malformed, text).remedy(CORRECT_IT));
    }
    Ok(reader)
}

impl Wanted<'_> {
    fn error(&self, kind: Kind, what: String) -> Error {
        Error::new(kind, what).at(Place::file(self.file)).clause(SIGNAL_FILE)
    }

    fn failed(&self, error: claxon::Error) -> Error {
        let kind = match &error {
            claxon::Error::IoError(io) if io.kind() == ErrorKind::UnexpectedEof => Kind::Truncated,
            claxon::Error::Unsupported(_) => Kind::Unsupported,
            _ => Kind::Malformed,
        };
        self.error(kind, "the FLAC stream cannot be read".to_owned()).because(error).remedy(NOT_WHOLE)
    }
}

/// RFC 9639, 8.2: the MD5 over all samples, channel by channel, low byte first, in whole bytes.
struct Sum {
    hash: Md5,
    width: usize,
    bytes: Vec<u8>,
}

impl Sum {
    fn add(&mut self, block: &claxon::Block) {
        self.bytes.clear();
        let channels: Vec<&[i32]> = (0..block.channels()).map(|channel| block.channel(channel)).collect();
        for sample in 0..block.duration() as usize {
            for channel in &channels {
                self.bytes.extend_from_slice(&channel[sample].to_le_bytes()[..self.width]);
            }
        }
        self.hash.update(&self.bytes);
    }
}
