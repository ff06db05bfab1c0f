//! From a record to a recording, top down: the frame, the header, the signals, then what was measured and stated.

use ecgkeep_format::{Error, Kind, Limits, Place, Read, Result, Source, Weight};
use ecgkeep_recording::{Exact, Origin, Recording, Waveform, WaveformKind};

use crate::constants::VERSION;
use crate::extras::{self, FORMAT};
use crate::global::{Clock, read_global};
use crate::header::{Header, Texts, read_header};
use crate::lead_values::read_lead_values;
use crate::reading::Reading;
use crate::record::{Record, read_record};
use crate::rhythm::read_waveforms;
use crate::statements::{CODES, TEXTS, read_statements};

/// Reads the main file of a source, as far as it can be trusted.
/// # Errors
/// Those of [`Source::bytes`]; [`Kind::Malformed`] or [`Kind::Truncated`] where the pointer section cannot be
/// read; [`Kind::Limit`].
pub(crate) fn read(source: &dyn Source, limits: &Limits) -> Result<Read> {
    let file = source.main();
    let bytes = source.bytes(file, limits.file_bytes)?;
    let mut reading = Reading { file, bytes: &bytes, limits, notes: Vec::new() };
    let record = read_record(&mut reading)?;
    let recording = read_recording(&mut reading, &record)?;
    Ok(Read { recordings: vec![recording], notes: reading.notes })
}

fn read_recording<'a>(reading: &mut Reading<'a>, record: &Record<'a>) -> Result<Recording> {
    let header = match record.section(1) {
        Some(section) => read_header(reading, &section, record.version)?,
        None => {
            reading.note_record(Weight::Damage, 0, "section 1 is not there: the patient is not known");
            Header::silent(record.version)
        }
    };
    let Header { subject, acquisition, extras, set } = header;
    let (waveforms, complexes) = read_waveforms(reading, record)?;
    let mut recording = Recording { subject, acquisition, waveforms, extras, ..Recording::default() };
    if let Some(section) = record.section(7) {
        let clock = recording.waveforms.first().and_then(clock);
        let global = read_global(reading, &section, complexes, clock);
        recording.measurements.extend(global.measurements);
        recording.extras.extend(global.extras);
        if let Some(first) = recording.waveforms.first_mut() {
            first.marks.extend(global.marks);
        }
    }
    if let Some(section) = record.section(10) {
        let (measurements, extras) = read_lead_values(reading, &section);
        recording.measurements.extend(measurements);
        recording.extras.extend(extras);
    }
    let mut texts = Texts::new(set);
    for section in [TEXTS, CODES].into_iter().filter_map(|number| record.section(number)) {
        recording.statements.extend(read_statements(reading, &section, &mut texts));
    }
    keep_opaque_sections(reading, record, &mut recording);
    let marks: usize = recording.waveforms.iter().map(|waveform| waveform.marks.len()).sum();
    if marks > reading.limits.marks {
        let text = format!("{marks} marks are more than the limit");
        return Err(Error::new(Kind::Limit, text).at(Place::file(reading.file).part("section 4")));
    }
    recording.origin = Origin {
        format: FORMAT.to_owned(),
        version: Some(format!("{}.{}", record.version / 10, record.version % 10)),
        record: None,
    };
    Ok(recording)
}

/// How times of the record become samples of the first waveform; `None` where that is no rhythm.
fn clock(waveform: &Waveform) -> Option<Clock> {
    if waveform.kind != WaveformKind::Rhythm {
        return None;
    }
    let interval = waveform.rate().interval();
    let interval_us = interval.times(Exact::whole(1_000_000))?.to_whole()?;
    Some(Clock { interval_us, first: waveform.start.over(interval)?.to_whole()? })
}

/// Keeps section 9, those of version 3 and those of the maker as bytes, and says so.
fn keep_opaque_sections(reading: &mut Reading, record: &Record, recording: &mut Recording) {
    for section in record.sections().iter().filter(|section| extras::is_opaque(section.number)) {
        let what = match section.number {
            9 => "statements in a form of the maker",
            12..=18 => "a section of version 3 whose layout is not known here",
            19..=127 => "a reserved section",
            _ => "a section of the maker",
        };
        let text = format!("{what}: {} bytes are kept as they are", section.body.len());
        reading.note(Weight::NotTaken, section.number, section.start, text);
        recording.extras.push(extras::bytes(extras::section_address(section.number), section.body));
        if section.version != VERSION {
            let version = section.version.to_string();
            recording.extras.push(extras::text(extras::version_address(section.number), version));
        }
    }
}
