//! Section 7: global measurements and pacing spikes (5.10).

use std::collections::BTreeMap;

use ecgkeep_format::{Cursor, Result, Weight};
use ecgkeep_recording::{
    Code, Extra, Mark, MarkKind, Measurement, MeasurementKind as Kind, Recording, Scope,
};

use crate::constants::{FORMULA_CODE, FORMULAS, NO_AXIS, NO_FORMULA, NOT_COMPUTED, system, tag};
use crate::extras::{self, Extras};
use crate::reading::{Reading, Section};

const SECTION: u16 = 7;
const BLOCK_BYTES: usize = 16;
const SPIKE_BYTES: usize = 4;
const SPIKE_INFO_BYTES: usize = 6;
const RATES_BYTES: usize = 7;
const NOT_COMPUTED_U16: u16 = NOT_COMPUTED.unsigned_abs();

const QRS_TYPES: &str = "section 7 QRS types";
const TAG: &str = "section 7 tag ";

/// Times of a block, in their order.
const TIMES: [&str; 5] = ["P onset", "P offset", "QRS onset", "QRS offset", "T offset"];
/// Axes of a block, in their order, after the times.
const AXES: [Kind; 3] = [Kind::PAxis, Kind::QrsAxis, Kind::TAxis];

/// What section 7 says.
#[derive(Default)]
pub(crate) struct Global {
    /// Measurements of the whole recording, and of beats or classes of beats.
    pub(crate) measurements: Vec<Measurement>,
    /// Pacing spikes on the first waveform.
    pub(crate) marks: Vec<Mark>,
    /// What the model does not name.
    pub(crate) extras: Vec<Extra>,
}

/// How the time of a record becomes a sample of its first waveform.
#[derive(Clone, Copy)]
pub(crate) struct Clock {
    /// Microseconds from one sample to the next.
    pub(crate) interval_us: i64,
    /// Samples from the start of the record to the first of the waveform.
    pub(crate) first: i64,
}

/// The measurements of one block: onsets and offsets in milliseconds, then axes in degrees.
struct Block {
    times: [Option<u16>; 5],
    axes: [Option<i16>; 3],
}

/// Reads section 7 part by part, as far as it goes: records of version 1 stop after the spikes. `complexes` counts
/// the QRS complexes of section 4; without a clock, spikes cannot be placed.
pub(crate) fn read_global(
    reading: &mut Reading,
    section: &Section,
    complexes: usize,
    clock: Option<Clock>,
) -> Global {
    let mut global = Global::default();
    if let Err(error) = read(reading, section, complexes, clock, &mut global) {
        let at = error.place().byte.and_then(|byte| usize::try_from(byte).ok()).unwrap_or(section.start);
        reading.note(Weight::Departure, SECTION, at, format!("read as far as it goes: {}", error.what()));
    }
    global
}

fn read(
    reading: &mut Reading,
    section: &Section,
    complexes: usize,
    clock: Option<Clock>,
    global: &mut Global,
) -> Result<()> {
    let mut cursor = reading.cursor(section);
    let (block_count, spike_count) = (usize::from(cursor.u8()?), usize::from(cursor.u8()?));
    for kind in [Kind::RrInterval, Kind::PpInterval] {
        push(global, kind, computed(cursor.u16()?), "ms", Scope::Global);
    }
    let mut blocks = Vec::new();
    while blocks.len() < block_count && cursor.left() >= BLOCK_BYTES {
        blocks.push(read_block(&mut cursor)?);
    }
    let mut spikes = Vec::new();
    while blocks.len() == block_count && spikes.len() < spike_count && cursor.left() >= SPIKE_BYTES {
        spikes.push(Spike { time_ms: cursor.u16()?, amplitude: cursor.i16()?, ..Spike::default() });
    }
    if blocks.len() < block_count || spikes.len() < spike_count {
        let text = format!(
            "{block_count} blocks and {spike_count} spikes are counted, {} and {} are there",
            blocks.len(),
            spikes.len()
        );
        reading.note(Weight::Departure, SECTION, section.body_start(), text);
        (global.marks, _) = (marks(reading, section, &spikes, clock), cursor.rest());
        push_blocks(global, &blocks, complexes);
        return Ok(());
    }
    if cursor.left() >= spikes.len() * SPIKE_INFO_BYTES {
        for spike in &mut spikes {
            (spike.kind, spike.source) = (cursor.u8()?, cursor.u8()?);
            (spike.qrs, spike.width_us) = (cursor.u16()?, cursor.u16()?);
        }
    } else {
        cursor.rest();
    }
    global.marks = marks(reading, section, &spikes, clock);
    let types = read_types(reading, section, &mut cursor)?;
    push_blocks(global, &blocks, complexes.max(types.len()));
    if !types.is_empty() {
        global.extras.push(extras::bytes(QRS_TYPES, types));
    }
    if cursor.left() >= RATES_BYTES {
        push(global, Kind::HeartRate, computed(cursor.u16()?), "/min", Scope::Global);
        push(global, Kind::AtrialRate, computed(cursor.u16()?), "/min", Scope::Global);
        let corrected = computed(cursor.u16()?);
        let formula = formula_name(cursor.u8()?);
        push(global, Kind::QtcInterval, corrected, "ms", Scope::Global);
        if corrected.is_some() {
            global.measurements.last_mut().into_iter().for_each(|last| last.formula.clone_from(&formula));
        }
    }
    read_tagged(reading, section, &mut cursor, global)
}

