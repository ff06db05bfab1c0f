//! What the signals of a waveform share and what they do not, as attributes of their samples; and the samples.
//!
//! A value is `zeros[lead] + steps[lead] * count`, in 10^-9 of the lead's unit: nanovolts for volts.

use ecgkeep_format::{Error, Kind, Note, Place, Result, Weight};
use ecgkeep_recording::{Exact, Lead, Rate, Signal, SignalUnit, Waveform, WaveformKind};
use hdf5::types::{IntSize, TypeDescriptor};
use hdf5::{Datatype, Location};

use crate::attributes::{Attributes, is_type, put_number, put_numbers, put_text, put_texts};
use crate::node::{Reading, Stored};
use crate::number;
use crate::words;

/// Bytes of one compressed block of samples: what the libraries' own buffer for blocks holds four times.
const CHUNK_BYTES: usize = 1 << 18;

/// What all signals of a waveform share, and what each measures.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Axes {
    pub(crate) kind: WaveformKind,
    pub(crate) start: Exact,
    pub(crate) rate: Rate,
    pub(crate) leads: Vec<Lead>,
    pub(crate) units: Vec<SignalUnit>,
}

/// The names of the attributes of [`Axes`].
pub(crate) const AXES: &[&str] = &[
    "kind",
    "kind_name",
    "start_s",
    "start_s_exact",
    "rate_hz",
    "rate_hz_exact",
    "leads",
    "measures",
    "units",
];

impl Axes {
    pub(crate) fn of(waveform: &Waveform) -> Axes {
        Axes {
            kind: waveform.kind.clone(),
            start: waveform.start,
            rate: waveform.rate(),
            leads: waveform.signals().iter().map(|signal| signal.lead.clone()).collect(),
            units: waveform.signals().iter().map(|signal| signal.unit.clone()).collect(),
        }
    }

    /// Writes them. `hold` makes of a text what stands in an attribute.
    pub(crate) fn write(&self, at: &Location, mut hold: impl FnMut(&str) -> String) -> hdf5::Result<()> {
        let (kind, name) = words::write(&self.kind);
        put_text(at, "kind", &kind)?;
        if !name.is_empty() {
            put_text(at, "kind_name", &hold(&name))?;
        }
        put_exact(at, "rate_hz", self.rate.per_second())?;
        put_exact(at, "start_s", self.start)?;
        let leads: Vec<String> = self.leads.iter().map(|lead| hold(&words::write_lead(lead))).collect();
        put_texts(at, "leads", &leads)?;
        let words: Vec<(String, String)> = self.units.iter().map(words::write).collect();
        let measures: Vec<&str> = words.iter().map(|(measures, _)| measures.as_str()).collect();
        put_texts(at, "measures", &measures)?;
        let units: Vec<String> = words
            .iter()
            .map(|(measures, name)| if measures == VOLT { "V".to_owned() } else { hold(name) })
            .collect();
        put_texts(at, "units", &units)
    }

    /// Reads them. `text` makes of what stands in an attribute a text.
    pub(crate) fn read(
        reading: &mut Reading,
        attributes: &Attributes,
        place: &Place,
        leads: usize,
        text: impl Fn(&Reading, &str) -> Result<String>,
    ) -> Result<Axes> {
        let kind = attributes.text("kind")?.ok_or_else(|| attributes.missing("kind"))?;
        let name = match attributes.text("kind_name")? {
            Some(name) => text(reading, &name)?,
            None => String::new(),
        };
        let kind = words::read(&kind, &name).ok_or_else(|| {
            attributes.malformed("kind", &format!("is {kind:?}, which is no kind of waveform"))
        })?;
        let rate = take_exact(reading, attributes, place, "rate_hz")?
            .ok_or_else(|| attributes.missing("rate_hz"))?;
        let rate = Rate::new(rate).ok_or_else(|| attributes.malformed("rate_hz", "is not above zero"))?;
        let start = take_exact(reading, attributes, place, "start_s")?.unwrap_or_default();
        let names = attributes.text_list("leads", leads)?.ok_or_else(|| attributes.missing("leads"))?;
        let units = attributes.text_list("units", leads)?.ok_or_else(|| attributes.missing("units"))?;
        let measures = match attributes.text_list("measures", leads)? {
            Some(measures) => measures,
            None => units.iter().map(|unit| if unit == "V" { VOLT } else { "other" }.to_owned()).collect(),
        };
        let unit = |(measures, unit): (&String, &String)| {
            let name = if measures == VOLT { String::new() } else { text(reading, unit)? };
            words::read(measures, &name).ok_or_else(|| {
                attributes.malformed("measures", &format!("holds {measures:?}, which is unknown"))
            })
        };
        Ok(Axes {
            kind,
            start,
            rate,
            units: measures.iter().zip(&units).map(unit).collect::<Result<_>>()?,
            leads: names
                .iter()
                .map(|name| Ok(words::read_lead(&text(reading, name)?)))
                .collect::<Result<_>>()?,
        })
    }
}

/// The word for [`SignalUnit::Volt`].
const VOLT: &str = "volt";

