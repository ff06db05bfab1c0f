//! The signal files that a header names: which signals share one, whether it is whole, what its samples are.

use std::collections::BTreeMap;
use std::sync::Arc;

use ecgkeep_format::{Error, Kind, Limits, Note, Place, Result, Source, Weight, plain_name};

use crate::constants::{FREE_SAMPLES, MAT4_HEADER, Packing, SAMPLES_PER_BYTE, SIGNAL_FILE, SIGNAL_LINE};
use crate::flac::{self, Wanted};
use crate::header::Header;
use crate::line::{CORRECT_IT, Line, shown};
use crate::samples::{Stored, decode};
use crate::signal_line::SignalLine;

/// The files of a record, each read once.
pub(crate) struct Files<'a> {
    source: &'a dyn Source,
    /// What may be taken.
    pub(crate) limits: &'a Limits,
    read: BTreeMap<String, Arc<[u8]>>,
    /// Bytes of all that was read.
    held: u64,
}

impl<'a> Files<'a> {
    /// Nothing read yet.
    pub(crate) fn new(source: &'a dyn Source, limits: &'a Limits) -> Files<'a> {
        Files { source, limits, read: BTreeMap::new(), held: 0 }
    }

    /// The names of the files beside the header that begin so, sorted.
    pub(crate) fn names_beginning(&self, prefix: &str) -> Result<Vec<String>> {
        self.source.names_beginning(prefix)
    }

    /// The bytes of a file beside the header.
    pub(crate) fn bytes(&mut self, name: &str) -> Result<Arc<[u8]>> {
        if let Some(bytes) = self.read.get(name) {
            return Ok(bytes.clone());
        }
        let bytes = self.source.bytes(name, self.limits.file_bytes)?;
        self.read.insert(name.to_owned(), bytes.clone());
        self.held += bytes.len() as u64;
        Ok(bytes)
    }

    /// Whether so many samples, described as in "4 frames of 2 samples", may be taken: within the limit, and not out of
    /// proportion to the bytes read so far.
    /// # Errors
    /// [`Kind::Limit`].
    pub(crate) fn check_count(&self, samples: Option<u64>, place: Place, what: &str) -> Result<()> {
        let limit = self.limits.samples;
        let backed = self.held.saturating_mul(SAMPLES_PER_BYTE).saturating_add(FREE_SAMPLES);
        let text = match samples {
            Some(samples) if samples <= limit.min(backed) => return Ok(()),
            Some(samples) if samples <= limit => {
                let held = self.held;
                format!("{what}, more than the {backed} samples that may stand for {held} bytes of its files")
            }
            _ => format!("{what}, more than the limit of {limit} samples"),
        };
        Err(Error::new(Kind::Limit, text).at(place))
    }

    /// The bytes of a file that is wanted once, where it is not longer than this.
    pub(crate) fn bytes_up_to(&self, name: &str, most: u64) -> Result<Arc<[u8]>> {
        self.source.bytes(name, most.min(self.limits.file_bytes))
    }

    /// Every signal's samples, in the order of the header, aligned; and the number of frames.
    /// # Errors
    /// [`Kind::Malformed`], [`Kind::Truncated`], [`Kind::Unsupported`], [`Kind::Limit`], [`Kind::Io`].
    pub(crate) fn signals(
        &mut self,
        file: &str,
        header: &Header,
        notes: &mut Vec<Note>,
    ) -> Result<(usize, Vec<Stored>)> {
        let groups = groups(file, header)?;
        let mut files = Vec::with_capacity(groups.len());
        for group in &groups {
            files.push(match group.is_null() {
                true => Arc::from([]),
                false => {
                    plain_name(group.file()).map_err(|e| e.at(group.place.clone()).clause(SIGNAL_LINE))?;
                    self.bytes(group.file())?
                }
            });
        }
        let frames = match header.record.frames {
            Some(frames) => frames,
            None => {
                let mut least = None;
                for (group, bytes) in groups.iter().zip(&files).filter(|(group, _)| !group.is_null()) {
                    let frames = group.frames_in(bytes, self.limits)?;
                    least = Some(least.map_or(frames, |least: u64| least.min(frames)));
                }
                least.unwrap_or(0)
            }
        };
        let frame: u64 = groups.iter().map(Group::frame).sum();
        let what = format!("{frames} frames of {frame} samples");
        self.check_count(frame.checked_mul(frames), Place::file(file), &what)?;
        let count = usize::try_from(frames)
            .map_err(|error| Error::new(Kind::Limit, what).at(Place::file(file)).because(error))?;
        let mut all = Vec::with_capacity(header.signals.len());
        for (group, bytes) in groups.iter().zip(&files) {
            let stored = group.decode(bytes, count, self.limits, notes)?;
            for (index, (mut stored, signal)) in stored.into_iter().zip(&group.signals).enumerate() {
                let line = group.line(file, header, index);
                if signal.packing.number == 8 {
                    let start = i32::try_from(signal.initial.unwrap_or(signal.adc_zero)).ok();
                    start
                        .and_then(|start| stored.integrate(start))
                        .ok_or_else(|| line.malformed("a sum of differences does not fit 32 bits"))?;
                } else if !group.is_null() {
                    check_initial(&line, signal, &stored, notes);
                }
                if header.record.frames.is_some() && !group.is_null() {
                    check_sum(&line, signal, &stored, notes);
                }
                let by = usize::try_from(signal.skew).unwrap_or(usize::MAX);
                stored.shift(by.saturating_mul(signal.per_frame));
                all.push(stored);
            }
        }
        Ok((count, all))
    }
}