fn read_block(cursor: &mut Cursor) -> Result<Block> {
    let mut block = Block { times: [None; 5], axes: [None; 3] };
    for time in &mut block.times {
        *time = Some(cursor.u16()?).filter(|time| *time != NOT_COMPUTED_U16);
    }
    for axis in &mut block.axes {
        *axis = Some(cursor.i16()?).filter(|axis| *axis != NO_AXIS && *axis != NOT_COMPUTED);
    }
    // a wave that begins and ends at 0 is a wave that is not there
    for wave in [0..2, 2..4, 4..5] {
        if block.times[wave.clone()].iter().all(|time| *time == Some(0)) {
            block.times[wave].fill(None);
        }
    }
    Ok(block)
}

/// 0 is how writers say that a rate or a mean was not computed.
fn computed(value: u16) -> Option<i64> {
    (value != 0 && value != NOT_COMPUTED_U16).then_some(value.into())
}

fn push(global: &mut Global, kind: Kind, value: Option<i64>, unit: &str, scope: Scope) {
    let measurement = value.map(|value| Measurement { scope, ..Measurement::global(kind, value, unit) });
    global.measurements.extend(measurement);
}

/// One block describes the whole recording; several describe the beats where there are as many, else classes.
fn push_blocks(global: &mut Global, blocks: &[Block], complexes: usize) {
    for (index, block) in blocks.iter().enumerate() {
        let number = u32::try_from(index).unwrap_or(u32::MAX);
        let scope = match blocks.len() {
            1 => Scope::Global,
            count if count == complexes => Scope::Beat(number),
            _ => Scope::BeatClass(number),
        };
        for (name, time) in TIMES.iter().zip(block.times) {
            push(global, Kind::Other((*name).to_owned()), time.map(i64::from), "ms", scope.clone());
        }
        let [p_onset, p_offset, qrs_onset, qrs_offset, t_offset] = block.times;
        // the intervals that the section states by their two ends
        let intervals = [
            (Kind::PDuration, p_onset, p_offset),
            (Kind::PrInterval, p_onset, qrs_onset),
            (Kind::QrsDuration, qrs_onset, qrs_offset),
            (Kind::QtInterval, qrs_onset, t_offset),
        ];
        for (kind, from, to) in intervals {
            let length = from.zip(to).map(|(from, to)| i64::from(to) - i64::from(from));
            push(global, kind, length.filter(|length| *length > 0), "ms", scope.clone());
        }
        for (kind, axis) in AXES.into_iter().zip(block.axes) {
            push(global, kind, axis.map(i64::from), "deg", scope.clone());
        }
    }
}

fn read_types<'a>(reading: &mut Reading, section: &Section, cursor: &mut Cursor<'a>) -> Result<&'a [u8]> {
    if cursor.left() < 2 {
        return Ok(&[]);
    }
    let count = usize::from(cursor.u16()?);
    if count > cursor.left() {
        let text = format!("{count} QRS types are counted, {} bytes are there", cursor.left());
        reading.note(Weight::Departure, SECTION, section.body_start() + cursor.position(), text);
        return Ok(cursor.rest());
    }
    cursor.take(count)
}

fn read_tagged(
    reading: &mut Reading,
    section: &Section,
    cursor: &mut Cursor,
    global: &mut Global,
) -> Result<()> {
    if cursor.left() < 2 {
        return Ok(());
    }
    let length = usize::from(cursor.u16()?);
    let mut fields = cursor.part(length.min(cursor.left()))?;
    while fields.left() > 0 {
        let number = fields.u8()?;
        if number == tag::END {
            break;
        }
        let length = fields.u8()?;
        global.extras.push(extras::bytes(format!("{TAG}{number}"), fields.take(length.into())?));
    }
    if cursor.left() > 1 {
        let text = format!("{} bytes after the last part are not read", cursor.left());
        reading.note(Weight::NotTaken, SECTION, section.body_start() + cursor.position(), text);
    }
    Ok(())
}

