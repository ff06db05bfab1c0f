//! What else the cables pick up: noise, breathing, hum, wander, muscles, jumps.

use std::f64::consts::TAU;

use crate::arithmetic::{exp, real, sin, whole};
use crate::constants::{BREATHING_AT, HUM_AT, MUSCLE_FROM_HZ, MUSCLE_TO_HZ, RETURN_SECONDS, WANDER_AT};
use crate::electrodes::{SITES, leads_of};
use crate::random::{Purpose, Random};
use crate::rhythm::Breathing;
use crate::{Electrode, Fault};

/// The potentials at the nine cables, one list of samples for each.
pub(crate) type Cables = [Vec<f64>; SITES];

/// White noise of this root mean square at every cable.
pub(crate) fn amplifier(seed: u64, microvolts_rms: f64, cables: &mut Cables) {
    let mut random = Random::new(seed, Purpose::Amplifier);
    for sample in 0..cables[0].len() {
        cables.iter_mut().for_each(|cable| cable[sample] += microvolts_rms * random.normal());
    }
}

/// The baseline's movement with breathing.
pub(crate) fn breathing(seed: u64, microvolts: f64, rate: f64, cables: &mut Cables) {
    let breathing = Breathing::of(seed);
    spread(BREATHING_AT, microvolts, cables, |seconds| breathing.at(seconds), rate);
}

/// Adds what a fault of the signal adds; the size in each of the twelve leads, microvolts. Other faults add
/// nothing.
pub(crate) fn disturb(fault: &Fault, seed: u64, rate: f64, cables: &mut Cables) -> [f64; 12] {
    match *fault {
        Fault::Hum { hz, microvolts } => {
            let phase = TAU * Random::new(seed, Purpose::Hum).uniform();
            spread(HUM_AT, microvolts, cables, |seconds| sin(TAU * hz * seconds + phase), rate)
        }
        Fault::Wander { hz, microvolts } => {
            let phase = TAU * Random::new(seed, Purpose::Wander).uniform();
            spread(WANDER_AT, microvolts, cables, |seconds| sin(TAU * hz * seconds + phase), rate)
        }
        Fault::MuscleNoise { microvolts_rms } => muscle(seed, microvolts_rms, rate, cables),
        Fault::ElectrodeJump { electrode, at_s, microvolts } => {
            jump(electrode, at_s, microvolts, rate, cables)
        }
        _ => [0.0; 12],
    }
}

/// Adds one course in time to all cables by `weights`, scaled so that the lead with most of it has `microvolts`;
/// the size in each lead.
fn spread(
    weights: [f64; SITES],
    microvolts: f64,
    cables: &mut Cables,
    course: impl Fn(f64) -> f64,
    rate: f64,
) -> [f64; 12] {
    let leads = leads_of(weights);
    let most = leads.iter().fold(0.0, |most: f64, lead| most.max(lead.abs()));
    let scale = microvolts / most;
    for index in 0..cables[0].len() {
        let value = scale * course(seconds_at(index, rate));
        for (cable, weight) in cables.iter_mut().zip(weights) {
            cable[index] += weight * value;
        }
    }
    leads.map(|lead| lead.abs() * scale)
}

/// Independent noise at both arms.
fn muscle(seed: u64, microvolts_rms: f64, rate: f64, cables: &mut Cables) -> [f64; 12] {
    let mut random = Random::new(seed, Purpose::Muscle);
    let length = cables[0].len();
    let arms = [0, 1].map(|_| band_noise(&mut random, rate, length));
    let leads_at = |index: usize| {
        let mut potentials = [0.0; SITES];
        (potentials[0], potentials[1]) = (arms[0][index], arms[1][index]);
        leads_of(potentials)
    };
    let mut squares = [0.0; 12];
    for index in 0..length {
        squares.iter_mut().zip(leads_at(index)).for_each(|(square, lead)| *square += lead * lead);
    }
    let rms = squares.map(|square| (square / real(i64::try_from(length).unwrap_or(i64::MAX))).sqrt());
    let scale = microvolts_rms / rms.iter().fold(0.0, |most: f64, rms| most.max(*rms));
    for (cable, arm) in cables.iter_mut().zip(&arms) {
        cable.iter_mut().zip(arm).for_each(|(potential, noise)| *potential += scale * noise);
    }
    rms.map(|rms| rms * scale)
}

/// White noise through first-order filters, or through the lower one alone where the rate is too low for both.
fn band_noise(random: &mut Random, rate: f64, length: usize) -> Vec<f64> {
    let share = |hz: f64| 1.0 - exp(-TAU * hz / rate);
    let (low_share, high_share) = (share(MUSCLE_FROM_HZ), share(MUSCLE_TO_HZ.min(rate / 2.0)));
    let (mut low, mut high) = (0.0, 0.0);
    (0..length)
        .map(|_| {
            high += high_share * (random.normal() - high);
            low += low_share * (high - low);
            high - low
        })
        .collect()
}

fn jump(electrode: Electrode, at_s: f64, microvolts: f64, rate: f64, cables: &mut Cables) -> [f64; 12] {
    let mut weights = [0.0; SITES];
    if electrode == Electrode::RightLeg {
        return weights_in_leads(weights);
    }
    weights[electrode.site()] = microvolts;
    let first = crate::arithmetic::inside(at_s * rate, cables[0].len());
    for (index, potential) in cables[electrode.site()].iter_mut().enumerate().skip(first) {
        *potential += microvolts * exp(-(seconds_at(index, rate) - seconds_at(first, rate)) / RETURN_SECONDS);
    }
    weights_in_leads(weights)
}

fn weights_in_leads(weights: [f64; SITES]) -> [f64; 12] {
    leads_of(weights).map(f64::abs)
}

fn seconds_at(index: usize, rate: f64) -> f64 {
    real(i64::try_from(index).unwrap_or(i64::MAX)) / rate
}

/// Whole samples in this many seconds.
pub(crate) fn samples_in(seconds: f64, rate: f64) -> usize {
    usize::try_from(whole(seconds * rate)).unwrap_or(0)
}
