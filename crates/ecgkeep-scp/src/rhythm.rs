//! Sections 2 to 6 together: from coded bytes to waveforms in nanovolts.

use ecgkeep_format::{Error, Kind, Place, Result, Weight};
use ecgkeep_recording::{Code, Exact, Mark, MarkKind, Rate, Signal, SignalUnit, Span, Step, Waveform};

use crate::beats::{Beats, read_beats};
use crate::constants::{DECIMATION, MOST_DECIMATION, system};
use crate::expansion::{ReferenceBeat, add_beats, expand, in_order, overlaps_too_much, stored, stretches};
use crate::huffman::{Decoded, Tables, read_tables};
use crate::leads::{LeadRow, Leads, read_leads};
use crate::reading::{Reading, Section};
use crate::record::Record;
use crate::reference_beat::{Beat, read_beat};
use crate::signals::{Signals, read_signals};

/// The step of a signal without scale: one count is one count.
const UNCALIBRATED_STEP: i64 = 1_000_000_000;

/// What the sections before section 6 say of it.
struct Context<'a> {
    leads: Leads,
    tables: Option<Tables>,
    beats: Option<Beats>,
    beat: Option<Beat>,
    section: Section<'a>,
    /// Whether section 3, which says whether a reference beat was subtracted, is as it was written.
    is_verified: bool,
}

/// Decodes the signals of a record: the rhythm, one waveform per group of simultaneous leads, then the reference
/// beat. What cannot be trusted is not taken, with a note. The number is that of the QRS complexes in section 4.
/// # Errors
/// [`Kind::Limit`].
pub(crate) fn read_waveforms<'a>(
    reading: &mut Reading<'a>,
    record: &Record<'a>,
) -> Result<(Vec<Waveform>, usize)> {
    let beats = record.section(4).and_then(|section| read_beats(reading, &section));
    let complexes = beats.as_ref().map_or(0, |beats| beats.complexes.len());
    let (Some(lead_section), Some(section)) = (record.section(3), record.section(6)) else {
        note_absence(reading, record);
        return Ok((Vec::new(), complexes));
    };
    let Some(leads) = read_leads(reading, &lead_section) else { return Ok((Vec::new(), complexes)) };
    if leads.rows.len() > reading.limits.signals {
        return Err(too_many(reading, "signals", leads.rows.len()));
    }
    let tables = match record.section(2) {
        None if record.lacks(2) => {
            let text = "the waveform is not read: section 2, which says how it is coded, is not there";
            reading.note(Weight::Damage, 6, section.start, text);
            return Ok((Vec::new(), complexes));
        }
        None => None,
        Some(section) => match read_huffman(reading, &section) {
            None => return Ok((Vec::new(), complexes)),
            tables => tables,
        },
    };
    let beat = record.section(5).and_then(|section| {
        let signals = read_signals(reading, &section, leads.rows.len())?;
        read_beat(reading, &section, &leads, &signals, beats.as_ref(), tables.as_ref())
    });
    let is_verified = lead_section.is_verified;
    let context = Context { leads, tables, beats, beat, section, is_verified };
    let mut waveforms = context.read_rhythm(reading)?;
    let fiducial = context.beats.as_ref().map_or(0, |beats| beats.fiducial);
    waveforms.extend(context.beat.as_ref().and_then(|beat| beat.waveform(&context.leads, fiducial)));
    Ok((waveforms, complexes))
}

fn note_absence(reading: &mut Reading, record: &Record) {
    let (weight, text) = match (record.section(3), record.section(6)) {
        (None, None) => {
            (Weight::Departure, "neither section 3 nor section 6 is there: a report without waveforms")
        }
        (None, _) => (Weight::Damage, "section 3 is not there: the samples of section 6 are not read"),
        _ => (Weight::Damage, "section 6 is not there: section 3 names leads without samples"),
    };
    reading.note_record(weight, 0, text);
}

