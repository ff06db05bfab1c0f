//! Section 3: which leads there are and which samples each of them covers (5.6).

use ecgkeep_format::{Result, Weight};
use ecgkeep_recording::Lead;

use crate::constants::{
    FIRST_MAKER_LEAD, FLAG_SIMULTANEOUS, FLAG_SUBTRACTION, MAKER_LEAD, SIMULTANEOUS_SHIFT, UTF8_VERSION,
};
use crate::reading::{Reading, Section};

const SECTION: u16 = 3;
const ROW_BYTES: usize = 9;

/// One lead and its place on the time axis of the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct LeadRow {
    /// Which lead.
    pub(crate) lead: Lead,
    /// The number of its first sample, counted from 1 at the full rate.
    pub(crate) first: u32,
    /// The number of its last sample, included.
    pub(crate) last: u32,
}

impl LeadRow {
    /// Samples at the full rate.
    pub(crate) fn samples(&self) -> usize {
        (self.last - self.first) as usize + 1
    }
}

/// What section 3 says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Leads {
    /// One entry per lead, in the order of the section.
    pub(crate) rows: Vec<LeadRow>,
    /// Whether a reference beat was subtracted before the rhythm was coded.
    pub(crate) is_subtracted: bool,
}

/// Reads section 3; `None`, with a note, where it describes no waveform.
pub(crate) fn read_leads(reading: &mut Reading, section: &Section) -> Option<Leads> {
    match rows(reading, section) {
        Ok(leads) => leads,
        Err(error) => {
            let at = error.place().byte.and_then(|byte| usize::try_from(byte).ok()).unwrap_or(section.start);
            reading.note(Weight::Damage, SECTION, at, format!("no waveform is read: {}", error.what()));
            None
        }
    }
}

fn rows(reading: &mut Reading, section: &Section) -> Result<Option<Leads>> {
    let mut cursor = reading.cursor(section);
    let (count, flags) = (cursor.u8()?, cursor.u8()?);
    if count == 0 {
        reading.note(Weight::Damage, SECTION, section.body_start(), "no waveform is read: it names no lead");
        return Ok(None);
    }
    let mut rows = Vec::with_capacity(usize::from(count).min(cursor.left() / ROW_BYTES));
    for number in 1..=count {
        let at = section.body_start() + cursor.position();
        let (first, last) = (cursor.u32()?, cursor.u32()?);
        let lead = lead_of(cursor.u8()?, section.version);
        if first == 0 || first > last {
            let text =
                format!("no waveform is read: lead {number} ({lead}) covers samples {first} to {last}");
            reading.note(Weight::Damage, SECTION, at, text);
            return Ok(None);
        }
        rows.push(LeadRow { lead, first, last });
    }
    if cursor.left() > 1 {
        let text = format!("{} bytes after the last lead are not read", cursor.left());
        reading.note(Weight::NotTaken, SECTION, section.body_start() + cursor.position(), text);
    }
    let is_simultaneous = rows.iter().all(|row| (row.first, row.last) == (rows[0].first, rows[0].last));
    if flags & FLAG_SIMULTANEOUS != 0 && !is_simultaneous {
        let text = "all leads are said to be simultaneous, their sample ranges differ: the ranges are taken";
        reading.note(Weight::Departure, SECTION, section.body_start() + 1, text);
    }
    Ok(Some(Leads { rows, is_subtracted: flags & FLAG_SUBTRACTION != 0 }))
}

/// The lead with this number in a section of this version (times ten).
pub(crate) fn lead_of(number: u8, version: u8) -> Lead {
    if number >= FIRST_MAKER_LEAD && version < UTF8_VERSION {
        Lead::Other(format!("{MAKER_LEAD}{number}"))
    } else {
        Lead::from_number(number.into())
    }
}

/// The number to be written for a lead; 0, "unspecified", where SCP-ECG has none.
pub(crate) fn number_of(lead: &Lead) -> u8 {
    let number = match lead {
        Lead::Other(name) => name.strip_prefix(MAKER_LEAD).and_then(|number| number.parse().ok()),
        lead => lead.number(),
    };
    number.and_then(|number| u8::try_from(number).ok()).unwrap_or(0)
}

/// The body of section 3 for leads from which nothing was subtracted; at most 255 rows.
pub(crate) fn write_leads(rows: &[LeadRow]) -> Vec<u8> {
    let count = u8::try_from(rows.len()).expect("the writer takes at most 255 leads");
    let is_simultaneous =
        rows.windows(2).all(|pair| (pair[0].first, pair[0].last) == (pair[1].first, pair[1].last));
    // five bits hold the number; 0 where it does not fit or the leads are not simultaneous
    let simultaneous = if is_simultaneous && count < 32 { count << SIMULTANEOUS_SHIFT } else { 0 };
    let mut body = vec![count, simultaneous | if is_simultaneous { FLAG_SIMULTANEOUS } else { 0 }];
    for row in rows {
        body.extend(row.first.to_le_bytes());
        body.extend(row.last.to_le_bytes());
        body.push(number_of(&row.lead));
    }
    body
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lead_section_of_the_worked_record_is_written() {
        let row = |lead| LeadRow { lead, first: 1, last: 6 };
        let body = [2, 0x14, 1, 0, 0, 0, 6, 0, 0, 0, 1, 1, 0, 0, 0, 6, 0, 0, 0, 2];
        assert_eq!(write_leads(&[row(Lead::I), row(Lead::II)]), body);
    }

    #[test]
    fn every_lead_number_comes_back() {
        for version in [20, 30] {
            for number in 0..=255 {
                assert_eq!(number_of(&lead_of(number, version)), number);
            }
        }
        assert_eq!(lead_of(131, 20).name(), "SCP-ECG lead 131");
        assert_eq!(lead_of(131, 30), Lead::EasiEs);
        assert_eq!(number_of(&Lead::Other("MLII".into())), 0);
    }
}
