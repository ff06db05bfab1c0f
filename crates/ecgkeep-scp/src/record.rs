//! The frame of a record: its header, section headers, and section 0 with the pointers.

use std::collections::BTreeSet;

use ecgkeep_format::{Error, Kind, Place, Result, Weight};

use crate::constants::{
    CRC, LAST_SECTION, MOST_POINTERS, POINTER_BYTES, POINTER_ROWS, RECORD_HEADER_BYTES, SECTION_HEADER_BYTES,
    SIGNATURE, SIGNATURE_AT, VERSION, clause,
};
use crate::reading::{Reading, Section};

/// The sections that a record points to, by number, and the version it states.
pub(crate) struct Record<'a> {
    /// The version of section 0, times ten.
    pub(crate) version: u8,
    sections: Vec<Section<'a>>,
    /// The numbers of the sections that section 0 points to.
    pointed_to: BTreeSet<u16>,
}

impl<'a> Record<'a> {
    /// A section by its number.
    pub(crate) fn section(&self, number: u16) -> Option<Section<'a>> {
        self.sections.iter().find(|section| section.number == number).copied()
    }

    /// Whether section 0 points to a section that was not found.
    pub(crate) fn lacks(&self, number: u16) -> bool {
        self.pointed_to.contains(&number) && self.section(number).is_none()
    }

    /// Every section that was found, in the order of the file.
    pub(crate) fn sections(&self) -> &[Section<'a>] {
        &self.sections
    }
}

/// One row of section 0.
struct Pointer {
    number: u16,
    length: u32,
    /// The position of the section's first byte; the record's first byte is 1.
    index: u32,
    /// Where the row stands in the file.
    at: usize,
}

/// Finds the sections of a record. Damaged, misplaced and overlapping ones are noted.
/// # Errors
/// [`Kind::Truncated`] or [`Kind::Malformed`] where section 0 cannot be read.
pub(crate) fn read_record<'a>(reading: &mut Reading<'a>) -> Result<Record<'a>> {
    check_size_and_checksum(reading)?;
    let (version, pointers) = read_pointers(reading)?;
    let mut sections = Vec::new();
    for pointer in pointers.iter().filter(|pointer| pointer.number != 0) {
        sections.extend(read_section(reading, pointer));
    }
    sections.sort_by_key(|section| section.start);
    let mut kept: Vec<Section> = Vec::with_capacity(sections.len());
    let mut numbers = BTreeSet::new();
    for mut section in sections {
        let end = kept.last().map_or(0, |last| last.body_start() + last.body.len());
        if section.start < end {
            let text = "overlaps the section before it and is not read";
            reading.note(Weight::Damage, section.number, section.start, text);
        } else if !numbers.insert(section.number) {
            let text = "is there a second time; the second is not read";
            reading.note(Weight::Departure, section.number, section.start, text);
        } else {
            section.is_verified = check_section(reading, &section);
            kept.push(section);
        }
    }
    let is_stated = |pointer: &&Pointer| pointer.length as usize > SECTION_HEADER_BYTES;
    let pointed_to = pointers.iter().filter(is_stated).map(|pointer| pointer.number).collect();
    Ok(Record { version, sections: kept, pointed_to })
}

fn check_size_and_checksum(reading: &mut Reading) -> Result<()> {
    let mut cursor = reading.cursor_at(0, 0, reading.bytes.len());
    let (stated, size) = (cursor.u16()?, cursor.u32()? as usize);
    let length = reading.bytes.len();
    if size > length {
        let text = format!("the record is cut: {size} bytes are stated, {length} are there");
        reading.note_record(Weight::Damage, length, text);
        return Ok(());
    }
    if size < length {
        let text = format!("{} bytes follow the record and are not read", length - size);
        reading.note_record(Weight::Departure, size, text);
    }
    let computed = CRC.checksum(reading.bytes.get(2..size).unwrap_or_default());
    if computed != stated {
        let text =
            format!("the record's checksum is {stated:#06x}, its bytes give {computed:#06x}: it was altered");
        reading.note_record(Weight::Damage, 0, text);
    }
    Ok(())
}