fn too_many(reading: &Reading, what: &str, count: usize) -> Error {
    Error::new(Kind::Limit, format!("{count} {what} are more than the limit"))
        .at(Place::file(reading.file).part("section 3"))
}

fn read_huffman(reading: &mut Reading, section: &Section) -> Option<Tables> {
    match read_tables(reading.cursor(section)) {
        Ok((tables, is_direct)) => {
            if is_direct {
                let text = "the prefixes stand first bit first; the standard has the first bit last";
                reading.note(Weight::Departure, 2, section.body_start(), text);
            }
            Some(tables)
        }
        Err(error) => {
            let at = error.place().byte.and_then(|byte| usize::try_from(byte).ok());
            let text = format!("no waveform is read: {}", error.what());
            reading.note(Weight::Damage, 2, at.unwrap_or(section.start), text);
            None
        }
    }
}

/// The sampling interval at the full rate, and for how many samples a stored value stands outside the protected
/// areas.
struct Timing {
    interval_us: u16,
    factor: u32,
}

impl<'a> Context<'a> {
    fn read_rhythm(&self, reading: &mut Reading<'a>) -> Result<Vec<Waveform>> {
        let section = self.section;
        let refuse = |reading: &mut Reading, text: &str| {
            reading.note(Weight::Damage, 6, section.start, format!("the waveform is not read: {text}"));
            Ok(Vec::new())
        };
        let Some(mut signals) = read_signals(reading, &section, self.leads.rows.len()) else {
            return Ok(Vec::new());
        };
        if let Err(text) = self.can_be_restored(&signals) {
            return refuse(reading, text);
        }
        let timing = match self.timing(reading, &signals) {
            Ok(timing) => timing,
            Err(text) => return refuse(reading, text),
        };
        let total: u64 = self.leads.rows.iter().map(|row| row.samples() as u64).sum();
        if total > reading.limits.samples {
            return Err(too_many(reading, "samples", usize::try_from(total).unwrap_or(usize::MAX)));
        }
        // a sample takes at least one bit
        if total > reading.bytes.len() as u64 * 8 * u64::from(timing.factor) {
            return refuse(reading, "section 3 counts more samples than the file has bits");
        }
        let protected = self.protected(reading, &signals);
        let parts = |row| stretches(row, &protected, timing.factor);
        let counts: Vec<usize> = self.leads.rows.iter().map(|row| stored(&parts(row))).collect();
        if self.tables.is_none() && signals.count_samples_instead_of_bytes(section.body, &counts) {
            let text = "the lengths of the leads count samples; the standard has them count bytes";
            reading.note(Weight::Departure, 6, section.body_start(), text);
        }
        let mut decoded = Vec::with_capacity(counts.len());
        for (index, row) in self.leads.rows.iter().enumerate() {
            let mut lead = signals.decode(index, self.tables.as_ref(), counts[index]);
            // one byte may fill the lead to an even length
            if signals.is_bimodal && lead.bits_left >= 16 {
                lead = Decoded::stopped(
                    Vec::new(),
                    "it holds more samples than the protected areas leave room for",
                );
            }
            let samples = if timing.factor == 1 { lead.values } else { expand(&parts(row), &lead.values) };
            if let Some(stop) = lead.stop {
                let missing = row.samples() - samples.len();
                let text = format!("lead {}: {stop}; the last {missing} samples are missing", row.lead);
                reading.note(Weight::Damage, 6, signals.leads[index].at, text);
            }
            decoded.push(samples);
        }
        let step_nv = self.add_reference_beat(reading, &signals, &mut decoded);
        Ok(self.group(signals.step_nv, step_nv, &timing, decoded))
    }

