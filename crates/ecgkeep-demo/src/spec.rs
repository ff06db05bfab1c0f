//! What a synthetic recording shall be.

use ecgkeep_recording::{Acquisition, Exact, Lead, Step, Subject};

use crate::people;

/// What to make. [`Spec::default`] is a faultless calm recording of ten seconds.
#[derive(Clone, Debug, PartialEq)]
pub struct Spec {
    /// Chooses the random numbers: the heights of the waves (within 15 %), rhythm, noise and phases. The same seed
    /// gives the same heart and the same beats whatever the faults are.
    pub seed: u64,
    /// Samples per second, 100 to 8000; taken as the nearest of these outside. Default: 500.
    pub rate: u32,
    /// Length in seconds, 1 to 3600; taken as the nearest of these outside. Default: 10.
    pub seconds: f64,
    /// Nanovolts per count. Default: 1000 (1 microvolt). Voltages are rounded to the nearest count.
    pub step: Step,
    /// Mean heart rate per minute, 35 to 160; taken as the nearest of these outside. Default: 65.
    pub heart_rate: f64,
    /// Frontal QRS axis in degrees. Default: 42.
    pub axis_deg: f64,
    /// Factor on all waves of the heart. Default: 1 (R about 0.9 millivolt in lead II, 1.6 in V4).
    pub amplitude: f64,
    /// Amplifier noise at each electrode, microvolts rms, white. Default: 1.5.
    pub noise_microvolts_rms: f64,
    /// Movement of the baseline with breathing, microvolts peak in the lead that has most of it. Default: 15.
    pub breathing_microvolts: f64,
    /// The patient. Default: an invented person with identifier, name and birth date.
    pub subject: Subject,
    /// The making of the recording. Default: the invented day clinic of Larkmoor, with operator, device and time.
    pub acquisition: Acquisition,
    /// Whether the recording carries its true beats and wave boundaries as marks. Default: no.
    pub with_marks: bool,
    /// Whether the recording carries its true rate, intervals and axis as measurements, in whole units.
    /// Default: no.
    pub with_measurements: bool,
    /// What is wrong with it. Default: nothing.
    pub faults: Vec<Fault>,
}

impl Default for Spec {
    fn default() -> Spec {
        Spec {
            seed: 3,
            rate: 500,
            seconds: 10.0,
            step: Step::new(Exact::whole(1000)).unwrap_or_default(),
            heart_rate: 65.0,
            axis_deg: 42.0,
            amplitude: 1.0,
            noise_microvolts_rms: 1.5,
            breathing_microvolts: 15.0,
            subject: people::subject(),
            acquisition: people::acquisition(),
            with_marks: false,
            with_measurements: false,
            faults: Vec::new(),
        }
    }
}

/// One thing that is wrong with a recording. Times are seconds from its start.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Fault {
    /// One lead shows no tracing: its samples stand at zero.
    FlatLead {
        /// Which of the twelve leads.
        lead: Lead,
        /// First second without a tracing.
        from_s: f64,
        /// Where the tracing comes back.
        to_s: f64,
    },
    /// The source holds no samples of one lead for a while.
    Missing {
        /// Which of the twelve leads.
        lead: Lead,
        /// First second without samples.
        from_s: f64,
        /// Where they come back.
        to_s: f64,
    },
    /// One lead cannot go beyond a voltage, either way.
    Clipped {
        /// Which of the twelve leads.
        lead: Lead,
        /// That voltage.
        microvolts: f64,
    },
    /// Mains hum, taken up mostly by the left arm cable.
    Hum {
        /// Its frequency.
        hz: f64,
        /// Peak size in the lead that has most of it.
        microvolts: f64,
    },
    /// A slow swing of the baseline, mostly at the left leg and the left chest.
    Wander {
        /// Its frequency.
        hz: f64,
        /// Peak size in the lead that has most of it.
        microvolts: f64,
    },
    /// Muscle noise of tense arms, from about 20 to 120 Hz.
    MuscleNoise {
        /// Root mean square in the lead that has most of it.
        microvolts_rms: f64,
    },
    /// An electrode jumps to another voltage and comes back slowly, as the 0.05 Hz filter of a recorder does.
    ElectrodeJump {
        /// Which electrode; the right leg has none.
        electrode: Electrode,
        /// When.
        at_s: f64,
        /// The jump, either way.
        microvolts: f64,
    },
    /// The cables of right arm and left arm are exchanged.
    ExchangedArms,
    /// Two cables are exchanged.
    ExchangedCables(Electrode, Electrode),
    /// Neither identifier nor birth date: one identifier, the name, is left.
    NoIdentifier,
    /// Nobody is named as the operator.
    NoOperator,
    /// The recording ends early.
    Short {
        /// Its length.
        seconds: f64,
    },
}

/// An electrode of the standard twelve-lead recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Electrode {
    /// Right arm.
    RightArm,
    /// Left arm.
    LeftArm,
    /// Left leg.
    LeftLeg,
    /// Chest 1.
    C1,
    /// Chest 2.
    C2,
    /// Chest 3.
    C3,
    /// Chest 4.
    C4,
    /// Chest 5.
    C5,
    /// Chest 6.
    C6,
    /// Right leg: no part of any lead, unless its cable is exchanged.
    RightLeg,
}
