//! Section 1, the making of the recording: tags 13 to 31, 33 and 34 (5.4.3).

use ecgkeep_recording::{Acquisition, CivilTime, Code, Coded, Device, Exact, Extra, Person, TimeOfDay};

use crate::constants::{
    CATEGORY_BEATS, CATEGORY_RHYTHM, FILTER_WORD_BITS, NOTCH_BITS, TWELVE_LEAD_PLACEMENTS, UNKNOWN_OFFSET,
    XYZ_PLACEMENTS, system, tag,
};
use crate::device::{read_device, write_device};
use crate::extras::{self, Extras};
use crate::header::{TagWriter, Taken, Texts};
use crate::patient::{coded, date, date_bytes, own_code, wrong_length};
use crate::tags::Tag;
use crate::text::TooNarrow;

const ZONE_INDEX: &str = "section 1 tag 34 index";
const ZONE_TEXT: &str = "section 1 tag 34 text";
const OTHER_FILTERS: &str = "section 1 tag 29 reserved bits";

/// Takes a tag that describes the making of the recording.
pub(crate) fn read_tag(
    acquisition: &mut Acquisition,
    extras: &mut Vec<Extra>,
    texts: &mut Texts,
    tag: &Tag,
) -> Taken {
    let value = tag.value;
    match tag.number {
        tag::INDICATION => acquisition.indications.extend(texts.read(value).map(Coded::from_text)),
        tag::ACQUIRING_DEVICE | tag::ANALYSING_DEVICE => {
            let found = read_device(tag.number, value, texts.set, &[CATEGORY_RHYTHM, CATEGORY_BEATS]);
            found.departures.into_iter().for_each(|departure| texts.depart(departure));
            extras.extend(found.extras);
            if tag.number == tag::ACQUIRING_DEVICE {
                (acquisition.recorder, acquisition.mains_hz) = (found.device, found.mains_hz);
            } else {
                acquisition.analyser = found.device;
            }
        }
        tag::INSTITUTION => acquisition.institution = texts.read(value),
        tag::ANALYSING_INSTITUTION => acquisition.analysing_institution = texts.read(value),
        tag::DEPARTMENT => acquisition.department = texts.read(value),
        tag::ANALYSING_DEPARTMENT => acquisition.analysing_department = texts.read(value),
        tag::REFERRING => acquisition.referring.extend(texts.read(value).map(Person::named)),
        tag::CONFIRMING => acquisition.confirming.extend(texts.read(value).map(Person::named)),
        tag::TECHNICIAN => acquisition.operators.extend(texts.read(value).map(Person::named)),
        tag::ROOM => acquisition.room = texts.read(value),
        tag::FREE_TEXT => acquisition.remarks.extend(texts.read(value)),
        tag::SEQUENCE_NUMBER => acquisition.sequence_number = texts.read(value),
        tag::STAT_CODE => {
            let &[code] = value else { return wrong_length(value, "1 byte") };
            acquisition.urgency = Some(coded(system::STAT_CODE, code.to_string()));
        }
        tag::DATE => match date(value) {
            Ok(date) => acquisition.start.date = date,
            Err(why) => return Taken::Bad(why),
        },
        tag::TIME => {
            let &[hour, minute, second] = value else { return wrong_length(value, "3 bytes") };
            match TimeOfDay::new(hour, Some(minute), Some(second), None) {
                Ok(time) => acquisition.start.time = Some(time),
                Err(_) => return Taken::Bad(format!("{hour}:{minute}:{second} is no time of day")),
            }
        }
        tag::HIGH_PASS | tag::LOW_PASS => {
            let &[low, high] = value else { return wrong_length(value, "2 bytes") };
            let number = u16::from_le_bytes([low, high]);
            let filters = &mut acquisition.filters;
            match tag.number {
                _ if number == 0 => return Taken::AsBytes,
                tag::HIGH_PASS => filters.high_pass_hz = Exact::ratio(number.into(), 100).ok(),
                _ => filters.low_pass_hz = Some(Exact::whole(number.into())),
            }
        }
        tag::FILTERS => return read_filters(acquisition, extras, value),
        tag::PLACEMENT => {
            let &[twelve_lead, xyz] = value else { return wrong_length(value, "2 bytes") };
            let found = [
                (system::TWELVE_LEAD, twelve_lead, TWELVE_LEAD_PLACEMENTS),
                (system::XYZ, xyz, XYZ_PLACEMENTS),
            ];
            let stated = found.into_iter().filter(|row| row.1 != 0);
            let codes: Vec<Code> =
                stated.map(|(system, number, table)| placement(system, number, table)).collect();
            acquisition.placement = (!codes.is_empty()).then_some(Coded { text: None, codes });
        }
        tag::TIME_ZONE => return read_zone(acquisition, extras, texts, value),
        _ => return Taken::AsBytes,
    }
    Taken::Yes
}

