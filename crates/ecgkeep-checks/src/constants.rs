//! Numbers that are not policy: windows of the computations, each with its source.

/// Above this the rules on voltages are NOT ASSESSED: they are made for a resting strip (project choice).
pub(crate) const LONGEST_STRIP_SECONDS: f64 = 3600.0;

/// Half the window around the QRS reference point over which net areas are taken (project choice; tried on PTB
/// Diagnostic ECG record s0010_re).
pub(crate) const QRS_HALF_SECONDS: f64 = 0.070;

/// The baseline of a beat: the median from here ...
pub(crate) const BASELINE_FROM_SECONDS: f64 = 0.120;
/// ... to here before the QRS reference point (project choice).
pub(crate) const BASELINE_TO_SECONDS: f64 = 0.090;

/// What of the beat before and after the QRS reference point the median beat holds.
pub(crate) const BEAT_BEFORE_SECONDS: f64 = 0.350;
/// See [`BEAT_BEFORE_SECONDS`].
pub(crate) const BEAT_AFTER_SECONDS: f64 = 0.450;

/// A beat belongs to the dominant class where its QRS complexes correlate so well with the median of all beats
/// (project choice).
pub(crate) const SAME_CLASS_CORRELATION: f64 = 0.9;

/// Slopes below this share of the steepest are before the QRS complex ... (project choice)
pub(crate) const QRS_ONSET_SHARE: f64 = 0.08;
/// ... where they stay so for this time (project choice).
pub(crate) const QRS_ONSET_SECONDS: f64 = 0.012;
/// The QRS complex begins at most this long before its reference point (project choice).
pub(crate) const QRS_ONSET_AT_MOST_SECONDS: f64 = 0.150;

/// The P wave is looked for from this long before the QRS onset, or ...
pub(crate) const P_WINDOW_SECONDS: f64 = 0.240;
/// ... this share of the RR interval, if that is shorter (project choices).
pub(crate) const P_WINDOW_RR: f64 = 0.40;
/// The spatial height that a P wave has at least, root mean square over I, II, V1 to V6 (project choice: sinus P
/// waves of 44 real recordings reach 38 uV or more, what is found in atrial fibrillation mostly less than 25).
pub(crate) const P_HEIGHT_UV_AT_LEAST: f64 = 25.0;
/// The width at half height that a P wave has at most (project choice).
pub(crate) const P_WIDTH_SECONDS_AT_MOST: f64 = 0.110;

/// The QRS and T that lead V6 is compared over end this long after the reference point, or ...
pub(crate) const T_END_SECONDS: f64 = 0.400;
/// ... at this share of the RR interval, if that is shorter (project choices).
pub(crate) const T_END_RR: f64 = 0.55;
/// Share of the power of V6 that the frontal leads must explain for its direction to be taken (project choice).
pub(crate) const V6_EXPLAINED_AT_LEAST: f64 = 0.5;
/// Share of the power of the frontal leads that the fit takes for noise (project choice).
pub(crate) const V6_RIDGE: f64 = 0.002;
/// The frontal direction of a usual P wave, in degrees (middle of 0 to 75 degrees of teaching texts, from memory).
pub(crate) const P_AXIS_DEG: f64 = 45.0;
/// The frontal direction that lead V6 usually has, in degrees (between 2 and 86 on 42 of 44 real recordings).
pub(crate) const V6_AXIS_DEG: f64 = 40.0;
/// Leads I, II, V1 to V6 that all correlate so well are one wave, as in published test signals (CAL: identical in
/// these; project choice).
pub(crate) const ONE_WAVE_CORRELATION: f64 = 0.99;
/// Below this rate P waves and QRS onsets were not tried.
pub(crate) const CABLE_RATE_HZ_AT_LEAST: f64 = 200.0;

