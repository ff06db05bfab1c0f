//! The samples of a recording as an array of leads by samples in microvolts, NaN where the source has none.
//!
//!     cargo run -p ecgkeep-examples --bin samples_to_ndarray -- examples/larkmoor/lm01_faultless.hea

use std::path::Path;

use ecgkeep::Input;
use ecgkeep::format::Limits;
use ecgkeep::recording::{SignalUnit, Waveform};
use ndarray::{Array2, Axis, Slice};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args_os().nth(1).ok_or("give a recording")?;
    let opened = Input::at(Path::new(&path))?.read(None, &Limits::default())?;
    let waveform = opened.recording()?.waveforms.first().ok_or("the recording has no waveform")?;
    let (names, array) = microvolts(waveform);
    println!("{} leads of {} samples at {} Hz", array.nrows(), array.ncols(), waveform.rate());
    for (name, lead) in names.iter().zip(array.axis_iter(Axis(0))) {
        let most = lead.fold(f64::MIN, |most, value| most.max(*value));
        println!("{name}: highest {most:.0} uV");
    }
    Ok(())
}

/// The names of the leads, and their voltages: one row per lead, one column per sample. The model is exact; this is
/// where a program that computes takes floats instead.
fn microvolts(waveform: &Waveform) -> (Vec<String>, Array2<f64>) {
    let leads: Vec<_> = waveform.signals().iter().filter(|signal| signal.unit == SignalUnit::Volt).collect();
    let mut array = Array2::zeros((leads.len(), waveform.length()));
    for (signal, mut row) in leads.iter().zip(array.rows_mut()) {
        let (step, offset) = (signal.step.nanovolts().to_f64() / 1000.0, signal.offset.to_f64() / 1000.0);
        row.iter_mut().zip(&signal.samples).for_each(|(to, count)| *to = offset + f64::from(*count) * step);
        for span in &signal.missing {
            row.slice_axis_mut(Axis(0), Slice::from(span.start..span.end)).fill(f64::NAN);
        }
    }
    (leads.iter().map(|signal| signal.lead.name()).collect(), array)
}

#[cfg(test)]
mod tests {
    use ecgkeep::recording::{Exact, Lead, Rate, Signal, Span, Step};

    use super::*;

    #[test]
    fn a_count_becomes_a_voltage_and_a_gap_nan() {
        let step = Step::new(Exact::whole(5000)).expect("not zero");
        let gap = vec![Span { start: 2, end: 3 }];
        let signal = Signal::new(Lead::II, step, vec![-3, 20, 0]).with_missing(gap);
        let rate = Rate::new(Exact::whole(500)).expect("above zero");
        let (names, array) = microvolts(&Waveform::new(rate, vec![signal]).expect("one signal"));
        assert_eq!((names.as_slice(), array[[0, 0]], array[[0, 1]]), (&["II".to_owned()][..], -15.0, 100.0));
        assert!(array[[0, 2]].is_nan());
    }
}
