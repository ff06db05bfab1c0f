//! Where the QRS complex of the median beat begins, the P wave before it, and where lead V6 points in the frontal
//! plane.

use ecgkeep_recording::Lead;

use crate::constants::{
    ONE_WAVE_CORRELATION, P_HEIGHT_UV_AT_LEAST, P_WIDTH_SECONDS_AT_MOST, P_WINDOW_RR, P_WINDOW_SECONDS,
    QRS_HALF_SECONDS, QRS_ONSET_AT_MOST_SECONDS, QRS_ONSET_SECONDS, QRS_ONSET_SHARE, T_END_RR, T_END_SECONDS,
    V6_EXPLAINED_AT_LEAST, V6_RIDGE,
};
use crate::median_beat::{MedianBeat, MedianBeats, correlation};
use crate::statistics::{count, median, moving_average};
use crate::strip::samples;

/// Lengths of moving averages and of the ends over which a level is taken.
const SMOOTH_SECONDS: f64 = 0.012;
const END_SECONDS: f64 = 0.006;
const PEAK_SECONDS: f64 = 0.008;

/// The median beats of I, II, V1 to V6 side by side, without a gap.
pub(crate) struct Beat {
    /// I, II, V1 to V6, in microvolts; zeros where absent.
    leads: [Vec<f64>; 8],
    /// Why a chest lead is absent, in words.
    absent: [Option<String>; 8],
    smooth: [Vec<f64>; 8],
    reference: usize,
    rate_hz: f64,
    rr_seconds: f64,
    qrs_onset: usize,
}

/// The P wave of the median beat.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PWave {
    /// Height in I and II against the line through the ends of the stretch searched, in microvolts.
    pub one_uv: f64,
    pub two_uv: f64,
}

/// The index of V6 among the eight.
const V6: usize = 7;

/// The median beat of a lead, if it has a value in every sample.
fn complete<'a>(beats: &'a MedianBeats, lead: &Lead) -> Result<&'a MedianBeat, String> {
    let beat = beats.lead(lead)?;
    let has_gap = beat.microvolts.iter().any(|value| value.is_nan());
    if has_gap { Err(format!("lead {lead} has missing samples in its beats")) } else { Ok(beat) }
}

impl Beat {
    /// # Errors
    /// That I or II is absent or has no samples, in words. Chest leads may be absent.
    pub fn of(beats: &MedianBeats) -> Result<Beat, String> {
        let one = complete(beats, &Lead::I)?;
        complete(beats, &Lead::II)?;
        let (reference, rate_hz) = (one.reference, one.rate_hz);
        let mut leads: [Vec<f64>; 8] = Default::default();
        let mut absent: [Option<String>; 8] = Default::default();
        for (index, lead) in Lead::EIGHT.iter().enumerate() {
            match complete(beats, lead) {
                Ok(beat) => leads[index].clone_from(&beat.microvolts),
                Err(why) => (leads[index], absent[index]) = (vec![0.0; one.microvolts.len()], Some(why)),
            }
        }
        let width = samples(SMOOTH_SECONDS, rate_hz) | 1;
        let smooth = leads.each_ref().map(|lead| moving_average(lead, width));
        let rr_seconds = beats.rr_seconds;
        let mut beat = Beat { leads, absent, smooth, reference, rate_hz, rr_seconds, qrs_onset: reference };
        beat.qrs_onset = beat.find_qrs_onset();
        Ok(beat)
    }

    fn samples(&self, seconds: f64) -> usize {
        samples(seconds, self.rate_hz)
    }

    /// The first sample of the QRS complex: from the steepest point back until the slopes stay small.
    fn find_qrs_onset(&self) -> usize {
        let n = self.leads[0].len();
        let mut velocity = vec![0.0; n];
        for lead in &self.smooth {
            for (square, pair) in velocity.iter_mut().skip(1).zip(lead.windows(3)) {
                *square += (pair[2] - pair[0]).powi(2);
            }
        }
        velocity.iter_mut().for_each(|square| *square = square.sqrt());
        let velocity = moving_average(&velocity, self.samples(0.010) | 1);
        let half = self.samples(QRS_HALF_SECONDS);
        let qrs = self.reference.saturating_sub(half)..(self.reference + half).min(n);
        let Some(steepest) = qrs.max_by(|a, b| velocity[*a].total_cmp(&velocity[*b])) else {
            return self.reference;
        };
        let calm = self.samples(QRS_ONSET_SECONDS);
        let earliest = self.reference.saturating_sub(self.samples(QRS_ONSET_AT_MOST_SECONDS));
        let mut run = 0;
        for index in (earliest..steepest).rev() {
            run = if velocity[index] < QRS_ONSET_SHARE * velocity[steepest] { run + 1 } else { 0 };
            if run >= calm {
                return index + run;
            }
        }
        self.reference.saturating_sub(half)
    }

