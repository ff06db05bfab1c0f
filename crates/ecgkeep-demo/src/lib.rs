//! Synthetic resting 12-lead ECG recordings with known truth: for the demo, the tests and the benchmarks.
//!
//! The heart is a current dipole whose course is a sum of Gaussian waves (McSharry, Clifford, Tarassenko and
//! Smith 2003, IEEE Trans Biomed Eng 50:289; three-dimensional form: Sameni, Clifford, Jutten and Shamsollahi
//! 2007, EURASIP J Adv Signal Process 43407), seen by electrodes through Dower's lead vectors (Dower 1968). Every
//! lead is the difference of electrode potentials, so the relations between the limb leads hold and an exchange
//! of cables does what it does at the bedside. The result depends on the [`Spec`] alone, to the last bit on every
//! platform. It resembles an ECG closely enough to test programs; it is no model of any person or disease.
//!
//! ```
//! use ecgkeep_demo::{Fault, Spec, recording};
//! let demo = recording(&Spec { seed: 7, faults: vec![Fault::NoOperator], ..Spec::default() });
//! assert_eq!(demo.recording.waveforms[0].length(), 5000);
//! assert!(demo.truth.beats.len() >= 9 && demo.recording.acquisition.operators.is_empty());
//! ```

mod arithmetic;
mod constants;
mod disturbance;
mod electrodes;
mod every_field;
mod heart;
mod people;
mod random;
mod recording;
mod rhythm;
mod small;
mod spec;
mod truth;

pub use every_field::every_field;
pub use recording::recording;
pub use small::small;
pub use spec::{Electrode, Fault, Spec};
pub use truth::{Demo, FaultTruth, LeadTruth, Truth, Waves};
