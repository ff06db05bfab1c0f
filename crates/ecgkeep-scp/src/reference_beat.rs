//! Section 5: the reference beat, which may have been subtracted from the rhythm (5.8).

use ecgkeep_format::Weight;
use ecgkeep_recording::{Mark, MarkKind, Waveform, WaveformKind};

use crate::beats::Beats;
use crate::huffman::Tables;
use crate::leads::Leads;
use crate::reading::{Reading, Section};
use crate::rhythm::{rate, signal};
use crate::signals::Signals;

/// The reference beat of section 5.
pub(crate) struct Beat {
    /// Microseconds from one sample to the next.
    pub(crate) interval_us: u16,
    /// Nanovolts per unit; 0 where the record gives no scale.
    pub(crate) step_nv: u16,
    /// Samples that each lead should have.
    pub(crate) count: usize,
    /// One entry per lead in the order of section 3, each as far as it could be decoded; empty where section 5
    /// holds nothing for the lead.
    pub(crate) leads: Vec<Vec<i32>>,
}

/// Reads the reference beat; `None`, with a note, where its length is not known.
pub(crate) fn read_beat(
    reading: &mut Reading,
    section: &Section,
    leads: &Leads,
    signals: &Signals,
    beats: Option<&Beats>,
    tables: Option<&Tables>,
) -> Option<Beat> {
    let longest = signals.leads.iter().map(|lead| lead.bytes.len()).max()?;
    let count = match (beats, tables) {
        (Some(beats), _) => usize::from(beats.length_ms) * 1000 / usize::from(signals.interval_us),
        (None, None) => longest / 2,
        (None, Some(_)) => {
            let text =
                "the reference beat is not read: its length would stand in section 4, which is not there";
            reading.note(Weight::NotTaken, 5, section.start, text);
            return None;
        }
    };
    if count == 0 || count > longest.saturating_mul(8) {
        let text = format!("the reference beat is not read: {count} samples do not fit {longest} bytes");
        reading.note(Weight::Damage, 5, section.start, text);
        return None;
    }
    let mut decoded = Vec::with_capacity(leads.rows.len());
    for (index, row) in leads.rows.iter().enumerate() {
        if signals.leads[index].stated == 0 {
            decoded.push(Vec::new());
            continue;
        }
        let lead = signals.decode(index, tables, count);
        if let Some(stop) = lead.stop {
            let text =
                format!("lead {}: {stop}; {} of {count} samples are read", row.lead, lead.values.len());
            reading.note(Weight::Damage, 5, signals.leads[index].at, text);
        }
        decoded.push(lead.values);
    }
    Some(Beat { interval_us: signals.interval_us, step_nv: signals.step_nv, count, leads: decoded })
}

impl Beat {
    /// The beat as a waveform of its own; `None` where section 5 holds no lead. `fiducial` is the sample, counted from
    /// 1, of its reference point; 0 where not stated.
    pub(crate) fn waveform(&self, leads: &Leads, fiducial: u16) -> Option<Waveform> {
        let with_data = leads.rows.iter().zip(&self.leads).filter(|(_, samples)| !samples.is_empty());
        let signals =
            with_data.map(|(row, samples)| signal(row, samples.clone(), self.count, self.step_nv.into()));
        let mut waveform = Waveform::new(rate(self.interval_us), signals.collect()).ok()?;
        waveform.kind = WaveformKind::RepresentativeBeat { class: 0 };
        if fiducial > 0 {
            waveform.marks.push(Mark::new(i64::from(fiducial) - 1, MarkKind::Beat));
        }
        Some(waveform)
    }
}