fn read_pointers(reading: &mut Reading) -> Result<(u8, Vec<Pointer>)> {
    let mut cursor = reading.cursor_at(0, RECORD_HEADER_BYTES, reading.bytes.len());
    let stated = cursor.u16()?;
    let place = cursor.clone();
    let number = cursor.u16()?;
    if number != 0 {
        return Err(place.malformed("the number of the first section", number, "0, the pointer section"));
    }
    let place = cursor.clone();
    let length = cursor.u32()? as usize;
    if length < SECTION_HEADER_BYTES {
        return Err(place.malformed("the length of the pointer section", length, "16 bytes or more"));
    }
    let version = cursor.u8()?;
    cursor.u8()?;
    let signature = cursor.take(SIGNATURE.len())?;
    if signature != SIGNATURE && version >= VERSION {
        let text = "the text SCPECG is missing, which a record of version 2 or later has here";
        reading.note(Weight::Departure, 0, SIGNATURE_AT, text);
    }
    let body_length = length - SECTION_HEADER_BYTES;
    if body_length > cursor.left() {
        let text = format!(
            "the pointer section is cut: {body_length} bytes are stated, {} are there",
            cursor.left()
        );
        reading.note(Weight::Damage, 0, reading.bytes.len(), text);
    } else {
        let whole = &reading.bytes[RECORD_HEADER_BYTES + 2..RECORD_HEADER_BYTES + length];
        note_checksum(reading, 0, RECORD_HEADER_BYTES, stated, CRC.checksum(whole));
    }
    let mut body = cursor.part(body_length.min(cursor.left()))?;
    let mut pointers = Vec::with_capacity(body.left() / POINTER_BYTES);
    while body.left() >= POINTER_BYTES && pointers.len() < MOST_POINTERS {
        let at = RECORD_HEADER_BYTES + SECTION_HEADER_BYTES + body.position();
        pointers.push(Pointer { number: body.u16()?, length: body.u32()?, index: body.u32()?, at });
    }
    if body.left() >= POINTER_BYTES {
        let text = format!("{} bytes of rows after the {MOST_POINTERS}th are not read", body.left());
        reading.note(Weight::Damage, 0, RECORD_HEADER_BYTES, text);
    }
    if pointers.len() < usize::from(POINTER_ROWS) {
        let text = format!("{} rows, a record of version 1 or 2 has at least {POINTER_ROWS}", pointers.len());
        reading.note(Weight::Departure, 0, RECORD_HEADER_BYTES, text);
    }
    Ok((version, pointers))
}

/// The section of a row; `None` where it is absent, empty, or nowhere near.
fn read_section<'a>(reading: &mut Reading<'a>, pointer: &Pointer) -> Option<Section<'a>> {
    let stated = pointer.length as usize;
    if stated <= SECTION_HEADER_BYTES {
        return None;
    }
    if pointer.number > LAST_SECTION {
        let text = format!("sections above {LAST_SECTION} are reserved; it is not read");
        reading.note(Weight::NotTaken, pointer.number, pointer.at, text);
        return None;
    }
    let Some(start) = find_header(reading, pointer) else {
        let text = format!("there is no header of it at byte {}, where section 0 points", pointer.index);
        reading.note(Weight::Damage, pointer.number, pointer.at, text);
        return None;
    };
    let mut cursor = reading.cursor_at(pointer.number, start + 4, SECTION_HEADER_BYTES - 4);
    let (length, version) = (cursor.u32().ok()? as usize, cursor.u8().ok()?);
    let mut taken = stated;
    if length != stated {
        taken = stated.min(length).max(SECTION_HEADER_BYTES);
        let text = format!("its header gives {length} bytes, section 0 gives {stated}: the smaller is taken");
        reading.note(Weight::Departure, pointer.number, start, text);
    }
    let end = start.saturating_add(taken).min(reading.bytes.len());
    let body = &reading.bytes[start + SECTION_HEADER_BYTES..end];
    let is_whole = end - start == taken;
    Some(Section { number: pointer.number, version, start, body, is_whole, is_verified: false })
}

/// Where the header of a section is: at its index, counted from 1, or where known faults of writers put it
/// (counted from 0, or from section 0).
fn find_header(reading: &mut Reading, pointer: &Pointer) -> Option<usize> {
    let index = pointer.index as usize;
    let from_section_0 = RECORD_HEADER_BYTES;
    let places = [
        index.checked_sub(1),
        Some(index),
        index.checked_sub(2),
        index.checked_add(from_section_0 - 1),
        index.checked_add(from_section_0),
    ];
    let is_header = |start: &usize| {
        let header = reading.bytes.get(*start..).and_then(|rest| rest.get(..SECTION_HEADER_BYTES));
        header.is_some_and(|header| u16::from_le_bytes([header[2], header[3]]) == pointer.number)
    };
    let start = places.into_iter().flatten().find(is_header)?;
    if start + 1 != index {
        let text =
            format!("section 0 points to byte {index}, it begins at byte {} (counted from 1)", start + 1);
        reading.note(Weight::Departure, pointer.number, pointer.at, text);
    }
    Some(start)
}