fn placement(system: &str, number: u8, table: &[(u8, &str)]) -> Code {
    let meaning = table.iter().find(|row| row.0 == number).map(|row| row.1.to_owned());
    Code { system: system.to_owned(), value: number.to_string(), meaning }
}

fn read_filters(acquisition: &mut Acquisition, extras: &mut Vec<Extra>, value: &[u8]) -> Taken {
    let &[bits] = value else { return wrong_length(value, "1 byte") };
    // no filter at all, which the model cannot say
    if bits == 0 {
        return Taken::AsBytes;
    }
    let set = |bit: u8| bits & bit != 0;
    let filters = &mut acquisition.filters;
    filters.notch_hz.extend(NOTCH_BITS.iter().filter(|row| set(row.0)).map(|row| Exact::whole(row.1)));
    filters.described.extend(FILTER_WORD_BITS.iter().filter(|row| set(row.0)).map(|row| row.1.to_owned()));
    let known = NOTCH_BITS.iter().map(|row| row.0).chain(FILTER_WORD_BITS.iter().map(|row| row.0));
    let other = bits & !known.fold(0, |all, bit| all | bit);
    if other != 0 {
        extras.push(extras::text(OTHER_FILTERS, other.to_string()));
    }
    Taken::Yes
}

fn read_zone(
    acquisition: &mut Acquisition,
    extras: &mut Vec<Extra>,
    texts: &mut Texts,
    value: &[u8],
) -> Taken {
    let &[low, high, index_low, index_high, ref text @ ..] = value else {
        return wrong_length(value, "5 bytes or more");
    };
    let offset = i16::from_le_bytes([low, high]);
    match offset {
        UNKNOWN_OFFSET => {}
        -1439..=1439 => acquisition.start.offset_minutes = Some(offset),
        _ => return Taken::Bad(format!("an offset of {offset} minutes is no time zone")),
    }
    let index = u16::from_le_bytes([index_low, index_high]);
    if index != 0 {
        extras.push(extras::text(ZONE_INDEX, index.to_string()));
    }
    let text = if text.is_empty() { None } else { texts.read(text) };
    extras.extend(text.map(|text| extras::text(ZONE_TEXT, text)));
    Taken::Yes
}

/// Midnight without a date is how writers say that neither is known.
pub(crate) fn settle_start(acquisition: &mut Acquisition) {
    let start = &mut acquisition.start;
    let midnight = TimeOfDay::new(0, Some(0), Some(0), None).ok();
    if start.date.is_none() && start.time == midnight {
        start.time = None;
    }
}

