//! What the signals of a waveform share and what each measures, as attributes of their samples; and the samples.
//!
//! A value is `zeros[lead] + steps[lead] * count`, in 10^-9 of the lead's unit: nanovolts for volts.

use ecgkeep_format::{Error, Kind as Fault, Result};
use ecgkeep_recording::{Exact, Lead, Rate, SignalUnit, WaveformKind};

use crate::attributes::Attributes;
use crate::file::{Dataset, Kind, whole};
use crate::node::Reading;
use crate::words;

/// What all signals of a waveform share, and what each measures.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Axes {
    pub(crate) kind: WaveformKind,
    pub(crate) start: Exact,
    pub(crate) rate: Rate,
    pub(crate) leads: Vec<Lead>,
    pub(crate) units: Vec<SignalUnit>,
}

/// The names of the attributes of [`Axes`], and of the formula that goes with them.
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
    "value",
];

/// The word for [`SignalUnit::Volt`].
pub(crate) const VOLT: &str = "volt";

impl Axes {
    /// Reads them. `text` makes of what stands in an attribute a text.
    pub(crate) fn read(
        reading: &mut Reading,
        attributes: &Attributes,
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
        let rate = attributes.exact(reading, "rate_hz")?.ok_or_else(|| attributes.missing("rate_hz"))?;
        let rate = Rate::new(rate).ok_or_else(|| attributes.malformed("rate_hz", "is not above zero"))?;
        let start = attributes.exact(reading, "start_s")?.unwrap_or_default();
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

/// All samples of a dataset, in order.
/// # Errors
/// [`Fault::Unsupported`] where they are no counts of at most 32 signed bits.
pub(crate) fn samples(dataset: &Dataset) -> Result<Vec<i32>> {
    let fits =
        matches!(dataset.kind, Kind::Whole { bytes: 1 | 2, .. } | Kind::Whole { bytes: 4, signed: true, .. });
    if !fits {
        let what =
            format!("its samples are {}, not int8, int16, int32, uint8 or uint16", dataset.kind.name());
        return Err(Error::new(Fault::Unsupported, what).at(dataset.place.clone()).remedy(
            "write counts as int16 or int32, and what a count stands for as the attributes steps and zeros",
        ));
    }
    let values = dataset.values()?;
    if dataset.kind == (Kind::Whole { bytes: 2, signed: true, high_first: false }) {
        let pairs = values.elements().map(|pair| i16::from_le_bytes([pair[0], pair[1]]).into());
        return Ok(pairs.collect());
    }
    let sample = |element: &[u8]| whole(&dataset.kind, element).and_then(|count| i32::try_from(count).ok());
    Ok(values.elements().map(|element| sample(element).unwrap_or(0)).collect())
}