/// Signals that share a file.
struct Group<'a> {
    /// Position of the first one in the header.
    first: usize,
    /// Where its line stands.
    place: Place,
    signals: Vec<&'a SignalLine>,
}

/// header(5): the lines of the signals of one file follow each other and agree on format and offset.
fn groups<'a>(file: &str, header: &'a Header) -> Result<Vec<Group<'a>>> {
    let mut groups: Vec<Group> = Vec::new();
    for (index, (line, signal)) in header.signals.iter().enumerate() {
        let place = Place::file(file).line(*line).part(format!("signal {}", index + 1));
        let wrong =
            |what: String| Error::malformed(place.clone(), what).clause(SIGNAL_LINE).remedy(CORRECT_IT);
        let shared = groups.iter().position(|group| group.file() == signal.file && !group.is_null());
        match shared {
            None => groups.push(Group { first: index, place, signals: vec![signal] }),
            Some(at) if at + 1 != groups.len() => {
                let text =
                    format!("the signals of the file {} do not follow each other", shown(&signal.file));
                return Err(wrong(text));
            }
            Some(at) if groups[at].packing() != signal.packing => {
                let (a, b) = (groups[at].packing().number, signal.packing.number);
                return Err(wrong(format!("storage format {b} in a file whose first signal has format {a}")));
            }
            Some(at) if groups[at].offset_bytes() != signal.offset_bytes => {
                let (a, b) = (groups[at].offset_bytes(), signal.offset_bytes);
                return Err(wrong(format!("byte offset {b} in a file whose first signal has offset {a}")));
            }
            Some(at)
                if signal.packing.flac_bits().is_some() && groups[at].per_frame()[0] != signal.per_frame =>
            {
                return Err(wrong("signals of one FLAC file with different samples per frame".to_owned()));
            }
            Some(at) => groups[at].signals.push(signal),
        }
        if signal.packing.flac_bits().is_some() && signal.offset_bytes != 0 {
            let place = Place::file(file).line(*line).part(format!("signal {}", index + 1));
            return Err(Error::malformed(place, "a FLAC file with a byte offset").clause(SIGNAL_LINE));
        }
    }
    Ok(groups)
}

impl<'a> Group<'a> {
    fn file(&self) -> &str {
        &self.signals[0].file
    }