    /// Whether nothing is missing that the rhythm was coded with.
    fn can_be_restored(&self, signals: &Signals) -> std::result::Result<(), &'static str> {
        if !self.leads.is_subtracted {
            let zones = self.beats.iter().flat_map(|beats| &beats.complexes).any(|complex| complex.begin > 0);
            return if zones && !self.is_verified {
                Err("section 3 was altered, and whether a reference beat was subtracted cannot be told")
            } else {
                Ok(())
            };
        }
        match (&self.beats, &self.beat) {
            (Some(beats), _) if !beats.is_complete => {
                Err("section 4 is incomplete, and a residual without its reference beat is no ECG")
            }
            (Some(beats), _) if beats.fiducial == 0 => Err(
                "section 4 does not say where the reference beat lies, and a residual without it is no ECG",
            ),
            (Some(_), Some(beat)) if beat.step_nv == 0 || signals.step_nv == 0 => {
                Err("the scale is not known, and the reference beat cannot be added without it")
            }
            (Some(_), Some(_)) => Ok(()),
            (None, _) => Err(
                "section 4 is not there or not readable, and a residual without its reference beat is no ECG",
            ),
            (_, None) => Err(
                "section 5 is not there or not readable, and a residual without its reference beat is no ECG",
            ),
        }
    }

    /// Section 5 gives the interval at the full rate, section 6 that of the decimated stretches (or, by some
    /// writers, the full rate again).
    fn timing(&self, reading: &mut Reading, signals: &Signals) -> std::result::Result<Timing, &'static str> {
        let stated = signals.interval_us;
        let beat = self.beat.as_ref().map(|beat| beat.interval_us);
        let timing = match (signals.is_bimodal, beat) {
            (false, _) => Timing { interval_us: stated, factor: 1 },
            (true, None) => {
                return Err("it is decimated, and without section 5 the sampling interval cannot be told");
            }
            (true, Some(full)) if stated.is_multiple_of(full) && stated > full => {
                Timing { interval_us: full, factor: u32::from(stated / full) }
            }
            (true, Some(full)) => {
                let text = format!(
                    "the interval of the decimated samples is {stated} us at a full interval of {full} us: \
                     {DECIMATION} samples per stored value are supposed"
                );
                reading.note(Weight::Departure, 6, self.section.body_start() + 2, text);
                Timing { interval_us: full, factor: DECIMATION }
            }
        };
        if timing.factor > MOST_DECIMATION {
            return Err("the decimation factor is not plausible");
        }
        if self.leads.is_subtracted && beat.is_some_and(|beat| beat != timing.interval_us) {
            return Err("the reference beat has another sampling interval and cannot be added");
        }
        Ok(timing)
    }

    fn protected(&self, reading: &mut Reading, signals: &Signals) -> Vec<(u32, u32)> {
        if !signals.is_bimodal {
            return Vec::new();
        }
        let areas = self.beats.as_ref().map_or(&[][..], |beats| &beats.protected);
        let at = self.section.start;
        if areas.is_empty() {
            let text = "decimated without protected areas: the whole lead is taken to be decimated";
            reading.note(Weight::Departure, 6, at, text);
        }
        let (areas, changed) = in_order(areas);
        if changed {
            let text = "the protected areas of section 4 are not in order or overlap; they are joined";
            reading.note(Weight::Departure, 6, at, text);
        }
        let text = "outside the protected areas each stored value stands, unchanged, for all the samples that \
                    it was made of: those stretches are not exact";
        reading.note(Weight::NotTaken, 6, at, text);
        areas
    }

    /// Adds the reference beat in nanovolts; the step in nanovolts that both scales share.
    fn add_reference_beat(&self, reading: &mut Reading, signals: &Signals, decoded: &mut [Vec<i32>]) -> u32 {
        let own = u32::from(signals.step_nv);
        let (true, Some(beats), Some(beat)) = (self.leads.is_subtracted, &self.beats, &self.beat) else {
            return own;
        };
        let shared = gcd(own, u32::from(beat.step_nv));
        let (scale, beat_scale) = (i64::from(own / shared), i64::from(u32::from(beat.step_nv) / shared));
        for ((samples, row), of_lead) in decoded.iter_mut().zip(&self.leads.rows).zip(&beat.leads) {
            let scaled: Vec<i64> = of_lead.iter().map(|value| i64::from(*value) * beat_scale).collect();
            let reference = ReferenceBeat { samples: &scaled, fiducial: beats.fiducial };
            if of_lead.len() < beat.count || overlaps_too_much(row, beats, &reference) {
                let why = if of_lead.len() < beat.count { "it is not whole" } else { "its zones overlap" };
                let text =
                    format!("lead {} is not read: the reference beat cannot be added, {why}", row.lead);
                reading.note(Weight::Damage, 6, self.section.start, text);
                samples.clear();
                continue;
            }
            let before = samples.len();
            let mut wide: Vec<i64> = samples.iter().map(|value| i64::from(*value) * scale).collect();
            add_beats(&mut wide, row, &beats.complexes, &reference);
            samples.clear();
            samples.extend(wide.into_iter().map_while(|value| i32::try_from(value).ok()));
            if samples.len() < before {
                let text = format!("lead {}: a sample has more than 32 bits; the rest is missing", row.lead);
                reading.note(Weight::Damage, 6, self.section.start, text);
            }
        }
        shared
    }

    /// One waveform per group of leads that cover the same samples, in the order of their first lead.
    fn group(&self, stated: u16, step_nv: u32, timing: &Timing, decoded: Vec<Vec<i32>>) -> Vec<Waveform> {
        let mut groups: Vec<(&LeadRow, Vec<Signal>)> = Vec::new();
        for (row, samples) in self.leads.rows.iter().zip(decoded) {
            let signal = signal(row, samples, row.samples(), if stated == 0 { 0 } else { step_nv });
            match groups.iter_mut().find(|(first, _)| (first.first, first.last) == (row.first, row.last)) {
                Some((_, signals)) => signals.push(signal),
                None => groups.push((row, vec![signal])),
            }
        }
        let interval = Exact::ratio(timing.interval_us.into(), 1_000_000);
        let interval = interval.expect("the denominator is not zero");
        let mut waveforms = Vec::with_capacity(groups.len());
        for (row, signals) in groups {
            let start = interval.times(Exact::whole((row.first - 1).into())).unwrap_or_default();
            let mut waveform = Waveform::new(rate(timing.interval_us), signals)
                .expect("the leads of a group cover the same samples, those that are not there are missing");
            waveform.start = start;
            if waveforms.is_empty() {
                waveform.marks = self.complexes(row.first);
            }
            waveforms.push(waveform);
        }
        waveforms
    }

    /// The QRS complexes of section 4 as marks on a waveform that begins at this sample of the record.
    fn complexes(&self, first: u32) -> Vec<Mark> {
        let complexes = self.beats.iter().flat_map(|beats| &beats.complexes);
        let mark = |complex: &crate::beats::Complex| {
            let sample = i64::from(complex.fiducial) - i64::from(first);
            let kind = complex.kind.to_string();
            let code = Code { system: system::BEAT_TYPE.to_owned(), value: kind, meaning: None };
            Mark { codes: vec![code], ..Mark::new(sample, MarkKind::Beat) }
        };
        complexes.map(mark).collect()
    }
}

/// A signal of `count` samples, those behind the ones given missing. A step of 0 is no scale.
pub(crate) fn signal(row: &LeadRow, mut samples: Vec<i32>, count: usize, step_nv: u32) -> Signal {
    let good = samples.len();
    samples.resize(count, 0);
    let step = if step_nv == 0 { UNCALIBRATED_STEP } else { step_nv.into() };
    let step = Step::new(Exact::whole(step)).expect("neither number is zero");
    let mut signal = Signal::new(row.lead.clone(), step, samples);
    if step_nv == 0 {
        signal.unit = SignalUnit::Uncalibrated;
    }
    if good < count { signal.with_missing(vec![Span { start: good, end: count }]) } else { signal }
}

/// The rate of an interval in microseconds, which is not 0.
pub(crate) fn rate(interval_us: u16) -> Rate {
    let per_second = Exact::ratio(1_000_000, interval_us.into()).ok();
    per_second.and_then(Rate::new).expect("sections with an interval of 0 are not read")
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}
