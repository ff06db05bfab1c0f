//! Section 4: where the QRS complexes are, which stretch of each had the reference beat subtracted, and which
//! areas are protected from decimation (5.7).

use ecgkeep_format::{Result, Weight};

use crate::reading::{Reading, Section};

const SECTION: u16 = 4;
const COMPLEX_BYTES: usize = 14;
const AREA_BYTES: usize = 8;

/// What section 4 says. Sample numbers count from 1 at the full rate, both ends included.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Beats {
    /// Length of the reference beat in milliseconds.
    pub(crate) length_ms: u16,
    /// The sample of the reference beat that falls on the reference point of a complex; 0 where not stated.
    pub(crate) fiducial: u16,
    /// The complexes, in the order of the section.
    pub(crate) complexes: Vec<Complex>,
    /// Areas of full rate in a decimated recording, in the order of the section.
    pub(crate) protected: Vec<(u32, u32)>,
    /// Whether every complex that is counted is there.
    pub(crate) is_complete: bool,
}

/// One QRS complex.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Complex {
    /// Its type; the reference beat was subtracted from those of type 0 only.
    pub(crate) kind: u16,
    /// First sample of the subtraction zone; 0 where there is none.
    pub(crate) begin: u32,
    /// The reference point.
    pub(crate) fiducial: u32,
    /// Last sample of the subtraction zone; 0 where there is none.
    pub(crate) end: u32,
}

/// Reads section 4; `None`, with a note, where not even its head is there.
pub(crate) fn read_beats(reading: &mut Reading, section: &Section) -> Option<Beats> {
    let mut beats = Beats { is_complete: section.is_whole, ..Beats::default() };
    let mut cursor = reading.cursor(section);
    let mut head = || Ok::<_, ecgkeep_format::Error>((cursor.u16()?, cursor.u16()?, cursor.u16()?));
    let Ok((length_ms, fiducial, count)) = head() else {
        reading.note(Weight::Damage, SECTION, section.start, "too short to say anything");
        return None;
    };
    (beats.length_ms, beats.fiducial) = (length_ms, fiducial);
    let count = usize::from(count);
    let fitting = count.min(cursor.left() / COMPLEX_BYTES);
    if fitting < count {
        beats.is_complete = false;
        let text = format!("{count} QRS complexes are counted, {fitting} are there");
        reading.note(Weight::Damage, SECTION, section.body_start() + 4, text);
    }
    let mut rest = || -> Result<()> {
        for _ in 0..fitting {
            let (kind, begin) = (cursor.u16()?, cursor.u32()?);
            beats.complexes.push(Complex { kind, begin, fiducial: cursor.u32()?, end: cursor.u32()? });
        }
        // the protected areas are absent where nothing was decimated
        while beats.protected.len() < count && cursor.left() >= AREA_BYTES {
            beats.protected.push((cursor.u32()?, cursor.u32()?));
        }
        Ok(())
    };
    rest().expect("the bytes left were counted before each row");
    beats.protected.retain(|area| *area != (0, 0));
    Some(beats)
}

/// The body of section 4 of a record from which nothing was subtracted.
pub(crate) fn write_beats(beats: &Beats) -> Vec<u8> {
    let count = u16::try_from(beats.complexes.len()).expect("the writer takes at most 65535 complexes");
    let mut body = Vec::with_capacity(6 + beats.complexes.len() * (COMPLEX_BYTES + AREA_BYTES));
    for number in [beats.length_ms, beats.fiducial, count] {
        body.extend(number.to_le_bytes());
    }
    for complex in &beats.complexes {
        body.extend(complex.kind.to_le_bytes());
        for number in [complex.begin, complex.fiducial, complex.end] {
            body.extend(number.to_le_bytes());
        }
    }
    body.resize(body.len() + beats.complexes.len() * AREA_BYTES, 0);
    body
}
