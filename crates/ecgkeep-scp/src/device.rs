//! Tags 14 and 15 of section 1: the device that recorded and the one that analysed (5.4.3.1).

use ecgkeep_recording::{Device, Exact, Extra};

use crate::constants::{MAINS, MANUFACTURER_IN_TEXT, VERSION, tag};
use crate::extras::{self, Extras};
use crate::text::{CharacterSet, TooNarrow};

/// Bytes before the length of the analysing program's revision.
const FIXED_BYTES: usize = 35;
/// Bytes of the model with its closing zero.
const MODEL_BYTES: usize = 6;
/// The most bytes of a text whose length is one byte, closing zero included.
const MOST_REVISION_BYTES: usize = 255;
/// The most bytes of each of the four texts at the end: together with the rest they fit a tag.
const MOST_TEXT_BYTES: usize = 16_000;

/// Where the language support code stands within the value.
const LANGUAGE_AT: usize = 16;

/// Parts that the model does not name: name, first byte, bytes.
const NUMBERS: &[(&str, usize, usize)] = &[
    ("institution number", 0, 2),
    ("department number", 2, 2),
    ("device type", 6, 1),
    ("manufacturer code", 7, 1),
    ("compatibility level", 15, 1),
    ("capabilities", 17, 1),
    ("mains code", 18, 1),
];
const PROGRAM_REVISION: &str = "analysing program revision";
const SYSTEM_SOFTWARE: &str = "device system software";
const SCP_SOFTWARE: &str = "device SCP software";
const RESERVED: &str = "reserved bytes";

/// A device as tag 14 or 15 describes it.
#[derive(Debug, Default)]
pub(crate) struct DeviceTag {
    /// What the model names.
    pub(crate) device: Device,
    /// The mains frequency in hertz.
    pub(crate) mains_hz: Option<Exact>,
    /// The rest.
    pub(crate) extras: Vec<Extra>,
    /// What departs from the standard.
    pub(crate) departures: Vec<String>,
}

/// The language support code, which governs every text of the record; 0, ASCII, where the value is too short.
pub(crate) fn language_code(value: &[u8]) -> u8 {
    value.get(LANGUAGE_AT).copied().unwrap_or(0)
}

/// Reads the value of tag 14 or 15 as far as it reaches. `written` are the compatibility levels that the writer
/// sets by itself.
pub(crate) fn read_device(number: u8, value: &[u8], set: CharacterSet, written: &[u8]) -> DeviceTag {
    let mut found = DeviceTag::default();
    if value.len() <= FIXED_BYTES {
        found.departures.push(format!("{} bytes, the standard has 41 or more", value.len()));
    }
    let part = |at: usize, bytes: usize| {
        let bytes = value.get(at..at + bytes).unwrap_or_default();
        bytes.iter().rev().fold(0u16, |number, byte| (number << 8) | u16::from(*byte))
    };
    let device_number = part(4, 2);
    found.device.id = (device_number != 0).then(|| device_number.to_string());
    let mains = value.get(18).and_then(|code| MAINS.iter().find(|row| row.0 == *code));
    found.mains_hz = mains.map(|row| Exact::whole(row.1));
    for (name, at, bytes) in NUMBERS {
        let own = part(*at, *bytes);
        let is_silent = match *name {
            "manufacturer code" => own == 0 || own == u16::from(MANUFACTURER_IN_TEXT),
            "compatibility level" => own == 0 || written.iter().any(|level| u16::from(*level) == own),
            "mains code" => own == 0 || (number == tag::ACQUIRING_DEVICE && found.mains_hz.is_some()),
            _ => own == 0,
        };
        if !is_silent {
            found.extras.push(extras::text(address(number, name), own.to_string()));
        }
    }
    let reserved = value.get(19..FIXED_BYTES.min(value.len())).unwrap_or_default();
    if reserved.iter().any(|byte| *byte != 0) {
        found.extras.push(extras::bytes(address(number, RESERVED), reserved));
    }
    let mut text = |bytes: &[u8]| {
        let decoded = set.decode(bytes);
        found.departures.extend(decoded.departure);
        (!decoded.text.is_empty()).then_some(decoded.text)
    };
    // the field has six bytes, and a model of six characters has lost its closing zero: no departure worth a note
    found.device.model = value.get(8..14).and_then(|model| text(&[model, &[0]].concat()));
    let mut rest = value.get(FIXED_BYTES..).unwrap_or_default();
    let Some((length, tail)) = rest.split_first() else { return found };
    let length = usize::from(*length).min(tail.len());
    let revision = if length == 0 { None } else { text(&tail[..length]) };
    rest = &tail[length..];
    let mut next = || {
        let end = rest.iter().position(|byte| *byte == 0).map_or(rest.len(), |end| end + 1);
        let (own, after) = rest.split_at(end);
        rest = after;
        if own.is_empty() { None } else { text(own) }
    };
    found.device.serial = next();
    let (system, scp, manufacturer) = (next(), next(), next());
    found.device.manufacturer = manufacturer;
    let (own, other) = software_names(number);
    let (software, kept) = if own == SYSTEM_SOFTWARE { (system, revision) } else { (revision, system) };
    found.device.software = software;
    for (name, text) in [(other, kept), (SCP_SOFTWARE, scp)] {
        found.extras.extend(text.map(|text| extras::text(address(number, name), text)));
    }
    found
}

