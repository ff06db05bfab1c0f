//! Section 1: whose recording it is and how it was made (5.4).

use std::collections::BTreeSet;

use ecgkeep_format::{Error, Kind, Result, Weight};
use ecgkeep_recording::{Acquisition, Extra, Recording, Subject};

use crate::constants::{CATEGORY_BEATS, CATEGORY_RHYTHM, tag};
use crate::device::language_code;
use crate::extras::{self, Extras};
use crate::reading::{Reading, Section};
use crate::tags::{Tag, push_tag, read_tags};
use crate::text::{CharacterSet, TooNarrow};
use crate::{making, patient};

/// What section 1 says.
pub(crate) struct Header {
    /// The patient.
    pub(crate) subject: Subject,
    /// The making of the recording.
    pub(crate) acquisition: Acquisition,
    /// What the model does not name.
    pub(crate) extras: Vec<Extra>,
    /// The character set of every text of the record.
    pub(crate) set: CharacterSet,
}

/// What became of one tag.
pub(crate) enum Taken {
    /// It is in the model, or says nothing.
    Yes,
    /// It is not one of the tags asked.
    NotMine,
    /// It is kept as bytes, without remark: it says that something is zero, which the model cannot say.
    AsBytes,
    /// It breaks the standard and is kept as bytes; why, as a lower-case fragment.
    Bad(String),
}

/// Reads texts of one record and collects what departs from the standard in them.
pub(crate) struct Texts {
    /// The character set of the record.
    pub(crate) set: CharacterSet,
    /// What departed since it was last asked.
    departures: Vec<String>,
}

impl Texts {
    /// Texts in this character set.
    pub(crate) fn new(set: CharacterSet) -> Texts {
        Texts { set, departures: Vec::new() }
    }

    /// A text; `None` where it is empty.
    pub(crate) fn read(&mut self, bytes: &[u8]) -> Option<String> {
        let decoded = self.set.decode(bytes);
        self.departures.extend(decoded.departure);
        (!decoded.text.is_empty()).then_some(decoded.text)
    }

    /// Keeps something that departs from the standard.
    pub(crate) fn depart(&mut self, departure: String) {
        self.departures.push(departure);
    }

    /// What departed since this was last asked.
    pub(crate) fn departures(&mut self) -> Vec<String> {
        std::mem::take(&mut self.departures)
    }
}

impl Header {
    /// What a record without section 1 says.
    pub(crate) fn silent(version: u8) -> Header {
        Header {
            subject: Subject::default(),
            acquisition: Acquisition::default(),
            extras: Vec::new(),
            set: CharacterSet::of(0, version),
        }
    }
}

/// Reads section 1 of a record of this version (times ten).
/// # Errors
/// [`Kind::Limit`] for a text longer than the limit.
pub(crate) fn read_header<'a>(
    reading: &mut Reading<'a>,
    section: &Section<'a>,
    version: u8,
) -> Result<Header> {
    let tags = read_tags(reading, section);
    let mut header = Header::silent(version);
    // tag 14 says it for all texts, those before it too
    let device = tags.iter().find(|tag| tag.number == tag::ACQUIRING_DEVICE);
    header.set =
        CharacterSet::of(device.map_or(0, |tag| language_code(tag.value)), version.max(section.version));
    let mut texts = Texts::new(header.set);
    let mut seen = BTreeSet::new();
    for tag in tags {
        if tag.value.len() > reading.limits.text_bytes {
            let text = format!("tag {} has {} bytes, more than the limit", tag.number, tag.value.len());
            let place = reading.cursor_at(1, tag.at, 0).place();
            return Err(Error::new(Kind::Limit, text).at(place));
        }
        let is_again = !seen.insert(tag.number) && !tag::REPEATABLE.contains(&tag.number);
        let taken = if is_again {
            Taken::Bad("it stands a second time".to_owned())
        } else {
            take_tag(&mut header, &mut texts, &tag)
        };
        for departure in texts.departures() {
            reading.note(Weight::Departure, 1, tag.at, format!("tag {}: {departure}", tag.number));
        }
        if let Taken::Bad(why) = &taken {
            let text = format!("tag {} is kept as bytes: {why}", tag.number);
            reading.note(Weight::Departure, 1, tag.at, text);
        }
        if !matches!(taken, Taken::Yes) {
            header.extras.push(extras::bytes(extras::tag_address(tag.number), tag.value));
        }
    }
    making::settle_start(&mut header.acquisition);
    let required = [tag::PATIENT_ID, tag::ACQUIRING_DEVICE, tag::DATE, tag::TIME];
    let missing: Vec<String> =
        required.iter().filter(|tag| !seen.contains(tag)).map(ToString::to_string).collect();
    if !missing.is_empty() {
        let text = format!("required tags are missing: {}", missing.join(", "));
        reading.note(Weight::Departure, 1, section.start, text);
    }
    Ok(header)
}

fn take_tag(header: &mut Header, texts: &mut Texts, tag: &Tag) -> Taken {
    let is_known = tag.number <= tag::HISTORY_TEXT;
    // length 0: known to be empty
    if is_known && tag.value.is_empty() {
        return Taken::Yes;
    }
    match patient::read_tag(&mut header.subject, texts, tag) {
        Taken::NotMine => making::read_tag(&mut header.acquisition, &mut header.extras, texts, tag),
        taken => taken,
    }
}

/// Fields of section 1 while they are written.
pub(crate) struct TagWriter {
    body: Vec<u8>,
    /// The character set of every text.
    pub(crate) set: CharacterSet,
}

impl TagWriter {
    /// A field of bytes.
    pub(crate) fn bytes(&mut self, number: u8, value: &[u8]) {
        push_tag(&mut self.body, number, value);
    }

    /// A field of text, where there is one.
    /// # Errors
    /// [`TooNarrow`].
    pub(crate) fn text(&mut self, number: u8, text: Option<&str>) -> std::result::Result<(), TooNarrow> {
        if let Some(text) = text {
            let value = self.set.encode(text, crate::text::MOST_TEXT_BYTES)?;
            push_tag(&mut self.body, number, &value);
        }
        Ok(())
    }
}

/// The body of section 1: every tag in the order of its number, then those kept as bytes, then the end.
/// # Errors
/// [`TooNarrow`] where the character set does not hold one of the texts.
pub(crate) fn write_header(
    recording: &Recording,
    set: CharacterSet,
    has_beat: bool,
) -> std::result::Result<Vec<u8>, TooNarrow> {
    let extras = Extras::of(recording);
    let category = if has_beat { CATEGORY_BEATS } else { CATEGORY_RHYTHM };
    let mut writer = TagWriter { body: Vec::new(), set };
    patient::write_tags(&mut writer, &recording.subject, &extras)?;
    making::write_tags(&mut writer, &recording.acquisition, &extras, category)?;
    patient::write_history(&mut writer, &recording.subject)?;
    for (number, value) in extras.tags() {
        writer.bytes(number, value);
    }
    writer.bytes(tag::END, &[]);
    Ok(writer.body)
}