/// Writes tags 13 to 31, 33 and 34.
/// # Errors
/// [`TooNarrow`].
pub(crate) fn write_tags(
    writer: &mut TagWriter,
    acquisition: &Acquisition,
    extras: &Extras,
    category: u8,
) -> Result<(), TooNarrow> {
    for indication in &acquisition.indications {
        writer.text(tag::INDICATION, indication.text.as_deref())?;
    }
    write_devices(writer, acquisition, extras, category)?;
    let person =
        |persons: &[Person]| persons.first().map(|person| person.name.line()).filter(|name| !name.is_empty());
    let texts = [
        (tag::INSTITUTION, acquisition.institution.clone()),
        (tag::ANALYSING_INSTITUTION, acquisition.analysing_institution.clone()),
        (tag::DEPARTMENT, acquisition.department.clone()),
        (tag::ANALYSING_DEPARTMENT, acquisition.analysing_department.clone()),
        (tag::REFERRING, person(&acquisition.referring)),
        (tag::CONFIRMING, person(&acquisition.confirming)),
        (tag::TECHNICIAN, person(&acquisition.operators)),
        (tag::ROOM, acquisition.room.clone()),
    ];
    for (number, text) in texts {
        writer.text(number, text.as_deref())?;
    }
    let urgency = acquisition.urgency.as_ref();
    if let Some(code) = urgency.and_then(|urgency| own_code(urgency, system::STAT_CODE)?.parse().ok()) {
        writer.bytes(tag::STAT_CODE, &[code]);
    }
    write_start(writer, &acquisition.start, extras);
    write_filters(writer, acquisition, extras);
    for remark in &acquisition.remarks {
        writer.text(tag::FREE_TEXT, Some(remark))?;
    }
    writer.text(tag::SEQUENCE_NUMBER, acquisition.sequence_number.as_deref())?;
    if let Some(placement) = &acquisition.placement {
        let number = |system| own_code(placement, system).and_then(|code| code.parse().ok()).unwrap_or(0);
        let value = [number(system::TWELVE_LEAD), number(system::XYZ)];
        if value != [0; 2] {
            writer.bytes(tag::PLACEMENT, &value);
        }
    }
    let (index, zone) = (extras.number::<u16>(ZONE_INDEX), extras.text(ZONE_TEXT));
    if acquisition.start.offset_minutes.is_some() || index.is_some() || zone.is_some() {
        let mut value = acquisition.start.offset_minutes.unwrap_or(UNKNOWN_OFFSET).to_le_bytes().to_vec();
        value.extend(index.unwrap_or(0).to_le_bytes());
        value.extend(writer.set.encode(zone.unwrap_or_default(), crate::text::MOST_TEXT_BYTES - 4)?);
        writer.bytes(tag::TIME_ZONE, &value);
    }
    Ok(())
}

fn write_devices(
    writer: &mut TagWriter,
    acquisition: &Acquisition,
    extras: &Extras,
    category: u8,
) -> Result<(), TooNarrow> {
    let Acquisition { recorder, analyser, mains_hz, .. } = acquisition;
    let value = write_device(tag::ACQUIRING_DEVICE, recorder, *mains_hz, category, writer.set, extras)?;
    writer.bytes(tag::ACQUIRING_DEVICE, &value);
    let silent =
        write_device(tag::ANALYSING_DEVICE, &Device::default(), None, category, writer.set, &Extras::none())?;
    let value = write_device(tag::ANALYSING_DEVICE, analyser, None, category, writer.set, extras)?;
    if value != silent {
        writer.bytes(tag::ANALYSING_DEVICE, &value);
    }
    Ok(())
}

/// Tags 25 and 26 are required: a date that is not known is zero, a time that is not known is empty beside a date
/// and midnight beside none. A time without its second gets second 0, one without its minute is left out.
fn write_start(writer: &mut TagWriter, start: &CivilTime, extras: &Extras) {
    let is_kept = |tag: u8| extras.tags().any(|(number, _)| number == tag);
    if start.date.is_some() || !is_kept(tag::DATE) {
        writer.bytes(tag::DATE, &date_bytes(start.date));
    }
    let time = start.time.and_then(|time| Some([time.hour(), time.minute()?, time.second().unwrap_or(0)]));
    match time {
        Some(time) => writer.bytes(tag::TIME, &time),
        None if is_kept(tag::TIME) => {}
        None if start.date.is_some() => writer.bytes(tag::TIME, &[]),
        None => writer.bytes(tag::TIME, &[0; 3]),
    }
}

fn write_filters(writer: &mut TagWriter, acquisition: &Acquisition, extras: &Extras) {
    let filters = &acquisition.filters;
    let whole = |hertz: Option<Exact>, times: i64| {
        let value = hertz?.times(Exact::whole(times))?.to_whole()?;
        u16::try_from(value).ok().filter(|value| *value > 0)
    };
    if let Some(value) = whole(filters.high_pass_hz, 100) {
        writer.bytes(tag::HIGH_PASS, &value.to_le_bytes());
    }
    if let Some(value) = whole(filters.low_pass_hz, 1) {
        writer.bytes(tag::LOW_PASS, &value.to_le_bytes());
    }
    let notches = NOTCH_BITS.iter().filter(|row| filters.notch_hz.contains(&Exact::whole(row.1)));
    let words = FILTER_WORD_BITS.iter().filter(|row| filters.described.iter().any(|word| word == row.1));
    let bits = notches.map(|row| row.0).chain(words.map(|row| row.0)).fold(0, |all, bit| all | bit);
    let bits = bits | extras.number::<u8>(OTHER_FILTERS).unwrap_or(0);
    if bits != 0 {
        writer.bytes(tag::FILTERS, &[bits]);
    }
}
