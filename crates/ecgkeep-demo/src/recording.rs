//! The whole recording, step by step.

use ecgkeep_recording::{
    Exact, Lead, Mark, MarkKind, Measurement, MeasurementKind, Origin, Rate, Recording, Signal, Span, Wave,
    Waveform,
};

use crate::arithmetic::{count, inside, real, whole};
use crate::constants::Wave as ModelWave;
use crate::disturbance::{amplifier, breathing, disturb, samples_in};
use crate::electrodes::{SITES, cabling, leads_of};
use crate::heart::{Heart, Times, axis_deg};
use crate::rhythm::{Beat, beats};
use crate::{Demo, Electrode, Fault, FaultTruth, LeadTruth, Spec, Truth, Waves};

/// The recording that `spec` describes, and the truth about it. It depends on `spec` alone.
#[must_use]
pub fn recording(spec: &Spec) -> Demo {
    let per_second = spec.rate.clamp(100, 8_000);
    let rate = f64::from(per_second);
    let length = samples_in(seconds(spec), rate);
    let mean_rr = 60.0 / spec.heart_rate.clamp(35.0, 160.0);

    let heart = Heart::new(spec.seed, spec.axis_deg, spec.amplitude, mean_rr);
    let beats = beats(spec.seed, mean_rr, rate, length);
    let mut sites: [Vec<f64>; SITES] = std::array::from_fn(|_| vec![0.0; length]);
    heart.beat(&beats, rate, &mut sites);
    breathing(spec.seed, spec.breathing_microvolts, rate, &mut sites);

    let mut cables = cabling(exchanges(spec)).map(|site| sites[site].clone());
    amplifier(spec.seed, spec.noise_microvolts_rms, &mut cables);
    let faults: Vec<FaultTruth> = spec
        .faults
        .iter()
        .map(|fault| fault_truth(fault, disturb(fault, spec.seed, rate, &mut cables), rate, length))
        .collect();

    let truth = truth(&heart, &beats, mean_rr, rate, length, faults);
    let signals = signals(spec, &cables, &truth.faults);
    let exact_rate = Rate::new(Exact::from(i64::from(per_second))).expect("clamped above zero");
    let mut waveform = Waveform::new(exact_rate, signals).expect("twelve signals made in one length");
    if spec.with_marks {
        waveform.marks = marks(&truth);
    }
    let (mut subject, mut acquisition) = (spec.subject.clone(), spec.acquisition.clone());
    if spec.faults.contains(&Fault::NoIdentifier) {
        subject.identifiers.clear();
        subject.birth_date = None;
    }
    if spec.faults.contains(&Fault::NoOperator) {
        acquisition.operators.clear();
    }
    let recording = Recording {
        subject,
        acquisition,
        waveforms: vec![waveform],
        measurements: if spec.with_measurements { measurements(&truth) } else { Vec::new() },
        statements: Vec::new(),
        extras: Vec::new(),
        origin: Origin { format: "demo".to_owned(), version: None, record: None },
    };
    Demo { recording, truth }
}

fn seconds(spec: &Spec) -> f64 {
    let asked = spec.faults.iter().fold(spec.seconds, |seconds, fault| match fault {
        Fault::Short { seconds: short } => seconds.min(*short),
        _ => seconds,
    });
    asked.clamp(1.0, 3_600.0)
}

fn exchanges(spec: &Spec) -> impl Iterator<Item = (Electrode, Electrode)> {
    spec.faults.iter().filter_map(|fault| match fault {
        Fault::ExchangedArms => Some((Electrode::RightArm, Electrode::LeftArm)),
        Fault::ExchangedCables(one, other) => Some((*one, *other)),
        _ => None,
    })
}

fn fault_truth(fault: &Fault, sizes: [f64; 12], rate: f64, length: usize) -> FaultTruth {
    let all = Span { start: 0, end: length };
    let between = |from_s: f64, to_s: f64| Span {
        start: inside(from_s * rate, length),
        end: inside(to_s * rate, length),
    };
    let everywhere = || Lead::TWELVE.into_iter().zip(sizes).filter(|(_, size)| *size > 0.0).collect();
    let (samples, leads) = match fault {
        Fault::FlatLead { lead, from_s, to_s } | Fault::Missing { lead, from_s, to_s } => {
            (Some(between(*from_s, *to_s)), vec![(lead.clone(), 0.0)])
        }
        Fault::Clipped { lead, .. } => (Some(all), vec![(lead.clone(), 0.0)]),
        Fault::Hum { .. } | Fault::Wander { .. } | Fault::MuscleNoise { .. } => (Some(all), everywhere()),
        Fault::ElectrodeJump { at_s, .. } => {
            (Some(Span { start: inside(at_s * rate, length), end: length }), everywhere())
        }
        Fault::ExchangedArms | Fault::ExchangedCables(..) => (Some(all), Vec::new()),
        Fault::NoIdentifier | Fault::NoOperator | Fault::Short { .. } => (None, Vec::new()),
    };
    FaultTruth { fault: fault.clone(), samples, leads }
}