/// The type of the samples: 16 bits where they fit, else 32.
pub(crate) fn sample_type<'a>(signals: impl Iterator<Item = &'a Signal>) -> TypeDescriptor {
    let fits = |sample: &i32| i16::try_from(*sample).is_ok();
    let all_fit = signals.into_iter().all(|signal| signal.samples.iter().all(fits));
    TypeDescriptor::Integer(if all_fit { IntSize::U2 } else { IntSize::U4 })
}

/// Whether counts of this type fit 32 signed bits.
/// # Errors
/// [`Kind::Unsupported`].
pub(crate) fn check_sample_type(kind: &Datatype, place: &Place) -> Result<()> {
    let known = [
        TypeDescriptor::Integer(IntSize::U1),
        TypeDescriptor::Integer(IntSize::U2),
        TypeDescriptor::Integer(IntSize::U4),
        TypeDescriptor::Unsigned(IntSize::U1),
        TypeDescriptor::Unsigned(IntSize::U2),
    ];
    if known.iter().any(|known| is_type(kind, known)) {
        return Ok(());
    }
    Err(Error::new(
        Kind::Unsupported,
        "its samples are no whole numbers of 8, 16 or 32 bits, the low byte first",
    )
    .at(place.clone())
    .remedy("write counts as int16 or int32, and what a count stands for as the attributes steps and zeros"))
}

/// The chunks of an array of samples, its last dimension time: whole blocks of the others where they are small.
pub(crate) fn chunk(shape: &[usize], sample_bytes: usize) -> Vec<usize> {
    let mut left = CHUNK_BYTES / sample_bytes;
    let mut chunk: Vec<usize> = shape
        .iter()
        .rev()
        .map(|length| {
            let taken = (*length).min(left).max(1);
            left /= taken;
            taken
        })
        .collect();
    chunk.reverse();
    chunk
}

/// Writes a number, and its text where the number alone does not say it.
pub(crate) fn put_exact(at: &Location, name: &str, exact: Exact) -> hdf5::Result<()> {
    let (number, text) = number::write(exact);
    put_number(at, name, number)?;
    text.map_or(Ok(()), |text| put_text(at, &format!("{name}_exact"), &text))
}

/// Writes numbers, and their texts where one of the numbers alone does not say it.
pub(crate) fn put_exacts(at: &Location, name: &str, exacts: &[Exact]) -> hdf5::Result<()> {
    let (numbers, texts): (Vec<f64>, Vec<Option<String>>) =
        exacts.iter().map(|exact| number::write(*exact)).unzip();
    put_numbers(at, name, &numbers)?;
    if texts.iter().all(Option::is_none) {
        return Ok(());
    }
    let texts: Vec<String> = texts.into_iter().map(Option::unwrap_or_default).collect();
    put_texts(at, &format!("{name}_exact"), &texts)
}

/// Reads what [`put_exact`] writes.
pub(crate) fn take_exact(
    reading: &mut Reading,
    attributes: &Attributes,
    place: &Place,
    name: &str,
) -> Result<Option<Exact>> {
    let Some(number) = attributes.number(name)? else { return Ok(None) };
    let text = attributes.text(&format!("{name}_exact"))?;
    exact(reading, place, name, number, text.as_deref().unwrap_or_default()).map(Some)
}

/// Reads what [`put_exacts`] writes.
pub(crate) fn take_exacts(
    reading: &mut Reading,
    attributes: &Attributes,
    place: &Place,
    name: &str,
    count: usize,
) -> Result<Option<Vec<Exact>>> {
    let Some(numbers) = attributes.number_list(name, count)? else { return Ok(None) };
    let texts = attributes.text_list(&format!("{name}_exact"), count)?.unwrap_or(vec![String::new(); count]);
    let pairs = numbers.iter().zip(&texts);
    pairs.map(|(number, text)| exact(reading, place, name, *number, text)).collect::<Result<_>>().map(Some)
}

/// The number that a floating-point number and the text beside it (empty where there is none) say.
/// # Errors
/// [`Kind::Malformed`] where they say none.
pub(crate) fn exact(
    reading: &mut Reading,
    place: &Place,
    name: &str,
    number: f64,
    text: &str,
) -> Result<Exact> {
    let no_number =
        |what: String| Error::malformed(place.clone(), format!("{name} is {what}, no exact number"));
    if text.is_empty() {
        return number::shortest(number).ok_or_else(|| no_number(number.to_string()));
    }
    let exact: Exact = text.parse().map_err(|error| no_number(format!("{text:?}")).because(error))?;
    if !number::agree(number, exact) {
        let text = format!("{name} is {number} and {exact} as a text; the text was taken");
        reading.notes.push(Note::new(Weight::Departure, place.clone(), text));
    }
    Ok(exact)
}

/// The samples of one signal: all of the last dimension, at a place of the others.
/// # Errors
/// [`Kind::Malformed`] where they cannot be read.
pub(crate) fn take_samples(stored: &Stored, at: impl Into<hdf5::Selection>) -> Result<Vec<i32>> {
    let samples =
        stored.dataset.read_slice_1d::<i32, _>(at.into()).map_err(|error| stored.unreadable(&error))?;
    Ok(samples.into_raw_vec_and_offset().0)
}