    /// The P wave: the highest point of the stretch before the QRS complex, if it stands out from its ends as a
    /// narrow wave does. `None` in atrial fibrillation, with the P wave inside T or QRS, or with too much noise.
    pub fn p_wave(&self) -> Option<PWave> {
        let end_width = self.samples(END_SECONDS);
        let end = self.qrs_onset.checked_sub(self.samples(0.004))?;
        let length = self.samples(P_WINDOW_SECONDS.min(P_WINDOW_RR * self.rr_seconds));
        let start = end.saturating_sub(length).max(end_width);
        if end <= start + 4 * end_width {
            return None;
        }
        let above_line = self.smooth.each_ref().map(|lead| {
            let level = |at: usize| median(&mut lead[at - end_width..at + end_width].to_vec());
            let (from, to) = (level(start), level(end));
            let line = |at: usize| from + (to - from) * count(at - start) / count(end - start);
            (start..end).map(|at| lead[at] - line(at)).collect::<Vec<f64>>()
        });
        let height = |at: usize| (above_line.iter().map(|lead| lead[at].powi(2)).sum::<f64>() / 8.0).sqrt();
        let heights: Vec<f64> = (0..end - start).map(height).collect();
        let peak = (0..heights.len()).max_by(|a, b| heights[*a].total_cmp(&heights[*b]))?;
        let is_low = |at: &usize| heights[*at] < heights[peak] / 2.0;
        let before = (0..peak).rev().find(is_low)?;
        let after = (peak..heights.len()).find(is_low)?;
        let width_seconds = count(after - before) / self.rate_hz;
        if heights[peak] < P_HEIGHT_UV_AT_LEAST || width_seconds > P_WIDTH_SECONDS_AT_MOST {
            return None;
        }
        let around = self.samples(PEAK_SECONDS);
        let mean = |lead: &[f64]| {
            let of = &lead[peak.saturating_sub(around)..(peak + around + 1).min(lead.len())];
            of.iter().sum::<f64>() / count(of.len())
        };
        Some(PWave { one_uv: mean(&above_line[0]), two_uv: mean(&above_line[1]) })
    }

    /// The frontal direction in degrees, and the length, of the vector whose leads I and II explain V6 best over
    /// QRS and T (least squares).
    /// # Errors
    /// That V6 is absent, or that they explain too little of it, in words.
    pub fn v6_direction(&self) -> Result<f64, String> {
        if let Some(why) = &self.absent[V6] {
            return Err(why.clone());
        }
        let end = self.reference + self.samples(T_END_SECONDS.min(T_END_RR * self.rr_seconds));
        let range = self.qrs_onset..end.min(self.leads[0].len());
        let frontal = |at: usize| frontal(self.leads[0][at], self.leads[1][at]);
        let (mut xx, mut xy, mut yy, mut xv, mut yv, mut vv) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for at in range {
            let ((x, y), v) = (frontal(at), self.leads[V6][at]);
            (xx, xy, yy, xv, yv, vv) =
                (xx + x * x, xy + x * y, yy + y * y, xv + x * v, yv + y * v, vv + v * v);
        }
        // A loop that is nearly a line tells nothing across it: a little ridge makes that nothing count for nothing.
        let ridge = V6_RIDGE * (xx + yy);
        (xx, yy) = (xx + ridge, yy + ridge);
        let determinant = xx * yy - xy * xy;
        let (a, b) = ((xv * yy - yv * xy) / determinant, (yv * xx - xv * xy) / determinant);
        let explained = (a * xv + b * yv) / vv;
        let is_clear = explained >= V6_EXPLAINED_AT_LEAST && a.is_finite() && b.is_finite();
        if is_clear {
            Ok(b.atan2(a).to_degrees())
        } else {
            Err("the limb leads do not show what lead V6 shows (a bad V6, or leads that do not fit)"
                .to_owned())
        }
    }

    /// The chest leads V1 to V6 over QRS and T.
    /// # Errors
    /// Which of them is absent, in words.
    pub fn chest(&self) -> Result<[&[f64]; 6], String> {
        if let Some(why) = self.absent.iter().flatten().next() {
            return Err(why.clone());
        }
        let from = self.reference.saturating_sub(self.samples(QRS_HALF_SECONDS));
        let to = (self.reference + self.samples(CHEST_END_SECONDS)).min(self.leads[0].len());
        Ok([2, 3, 4, 5, 6, 7].map(|lead| &self.leads[lead][from.min(to)..to]))
    }

    /// Whether all eight leads show the same wave, as test signals do and no body does.
    pub fn is_one_wave(&self) -> bool {
        let alike = |lead: &Vec<f64>| {
            let pairs = self.leads[0].iter().copied().zip(lead.iter().copied());
            correlation(pairs) >= ONE_WAVE_CORRELATION
        };
        self.absent.iter().all(Option::is_none) && self.leads[1..].iter().all(alike)
    }

    /// From lowest to highest of I, II and III over the whole beat, in microvolts.
    pub fn limb_ranges_uv(&self) -> [f64; 3] {
        let range = |values: &mut dyn Iterator<Item = f64>| {
            let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
            high - low
        };
        let [one, two] = [&self.leads[0], &self.leads[1]];
        [
            range(&mut one.iter().copied()),
            range(&mut two.iter().copied()),
            range(&mut two.iter().zip(one).map(|(two, one)| two - one)),
        ]
    }
}

/// The chest leads are compared from the QRS complex to here after the reference point (project choice).
const CHEST_END_SECONDS: f64 = 0.350;

/// The frontal vector of I and II: x along I, y along aVF, for an equilateral triangle (Einthoven); y is
/// (I + 2 III) / sqrt 3 (Novosel et al. 1999).
pub(crate) fn frontal(one: f64, two: f64) -> (f64, f64) {
    (one, (one + 2.0 * (two - one)) / 3f64.sqrt())
}

impl PWave {
    /// The frontal direction in degrees.
    pub fn axis_deg(self) -> f64 {
        let (x, y) = frontal(self.one_uv, self.two_uv);
        y.atan2(x).to_degrees()
    }
}
