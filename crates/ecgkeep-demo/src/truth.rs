//! What is known of a synthetic recording because it was made so.

use ecgkeep_recording::{Lead, Recording, Span};

use crate::Fault;

/// A synthetic recording and the truth about it.
#[derive(Clone, Debug)]
pub struct Demo {
    /// The recording.
    pub recording: Recording,
    /// What is true of it.
    pub truth: Truth,
}

/// What is true of a synthetic recording, by the definitions of its model. Voltages, intervals and axis are those
/// of the heart with every cable in its place, before noise, faults and rounding.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// The sample of each beat in the recording, in order: where the QRS dipole is longest (near the R peak of
    /// leads II and V5).
    pub beats: Vec<usize>,
    /// The waves of each of these beats.
    pub waves: Vec<Waves>,
    /// The waves of each of the twelve leads, in the usual order.
    pub leads: Vec<LeadTruth>,
    /// Frontal axis of the net area of the QRS, degrees from -180 to 180.
    pub axis_deg: f64,
    /// Heart rate per minute: 60 over the mean RR interval between the beats in the recording; over the mean
    /// interval asked for where there are fewer than two.
    pub rate: f64,
    /// P onset to QRS onset, milliseconds.
    pub pr_ms: f64,
    /// QRS onset to QRS offset, milliseconds.
    pub qrs_ms: f64,
    /// QRS onset to T offset, milliseconds.
    pub qt_ms: f64,
    /// The faults, in the order of the spec.
    pub faults: Vec<FaultTruth>,
}

/// Sample numbers of the waves of one beat; those of the first and last beat may lie outside the recording. A
/// wave begins and ends where the outermost of its Gaussians is 2.5 standard deviations from its centre (4.4 % of
/// its height), and peaks where its dipole is longest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waves {
    /// P onset.
    pub p_onset: i64,
    /// P peak.
    pub p_peak: i64,
    /// P offset.
    pub p_offset: i64,
    /// QRS onset.
    pub qrs_onset: i64,
    /// QRS offset.
    pub qrs_offset: i64,
    /// T peak.
    pub t_peak: i64,
    /// T offset.
    pub t_offset: i64,
}

/// The waves of one lead: signed extremes from the baseline between the wave's boundaries, microvolts, in a beat
/// of mean size (breathing changes a beat by up to 2 %).
#[derive(Clone, Debug, PartialEq)]
pub struct LeadTruth {
    /// Which lead.
    pub lead: Lead,
    /// The extreme of larger size of the P wave.
    pub p_microvolts: f64,
    /// The highest point of the QRS.
    pub qrs_max_microvolts: f64,
    /// Where that point is, milliseconds from the beat.
    pub qrs_max_ms: f64,
    /// The lowest point of the QRS.
    pub qrs_min_microvolts: f64,
    /// The extreme of larger size of the T wave.
    pub t_microvolts: f64,
    /// Net area of the QRS, microvolt-seconds.
    pub qrs_area: f64,
}

/// One fault as it was made.
#[derive(Clone, Debug, PartialEq)]
pub struct FaultTruth {
    /// What was asked for.
    pub fault: Fault,
    /// The samples it touches; `None` where it touches none.
    pub samples: Option<Span>,
    /// The leads it touches and its size in each, microvolts: peak for hum and wander, rms for muscle noise, the
    /// first step for a jump, 0 for the others.
    pub leads: Vec<(Lead, f64)>,
}