/// Whether the section is whole and its checksum right; if not, with a note.
fn check_section(reading: &mut Reading, section: &Section) -> bool {
    if !section.is_whole {
        let text = format!("the section is cut: {} bytes of it are there", section.body.len());
        reading.note(Weight::Damage, section.number, reading.bytes.len(), text);
        return false;
    }
    let end = section.body_start() + section.body.len();
    let stated = u16::from_le_bytes([reading.bytes[section.start], reading.bytes[section.start + 1]]);
    let computed = CRC.checksum(&reading.bytes[section.start + 2..end]);
    note_checksum(reading, section.number, section.start, stated, computed);
    stated == computed
}

fn note_checksum(reading: &mut Reading, section: u16, at: usize, stated: u16, computed: u16) {
    if stated != computed {
        let unverified = if section == 6 { "; the waveform is unverified" } else { "" };
        let text = format!(
            "the section's checksum is {stated:#06x}, its bytes give {computed:#06x}: it was altered{unverified}"
        );
        reading.note(Weight::Damage, section, at, text);
    }
}

/// A section to be written: its number, its version times ten, its body without header and pad byte.
pub(crate) struct Part {
    /// The section's number.
    pub(crate) number: u16,
    /// The section's version, times ten.
    pub(crate) version: u8,
    /// What follows the header.
    pub(crate) body: Vec<u8>,
}

impl Part {
    /// A section of the version that is written.
    pub(crate) fn new(number: u16, body: Vec<u8>) -> Part {
        Part { number, version: VERSION, body }
    }
}

/// Writes a record: header, section 0, then the sections in the order given, each of even length.
/// # Errors
/// [`Kind::Refused`] where the record would exceed 4 GiB.
pub(crate) fn write_record(parts: &[Part]) -> Result<Vec<u8>> {
    let further = parts.iter().filter(|part| part.number >= POINTER_ROWS).count();
    let rows = usize::from(POINTER_ROWS) + further;
    let own_length = SECTION_HEADER_BYTES + rows * POINTER_BYTES;
    let lengths = parts.iter().map(|part| SECTION_HEADER_BYTES + part.body.len().next_multiple_of(2));
    let size = RECORD_HEADER_BYTES + own_length + lengths.clone().sum::<usize>();
    let number = |value: usize| {
        u32::try_from(value).map_err(|_| {
            let place = Place::default().part("record");
            Error::new(Kind::Refused, "would be longer than 4 GiB").at(place).clause(clause::RECORD)
        })
    };
    let mut table = vec![(0, own_length, RECORD_HEADER_BYTES + 1)];
    table.extend((1..POINTER_ROWS).map(|number| (number, 0, 0)));
    let mut index = RECORD_HEADER_BYTES + own_length + 1;
    for (part, length) in parts.iter().zip(lengths) {
        match table.iter_mut().find(|row| row.0 == part.number) {
            Some(row) => *row = (part.number, length, index),
            None => table.push((part.number, length, index)),
        }
        index += length;
    }
    let mut pointers = Vec::with_capacity(rows * POINTER_BYTES);
    for (section, length, index) in table {
        pointers.extend(section.to_le_bytes());
        pointers.extend(number(length)?.to_le_bytes());
        pointers.extend(number(index)?.to_le_bytes());
    }
    let mut record = Vec::with_capacity(size);
    record.extend([0; 2]);
    record.extend(number(size)?.to_le_bytes());
    write_section(&mut record, 0, VERSION, &pointers, number(own_length)?);
    for part in parts {
        let length = number(SECTION_HEADER_BYTES + part.body.len().next_multiple_of(2))?;
        write_section(&mut record, part.number, part.version, &part.body, length);
    }
    let checksum = CRC.checksum(&record[2..]);
    record[..2].copy_from_slice(&checksum.to_le_bytes());
    Ok(record)
}

fn write_section(record: &mut Vec<u8>, number: u16, version: u8, body: &[u8], length: u32) {
    let start = record.len();
    record.extend([0; 2]);
    record.extend(number.to_le_bytes());
    record.extend(length.to_le_bytes());
    record.extend([version, VERSION]);
    record.extend(if number == 0 { SIGNATURE } else { &[0; 6] });
    record.extend(body);
    if body.len() % 2 == 1 {
        record.push(0);
    }
    let checksum = CRC.checksum(&record[start + 2..]);
    record[start..start + 2].copy_from_slice(&checksum.to_le_bytes());
}