/// Length of the moving average before differentiation: one period of 50 Hz mains, which it removes.
pub(crate) const SMOOTHING_SECONDS: f64 = 0.020;
/// Length of the moving average over the spatial velocity (project choice).
pub(crate) const ENVELOPE_SECONDS: f64 = 0.080;
/// Length of the moving average, applied twice, that is subtracted so that T waves count less (project choice; on
/// 15 LUDB records the lowest beat then stands 2.7 times higher than anything else, without it 1.9 times).
pub(crate) const SLOW_SECONDS: f64 = 0.120;
/// Where the median of the velocity reaches this share of the beats', there are no beats to tell from the noise
/// (project choice; at most 0.16 on 44 real recordings).
pub(crate) const NOISE_SHARE: f64 = 0.4;
/// Blocks whose maxima set the detection threshold (project choice).
pub(crate) const BLOCK_SECONDS: f64 = 2.0;
/// Blocks to either side that set the threshold together: all of a ten-second strip (project choice).
pub(crate) const BLOCKS_AROUND: usize = 5;
/// Share of the median block maximum that a beat must reach (project choice).
pub(crate) const THRESHOLD_SHARE: f64 = 0.35;
/// No second beat within this time (common practice, no source; Pan and Tompkins 1985 use 200 ms).
pub(crate) const REFRACTORY_SECONDS: f64 = 0.250;
/// Within this time a weaker deflection is taken for a T wave (Pan and Tompkins, IEEE Trans Biomed Eng 32:230, 1985).
pub(crate) const T_WAVE_SECONDS: f64 = 0.360;
/// A gap longer than this many median RR is searched again at half the threshold (Pan and Tompkins 1985: 1.66).
pub(crate) const SEARCH_BACK_RR: f64 = 1.66;
/// Below this rate a QRS complex has too few samples to be found (project choice).
pub(crate) const DETECTOR_RATE_HZ_AT_LEAST: f64 = 80.0;

/// Mains frequencies looked for.
pub(crate) const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// Ten periods of 50 Hz and twelve of 60 Hz: short enough that most blocks hold no QRS complex (project choice).
pub(crate) const HUM_BLOCK_SECONDS: f64 = 0.2;
/// What the signal holds at this distance to either side is no hum (one over the block length, so that hum itself
/// does not show there).
pub(crate) const HUM_NEIGHBOUR_HZ: f64 = 5.0;
/// Twice the highest frequency looked at, with a margin (sampling theorem).
pub(crate) const HUM_RATE_HZ_AT_LEAST: f64 = 150.0;

/// Harmonics of the mains that are looked for: that of rectifiers, and that of saturated iron (common practice, no
/// source).
pub(crate) const HARMONICS: [f64; 2] = [2.0, 3.0];
/// Less noise above 40 Hz than this, in microvolts of standard deviation, holds no harmonic worth a note (a sine
/// counts 1.05 times its peak).
pub(crate) const HARMONICS_NOISE_UV_AT_LEAST: f64 = 8.0;

/// Length of the moving average that is subtracted: a high-pass of about 40 Hz (project choice).
pub(crate) const MUSCLE_HIGH_PASS_SECONDS: f64 = 0.020;
/// From this size in microvolts hum is taken out before muscle noise is measured (project choice).
pub(crate) const HUM_UV_REMOVED: f64 = 5.0;
/// Below this rate little of the muscle noise is left to see (project choice).
pub(crate) const MUSCLE_RATE_HZ_AT_LEAST: f64 = 200.0;
/// From the median absolute deviation to the standard deviation of a normal distribution (1 / 0.67449).
pub(crate) const MAD_TO_SIGMA: f64 = 1.4826;
/// What lies so near to a spike is not compared with it: pulses of a pacemaker last up to 2 ms (EC11, excerpt), and
/// filters spread them.
pub(crate) const SPIKE_GAP_SECONDS: f64 = 0.004;
/// The shoulders that a spike must stand out from: shorter than the flank of a QRS complex (project choice).
pub(crate) const SPIKE_SHOULDER_SECONDS: f64 = 0.008;
/// How many times the noise of its second a spike must stand out: white noise does so by 6 (project choice).
pub(crate) const SPIKE_NOISE_TIMES: f64 = 8.0;
/// Spikes of several leads within this time are one (project choice).
pub(crate) const SPIKES_TOGETHER_SECONDS: f64 = 0.012;
/// A pulse belongs to the beat that follows within this time ... (project choice: the longest PR interval in use)
pub(crate) const SPIKE_BEFORE_BEAT_SECONDS: f64 = 0.350;
/// ... or stands so near to it that it may be a notch of its QRS complex.
pub(crate) const SPIKE_AFTER_BEAT_SECONDS: f64 = 0.080;
/// Pulses recur where their distances from the beats differ by no more (project choice).
pub(crate) const SPIKE_OFFSETS_APART_SECONDS: f64 = 0.030;
/// Below this rate a spike and the tip of an R wave look the same (project choice).
pub(crate) const SPIKE_RATE_HZ_AT_LEAST: f64 = 250.0;

/// Length of the moving average, applied twice: a low-pass of about 0.5 Hz (project choice).
pub(crate) const WANDER_SECONDS: f64 = 0.64;
