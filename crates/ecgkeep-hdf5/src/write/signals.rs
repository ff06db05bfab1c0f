//! What the signals of a waveform share and what each measures, as attributes of their samples; how samples are stored.

use ecgkeep_recording::{Signal, Waveform};
use hdf5::plist::dataset_create::Layout;
use hdf5::types::{IntSize, TypeDescriptor};
use hdf5::{Dataset, Group, Location};

use crate::signals::{Axes, VOLT};
use crate::words;
use crate::write::put::{put_exact, put_text, put_texts};
use crate::write::rows::DEFLATE_LEVEL;
use crate::write::scratch::COMPACT_ATTRIBUTES;

/// Bytes of one compressed block of samples: what the libraries' own buffer for blocks holds four times.
const CHUNK_BYTES: usize = 1 << 18;
/// What a researcher has to know to read the samples.
const VALUE: &str = "zeros + steps * count, in 1e-9 of units (nV where units is V)";

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
        put_texts(at, "units", &units)?;
        put_text(at, "value", VALUE)
    }
}

/// The type of the samples: 16 bits where they fit, else 32.
pub(crate) fn sample_type<'a>(signals: impl Iterator<Item = &'a Signal>) -> TypeDescriptor {
    let fits = |sample: &i32| i16::try_from(*sample).is_ok();
    let all_fit = signals.into_iter().all(|signal| signal.samples.iter().all(fits));
    TypeDescriptor::Integer(if all_fit { IntSize::U2 } else { IntSize::U4 })
}

/// A dataset for samples of this shape, its last dimension time: packed in blocks, or empty.
pub(crate) fn samples(
    group: &Group,
    name: &str,
    kind: &TypeDescriptor,
    shape: &[usize],
) -> hdf5::Result<Dataset> {
    let builder = group
        .new_dataset_builder()
        .obj_track_times(false)
        .attr_phase_change(COMPACT_ATTRIBUTES, 0)
        .empty_as(kind)
        .shape(shape);
    if shape.last() == Some(&0) {
        return builder.layout(Layout::Contiguous).create(name);
    }
    builder.chunk(chunk(shape, kind.size())).shuffle().deflate(DEFLATE_LEVEL).fletcher32().create(name)
}

/// The chunks of an array of samples, its last dimension time: whole blocks of the others where they are small.
fn chunk(shape: &[usize], sample_bytes: usize) -> Vec<usize> {
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