fn formula_name(code: u8) -> Option<String> {
    match FORMULAS.iter().find(|row| row.0 == code) {
        Some((_, name)) => Some((*name).to_owned()),
        None if code == 0 || code == NO_FORMULA => None,
        None => Some(format!("{FORMULA_CODE}{code}")),
    }
}

fn formula_code(name: &str) -> u8 {
    let named = FORMULAS.iter().find(|row| row.1.eq_ignore_ascii_case(name)).map(|row| row.0);
    named.or_else(|| name.strip_prefix(FORMULA_CODE)?.parse().ok()).unwrap_or(0)
}

/// One pacing spike.
#[derive(Default)]
struct Spike {
    time_ms: u16,
    amplitude: i16,
    kind: u8,
    source: u8,
    qrs: u16,
    width_us: u16,
}

fn marks(reading: &mut Reading, section: &Section, spikes: &[Spike], clock: Option<Clock>) -> Vec<Mark> {
    let Some(clock) = clock else {
        if !spikes.is_empty() {
            let text = format!("{} pacing spikes cannot be placed without a waveform", spikes.len());
            reading.note(Weight::NotTaken, SECTION, section.body_start(), text);
        }
        return Vec::new();
    };
    spikes.iter().map(|spike| spike.mark(clock)).collect()
}

impl Spike {
    fn mark(&self, clock: Clock) -> Mark {
        let time_us = i64::from(self.time_ms) * 1000;
        let sample = (time_us + clock.interval_us / 2) / clock.interval_us;
        let is_between = time_us % clock.interval_us != 0;
        let items = [
            (system::SPIKE_TIME, i64::from(self.time_ms), is_between),
            (system::SPIKE_AMPLITUDE, self.amplitude.into(), self.amplitude != NOT_COMPUTED),
            (system::SPIKE_TYPE, self.kind.into(), self.kind != 0),
            (system::SPIKE_SOURCE, self.source.into(), self.source != 0),
            (system::SPIKE_QRS, self.qrs.into(), self.qrs != 0),
            (system::SPIKE_WIDTH, self.width_us.into(), self.width_us != 0),
        ];
        let codes = items.into_iter().filter(|item| item.2).map(|(system, value, _)| Code {
            system: system.to_owned(),
            value: value.to_string(),
            meaning: None,
        });
        Mark { codes: codes.collect(), ..Mark::new(sample - clock.first, MarkKind::PacingPulse) }
    }

    /// `None` where the spike lies outside the times that can be written.
    fn of(mark: &Mark, clock: Clock) -> Option<Spike> {
        fn number<T: std::str::FromStr>(mark: &Mark, system: &str) -> Option<T> {
            mark.codes.iter().find(|code| code.system == system)?.value.parse().ok()
        }
        let of_sample = || {
            let time_us = mark.sample.checked_add(clock.first)?.checked_mul(clock.interval_us)?;
            u16::try_from((time_us + 500).div_euclid(1000)).ok()
        };
        Some(Spike {
            time_ms: number(mark, system::SPIKE_TIME).or_else(of_sample)?,
            amplitude: number(mark, system::SPIKE_AMPLITUDE).unwrap_or(NOT_COMPUTED),
            kind: number(mark, system::SPIKE_TYPE).unwrap_or(0),
            source: number(mark, system::SPIKE_SOURCE).unwrap_or(0),
            qrs: number(mark, system::SPIKE_QRS).unwrap_or(0),
            width_us: number(mark, system::SPIKE_WIDTH).unwrap_or(0),
        })
    }
}

