//! The numbers of the model. Times are milliseconds from the R wave at 65 beats per minute, dipoles are Frank
//! leads X (left), Y (down), Z (back) in microvolts.

/// Dower's lead vectors: lead voltage = X, Y, Z times these; I, II, V1 to V6 (Dower 1968, J Electrocardiol;
/// coefficients from memory).
pub(crate) const DOWER: [[f64; 3]; 8] = [
    [0.632, -0.235, 0.059],
    [0.235, 1.066, -0.132],
    [-0.515, 0.157, -0.917],
    [0.044, 0.164, -1.387],
    [0.882, 0.098, -1.277],
    [1.213, 0.127, -0.601],
    [1.125, 0.127, -0.086],
    [0.831, 0.076, 0.230],
];

/// A wave of the beat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Wave {
    P,
    Qrs,
    T,
}

/// A wave or a part of one: centre, standard deviation, height on X, Y, Z. Our own values, chosen so that
/// durations, amplitudes and R progression are those of an unremarkable adult (common practice, no source).
pub(crate) const WAVES: [(Wave, f64, f64, [f64; 3]); 9] = [
    // right, then left atrium
    (Wave::P, -166.0, 16.0, [55.0, 75.0, -48.0]),
    (Wave::P, -140.0, 17.0, [80.0, 48.0, 42.0]),
    // septum, apex, left ventricle, its base, the last of the base
    (Wave::Qrs, -24.0, 7.5, [-140.0, 10.0, -250.0]),
    (Wave::Qrs, -10.0, 8.5, [520.0, 300.0, -340.0]),
    (Wave::Qrs, 4.0, 8.5, [980.0, 700.0, 280.0]),
    (Wave::Qrs, 18.0, 8.5, [60.0, 60.0, 520.0]),
    (Wave::Qrs, 31.0, 8.5, [-110.0, -110.0, 190.0]),
    // slow rise, steeper fall
    (Wave::T, 222.0, 46.0, [215.0, 120.0, -125.0]),
    (Wave::T, 268.0, 29.0, [190.0, 105.0, -90.0]),
];

/// What a chest electrode sees beside the dipole because it is close to the heart: wave, electrode 1 to 6, centre,
/// standard deviation, height. Our own values; they make the eight leads independent.
pub(crate) const NEAR_FIELD: [(Wave, usize, f64, f64, f64); 9] = [
    (Wave::Qrs, 1, -16.0, 7.0, 60.0),
    (Wave::Qrs, 2, 16.0, 9.0, -110.0),
    (Wave::Qrs, 3, -8.0, 8.0, 120.0),
    (Wave::Qrs, 4, 6.0, 6.0, 130.0),
    (Wave::Qrs, 5, 15.0, 6.0, -110.0),
    (Wave::Qrs, 6, 27.0, 6.5, -75.0),
    (Wave::T, 2, 235.0, 45.0, 50.0),
    (Wave::T, 4, 262.0, 32.0, -60.0),
    (Wave::T, 5, 232.0, 38.0, -45.0),
];

/// How far the heights above vary from person to person, either way, as a share of them.
pub(crate) const VARIETY: f64 = 0.15;
pub(crate) const NEAR_FIELD_VARIETY: f64 = 0.4;

/// Waves begin and end this many standard deviations from the centre of their outermost Gaussian.
pub(crate) const REACH: f64 = 2.5;

/// Gaussians are left out beyond this many standard deviations (3.7 millionths of their height).
pub(crate) const NEGLIGIBLE: f64 = 5.0;

/// The rate at which the times above are right.
pub(crate) const RATE_OF_TIMES: f64 = 65.0;

/// Breathing: cycles per second, the share of an RR interval that it moves, the share of a beat's size that it
/// moves. McSharry 2003 puts the respiratory peak of the RR spectrum at 0.25 Hz, the slower one at 0.1 Hz.
pub(crate) const BREATHING_HZ: f64 = 0.25;
pub(crate) const BREATHING_RR: f64 = 0.022;
pub(crate) const BREATHING_SIZE: f64 = 0.02;

/// The slower rhythm of the RR intervals.
pub(crate) const SLOW_HZ: f64 = 0.1;
pub(crate) const SLOW_RR: f64 = 0.015;

/// What is left of RR variability: standard deviation as a share of the interval.
pub(crate) const OTHER_RR: f64 = 0.005;

/// How much of a disturbance each electrode takes up: right arm, left arm, left leg, C1 to C6.
pub(crate) const BREATHING_AT: [f64; 9] = [0.1, 0.0, 0.7, 0.2, 0.3, 0.5, 0.8, 1.0, 1.0];
pub(crate) const HUM_AT: [f64; 9] = [0.1, 1.0, 0.05, 0.1, 0.1, 0.15, 0.15, 0.2, 0.25];
pub(crate) const WANDER_AT: [f64; 9] = [0.0, 0.2, 1.0, 0.3, 0.4, 0.7, 1.0, 1.3, 1.2];

/// Muscle noise lies between these frequencies (first-order corners; common practice, no source).
pub(crate) const MUSCLE_FROM_HZ: f64 = 20.0;
pub(crate) const MUSCLE_TO_HZ: f64 = 120.0;

/// The time constant of a 0.05 Hz first-order filter, seconds: 1 / (2 pi 0.05).
pub(crate) const RETURN_SECONDS: f64 = 3.183;