    fn packing(&self) -> &'static Packing {
        self.signals[0].packing
    }

    fn offset_bytes(&self) -> u64 {
        self.signals[0].offset_bytes
    }

    /// A signal without a file.
    fn is_null(&self) -> bool {
        self.packing().number == 0
    }

    fn per_frame(&self) -> Vec<usize> {
        self.signals.iter().map(|signal| signal.per_frame).collect()
    }

    fn frame(&self) -> u64 {
        self.signals.iter().map(|signal| signal.per_frame as u64).sum()
    }

    fn line(&self, file: &str, header: &Header, index: usize) -> Line<'static> {
        let number = self.first + index;
        let place = Place::file(file).line(header.signals[number].0).part(format!("signal {}", number + 1));
        Line { place, clause: SIGNAL_LINE, text: "" }
    }

    fn flac<'b>(&'b self, bytes: &'b [u8], bits: u32, limits: &Limits) -> Wanted<'b> {
        Wanted { file: self.file(), bytes, bits, channels: self.signals.len(), limit: limits.samples }
    }

    /// The frames that a file holds where the header does not say how many.
    fn frames_in(&self, bytes: &[u8], limits: &Limits) -> Result<u64> {
        if let Some(bits) = self.packing().flac_bits() {
            let length = flac::length(&self.flac(bytes, bits, limits))?.unwrap_or(0);
            return Ok(length / self.signals[0].per_frame as u64);
        }
        let bytes = (bytes.len() as u64).saturating_sub(self.offset_bytes());
        Ok(self.packing().samples_in(bytes) / self.frame())
    }

    fn decode(
        &self,
        bytes: &[u8],
        frames: usize,
        limits: &Limits,
        notes: &mut Vec<Note>,
    ) -> Result<Vec<Stored>> {
        let length = |signal: &&SignalLine| frames * signal.per_frame;
        if self.is_null() {
            return Ok(self.signals.iter().map(|signal| Stored::absent(length(signal))).collect());
        }
        let invalid = self.packing().invalid;
        if let Some(bits) = self.packing().flac_bits() {
            let channels = flac::decode(&self.flac(bytes, bits, limits), length(&self.signals[0]), notes)?;
            return Ok(channels.into_iter().map(|samples| Stored::of(samples, invalid)).collect());
        }
        let bytes = self.cut(bytes, frames as u64, notes)?;
        Ok(decode(bytes, self.packing(), &self.per_frame(), frames))
    }

    /// The bytes of a signal file that hold its frames.
    fn cut<'b>(&self, bytes: &'b [u8], frames: u64, notes: &mut Vec<Note>) -> Result<&'b [u8]> {
        let packing = self.packing();
        let needed = frames.checked_mul(self.frame()).and_then(|samples| packing.bytes_for(samples));
        let needed = needed.and_then(|needed| needed.checked_add(self.offset_bytes())).unwrap_or(u64::MAX);
        let (length, format) = (bytes.len() as u64, packing.number);
        if length < needed {
            let text =
                format!("needs {needed} bytes for {frames} frames in storage format {format}, has {length}");
            return Err(Error::new(Kind::Truncated, text)
                .at(Place::file(self.file()))
                .clause(SIGNAL_FILE)
                .remedy("get the whole file again, or correct the number of samples in the header"));
        }
        let further = packing.samples_in(length - self.offset_bytes()).saturating_sub(frames * self.frame());
        if further >= self.frame() + packing.unit.0 as u64 {
            let text =
                format!("holds at least {} frames more than the {frames} stated", further / self.frame());
            notes.push(Note::new(Weight::Departure, Place::file(self.file()), text));
        }
        let (preamble, rest) = bytes.split_at(usize::try_from(self.offset_bytes()).unwrap_or(bytes.len()));
        self.check_mat4(preamble, frames, notes);
        Ok(rest)
    }

    /// A preamble of 24 bytes is the head of a MAT v4 file: a 16-bit matrix `val` of signals x samples, low byte
    /// first. The header drives the reading; a matrix that says otherwise is noted.
    fn check_mat4(&self, preamble: &[u8], frames: u64, notes: &mut Vec<Note>) {
        if preamble.len() != MAT4_HEADER || !self.file().ends_with(".mat") {
            return;
        }
        let (numbers, _) = preamble.as_chunks::<4>();
        let says: Vec<u32> = numbers[..5].iter().map(|bytes| u32::from_le_bytes(*bytes)).collect();
        let needed = [30, self.frame(), frames, 0, 4];
        if !says.iter().map(|number| u64::from(*number)).eq(needed) || &preamble[20..] != b"val\0" {
            let text = format!("its MAT v4 head says {says:?}, the header's frames need {needed:?}");
            notes.push(Note::new(Weight::Departure, Place::file(self.file()), text));
        }
    }
}

/// header(5): the sum of the samples as stored, modulo 65536, where the length is stated.
fn check_sum(line: &Line, signal: &SignalLine, stored: &Stored, notes: &mut Vec<Note>) {
    let sum = i64::from(stored.sum);
    if let Some(stated) = signal.checksum
        && stated.rem_euclid(1 << 16) != sum
    {
        let text = format!("the checksum is stated as {stated}, the samples sum to {sum} modulo 65536");
        line.note(Weight::Damage, notes, text);
    }
}

/// header(5): the first sample as stored; wrong in published records, so it is only noted.
fn check_initial(line: &Line, signal: &SignalLine, stored: &Stored, notes: &mut Vec<Note>) {
    if let (Some(stated), Some(first)) = (signal.initial, stored.first)
        && stated != i64::from(first)
    {
        line.departure(
            notes,
            format!("the initial value is stated as {stated}, the first sample is {first}"),
        );
    }
}