/// The body of section 7; `None` where there is nothing for it. `spikes` are the marks of the first waveform.
pub(crate) fn write_global(recording: &Recording, spikes: &[Mark], clock: Clock) -> Option<Vec<u8>> {
    let extras = Extras::of(recording);
    let global = |kind: &Kind, unit: &str| global_value(&recording.measurements, kind, unit);
    let means = [global(&Kind::RrInterval, "ms"), global(&Kind::PpInterval, "ms")];
    let rates = [
        global(&Kind::HeartRate, "/min"),
        global(&Kind::AtrialRate, "/min"),
        global(&Kind::QtcInterval, "ms"),
    ];
    let blocks = blocks_of(&recording.measurements);
    let pacing = spikes.iter().filter(|mark| mark.kind == MarkKind::PacingPulse && mark.lead.is_none());
    let spikes: Vec<Spike> = pacing.filter_map(|mark| Spike::of(mark, clock)).take(255).collect();
    let types = extras.bytes(QRS_TYPES).unwrap_or_default();
    let tagged = tagged_fields(&extras);
    let is_silent = means.iter().chain(&rates).all(Option::is_none) && types.is_empty() && tagged.is_empty();
    if is_silent && blocks.is_empty() && spikes.is_empty() {
        return None;
    }
    let mut body = Vec::new();
    body.push(u8::try_from(blocks.len()).expect("at most 255 blocks are taken"));
    body.push(u8::try_from(spikes.len()).expect("at most 255 spikes are taken"));
    let number = |body: &mut Vec<u8>, value: Option<u16>| {
        body.extend(value.unwrap_or(NOT_COMPUTED_U16).to_le_bytes());
    };
    means.into_iter().for_each(|mean| number(&mut body, mean));
    for block in &blocks {
        block.times.into_iter().for_each(|time| number(&mut body, time));
        body.extend(block.axes.iter().flat_map(|axis| axis.unwrap_or(NO_AXIS).to_le_bytes()));
    }
    for spike in &spikes {
        body.extend(spike.time_ms.to_le_bytes());
        body.extend(spike.amplitude.to_le_bytes());
    }
    for spike in &spikes {
        body.extend([spike.kind, spike.source]);
        body.extend(spike.qrs.to_le_bytes());
        body.extend(spike.width_us.to_le_bytes());
    }
    let count = u16::try_from(types.len()).unwrap_or(u16::MAX);
    body.extend(count.to_le_bytes());
    body.extend(&types[..count.into()]);
    rates.into_iter().for_each(|rate| number(&mut body, rate));
    let corrected = find(&recording.measurements, &Kind::QtcInterval, &Scope::Global);
    body.push(corrected.and_then(|found| found.formula.as_deref()).map_or(0, formula_code));
    body.extend(u16::try_from(tagged.len()).unwrap_or(0).to_le_bytes());
    body.extend(tagged);
    Some(body)
}

fn find<'a>(measurements: &'a [Measurement], kind: &Kind, scope: &Scope) -> Option<&'a Measurement> {
    measurements.iter().find(|measurement| measurement.kind == *kind && measurement.scope == *scope)
}

/// A mean, rate or interval of the whole recording, where it can be written.
fn global_value(measurements: &[Measurement], kind: &Kind, unit: &str) -> Option<u16> {
    let found = find(measurements, kind, &Scope::Global).filter(|found| found.unit == unit)?;
    let value = u16::try_from(found.value.to_whole()?).ok()?;
    computed(value).map(|_| value)
}

/// The blocks, in the order of their beats or classes; where both are measured, the classes.
fn blocks_of(measurements: &[Measurement]) -> Vec<Block> {
    let mut classes: BTreeMap<u32, Block> = BTreeMap::new();
    let mut beats: BTreeMap<u32, Block> = BTreeMap::new();
    let mut whole: BTreeMap<u32, Block> = BTreeMap::new();
    for measurement in measurements {
        let (blocks, number) = match measurement.scope {
            Scope::Global => (&mut whole, 0),
            Scope::BeatClass(number @ 0..=254) => (&mut classes, number),
            Scope::Beat(number @ 0..=254) => (&mut beats, number),
            _ => continue,
        };
        let Some(value) = measurement.value.to_whole() else { continue };
        let time = TIMES.iter().position(|name| measurement.kind == Kind::Other((*name).to_owned()));
        let axis = AXES.iter().position(|kind| measurement.kind == *kind);
        let block = || Block { times: [None; 5], axes: [None; 3] };
        match (time, axis, measurement.unit.as_str()) {
            (Some(at), _, "ms") => {
                let time = u16::try_from(value).ok().filter(|time| *time != NOT_COMPUTED_U16);
                blocks.entry(number).or_insert_with(block).times[at] = time;
            }
            (_, Some(at), "deg") => {
                let axis = i16::try_from(value).ok().filter(|axis| ![NO_AXIS, NOT_COMPUTED].contains(axis));
                blocks.entry(number).or_insert_with(block).axes[at] = axis;
            }
            _ => {}
        }
    }
    let chosen = [classes, beats, whole].into_iter().find(|blocks| !blocks.is_empty()).unwrap_or_default();
    let mut blocks: Vec<Block> = Vec::new();
    for (number, block) in chosen {
        let before = number as usize;
        blocks.resize_with(before, || Block { times: [None; 5], axes: [None; 3] });
        blocks.push(block);
    }
    blocks
}

fn tagged_fields(extras: &Extras) -> Vec<u8> {
    let mut fields = Vec::new();
    for number in 0..tag::END {
        let value = extras.bytes(&format!("{TAG}{number}"));
        if let Some((value, length)) = value.and_then(|value| Some((value, u8::try_from(value.len()).ok()?)))
        {
            fields.extend([number, length]);
            fields.extend(value);
        }
    }
    if !fields.is_empty() {
        fields.push(tag::END);
    }
    fields
}