/// Each lead from unrounded potentials, then rounded once, then what is wrong with the lead itself.
fn signals(spec: &Spec, cables: &[Vec<f64>; SITES], faults: &[FaultTruth]) -> Vec<Signal> {
    let counts_per_microvolt = 1000.0 / spec.step.nanovolts().to_f64();
    let length = cables[0].len();
    let mut leads: [Vec<i32>; 12] = std::array::from_fn(|_| Vec::with_capacity(length));
    for sample in 0..length {
        let voltages = leads_of(cables.each_ref().map(|cable| cable[sample]));
        for (lead, voltage) in leads.iter_mut().zip(voltages) {
            lead.push(count(voltage * counts_per_microvolt));
        }
    }
    let mut signals: Vec<Signal> = Lead::TWELVE
        .into_iter()
        .zip(leads)
        .map(|(lead, samples)| Signal::new(lead, spec.step, samples))
        .collect();
    for truth in faults {
        let Some(span) = truth.samples.filter(|span| !span.is_empty()) else { continue };
        let of = |lead: &Lead| Lead::TWELVE.iter().position(|one| one == lead);
        match &truth.fault {
            Fault::FlatLead { lead, .. } => {
                if let Some(at) = of(lead) {
                    signals[at].samples[span.start..span.end].fill(0);
                }
            }
            Fault::Missing { lead, .. } => {
                if let Some(at) = of(lead) {
                    let mut missing = std::mem::take(&mut signals[at].missing);
                    missing.push(span);
                    signals[at] = signals[at].clone().with_missing(missing);
                }
            }
            Fault::Clipped { lead, microvolts } => {
                if let Some(at) = of(lead) {
                    let most = count(microvolts.abs() * counts_per_microvolt.abs());
                    signals[at].samples.iter_mut().for_each(|count| *count = (*count).clamp(-most, most));
                }
            }
            _ => {}
        }
    }
    signals
}

fn truth(
    heart: &Heart,
    beats: &[Beat],
    mean_rr: f64,
    rate: f64,
    length: usize,
    faults: Vec<FaultTruth>,
) -> Truth {
    let times = heart.times();
    let inside: Vec<usize> = beats
        .iter()
        .filter_map(|beat| usize::try_from(beat.sample).ok())
        .filter(|sample| *sample < length)
        .collect();
    let rr = match (inside.first(), inside.last()) {
        (Some(first), Some(last)) if last > first => {
            let intervals = i64::try_from(inside.len() - 1).unwrap_or(i64::MAX);
            real(i64::try_from(last - first).unwrap_or(i64::MAX)) / rate / real(intervals)
        }
        _ => mean_rr,
    };
    let areas = heart.qrs_areas();
    Truth {
        waves: inside.iter().map(|sample| waves(&times, *sample, rate)).collect(),
        beats: inside,
        leads: lead_truths(heart, areas),
        axis_deg: axis_deg(areas[0], areas[5]),
        rate: 60.0 / rr,
        pr_ms: times.qrs[0] - times.p[0],
        qrs_ms: times.qrs[1] - times.qrs[0],
        qt_ms: times.t[1] - times.qrs[0],
        faults,
    }
}

fn waves(times: &Times, beat: usize, rate: f64) -> Waves {
    let at = |ms: f64| i64::try_from(beat).unwrap_or(i64::MAX).saturating_add(whole(ms * rate / 1000.0));
    Waves {
        p_onset: at(times.p[0]),
        p_peak: at(times.p[1]),
        p_offset: at(times.p[2]),
        qrs_onset: at(times.qrs[0]),
        qrs_offset: at(times.qrs[1]),
        t_peak: at(times.t[0]),
        t_offset: at(times.t[1]),
    }
}

fn lead_truths(heart: &Heart, areas: [f64; 12]) -> Vec<LeadTruth> {
    let (p, qrs, t) =
        (heart.extremes(ModelWave::P), heart.extremes(ModelWave::Qrs), heart.extremes(ModelWave::T));
    Lead::TWELVE
        .into_iter()
        .enumerate()
        .map(|(at, lead)| LeadTruth {
            lead,
            p_microvolts: p[at].larger(),
            qrs_max_microvolts: qrs[at].highest,
            qrs_max_ms: qrs[at].highest_ms,
            qrs_min_microvolts: qrs[at].lowest,
            t_microvolts: t[at].larger(),
            qrs_area: areas[at],
        })
        .collect()
}

fn marks(truth: &Truth) -> Vec<Mark> {
    let mut marks = Vec::new();
    for (beat, waves) in truth.beats.iter().zip(&truth.waves) {
        let beat = Mark {
            label: Some("N".to_owned()),
            ..Mark::new(i64::try_from(*beat).unwrap_or(i64::MAX), MarkKind::Beat)
        };
        marks.extend([
            Mark::new(waves.p_onset, MarkKind::Onset(Wave::P)),
            Mark::new(waves.p_peak, MarkKind::Peak(Wave::P)),
            Mark::new(waves.p_offset, MarkKind::Offset(Wave::P)),
            Mark::new(waves.qrs_onset, MarkKind::Onset(Wave::Qrs)),
            beat,
            Mark::new(waves.qrs_offset, MarkKind::Offset(Wave::Qrs)),
            Mark::new(waves.t_peak, MarkKind::Peak(Wave::T)),
            Mark::new(waves.t_offset, MarkKind::Offset(Wave::T)),
        ]);
    }
    marks
}

fn measurements(truth: &Truth) -> Vec<Measurement> {
    [
        (MeasurementKind::HeartRate, truth.rate, "/min"),
        (MeasurementKind::PrInterval, truth.pr_ms, "ms"),
        (MeasurementKind::QrsDuration, truth.qrs_ms, "ms"),
        (MeasurementKind::QtInterval, truth.qt_ms, "ms"),
        (MeasurementKind::QrsAxis, truth.axis_deg, "deg"),
    ]
    .into_iter()
    .map(|(kind, value, unit)| Measurement::global(kind, whole(value), unit))
    .collect()
}
