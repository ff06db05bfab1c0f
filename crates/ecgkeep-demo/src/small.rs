//! The smallest recording that a whole-format test needs.

use ecgkeep_recording::{Exact, Lead, Rate, Recording, Signal, Step, Waveform};

/// Leads II, V2 and aVF, 16 samples each at 500 per second and 1 microvolt per count, and nothing else.
#[must_use]
pub fn small() -> Recording {
    let step = Step::new(Exact::whole(1000)).expect("1000 is not zero");
    let signals = vec![
        Signal::new(Lead::II, step, vec![0, 2, 5, 9, 4, -60, 420, 1180, 610, -190, -40, 3, 6, 12, 20, 31]),
        Signal::new(Lead::V2, step, vec![-1, 1, 3, 2, 0, 90, 640, 310, -870, -530, -80, 10, 22, 35, 51, 70]),
        Signal::new(Lead::AVF, step, vec![1, 3, 4, 7, 2, -45, 300, 890, 480, -150, -33, 2, 5, 10, 15, 23]),
    ];
    let rate = Rate::new(Exact::whole(500)).expect("500 is above zero");
    let waveform = Waveform::new(rate, signals).expect("three signals of 16 samples without gaps");
    Recording { waveforms: vec![waveform], ..Recording::default() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_leads_of_sixteen_samples_and_nothing_else() {
        let recording = small();
        let [waveform] = &recording.waveforms[..] else { panic!("one waveform") };
        assert_eq!((waveform.signals().len(), waveform.length()), (3, 16));
        assert_eq!(Recording { waveforms: Vec::new(), ..recording }, Recording::default());
    }
}