/// The text that the model calls the software of this device, and the one it does not name: a recorder is known
/// by its system software, an analyser by its program.
fn software_names(number: u8) -> (&'static str, &'static str) {
    if number == tag::ACQUIRING_DEVICE {
        (SYSTEM_SOFTWARE, PROGRAM_REVISION)
    } else {
        (PROGRAM_REVISION, SYSTEM_SOFTWARE)
    }
}

fn address(number: u8, part: &str) -> String {
    format!("{} {part}", extras::tag_address(number))
}

/// The value of tag 14 or 15.
/// # Errors
/// [`TooNarrow`] where the character set does not hold one of the texts.
pub(crate) fn write_device(
    number: u8,
    device: &Device,
    mains_hz: Option<Exact>,
    category: u8,
    set: CharacterSet,
    extras: &Extras,
) -> Result<Vec<u8>, TooNarrow> {
    let mut value = vec![0; FIXED_BYTES];
    value[7] = MANUFACTURER_IN_TEXT;
    value[14] = VERSION;
    value[15] = category;
    value[LANGUAGE_AT] = set.code;
    let mains = MAINS.iter().find(|row| mains_hz == Some(Exact::whole(row.1)));
    value[18] = mains.map_or(0, |row| row.0);
    if let Some(reserved) = extras.bytes(&address(number, RESERVED)) {
        let fitting = reserved.len().min(FIXED_BYTES - 19);
        value[19..19 + fitting].copy_from_slice(&reserved[..fitting]);
    }
    for (name, at, bytes) in NUMBERS {
        if let Some(own) = extras.number::<u16>(&address(number, name)) {
            value[*at..at + bytes].copy_from_slice(&own.to_le_bytes()[..*bytes]);
        }
    }
    let device_number =
        device.id.as_ref().and_then(|id| id.parse::<u16>().ok().filter(|own| own.to_string() == *id));
    value[4..6].copy_from_slice(&device_number.unwrap_or(0).to_le_bytes());
    let text = |text: Option<&str>, most| set.encode(text.unwrap_or_default(), most);
    let model = text(device.model.as_deref(), MODEL_BYTES)?;
    value[8..8 + model.len()].copy_from_slice(&model);
    let (own, other) = software_names(number);
    let software = device.software.as_deref();
    let other = extras.text(&address(number, other));
    let (system, revision) = if own == SYSTEM_SOFTWARE { (software, other) } else { (other, software) };
    let revision = text(revision, MOST_REVISION_BYTES)?;
    value.push(u8::try_from(revision.len()).expect("the text was cut to 255 bytes"));
    value.extend(revision);
    let scp = extras.text(&address(number, SCP_SOFTWARE));
    for own in [device.serial.as_deref(), system, scp, device.manufacturer.as_deref()] {
        value.extend(text(own, MOST_TEXT_BYTES)?);
    }
    Ok(value)
}
