//! Twelve-lead strips computed from a dipole turning in the frontal plane, and invented people of the Larkmoor day
//! clinic. The limb leads keep Einthoven's and Goldberger's relations by construction.
use ecgkeep_checks::{Assessment, Finding, Policy, Verdict, run};
use ecgkeep_recording::{
    Acquisition, Exact, Filing, Identifier, Lead, Person, PersonName, Rate, Recording, Signal, Step, Subject,
    Waveform,
};

/// What a strip is made of.
pub struct Strip {
    pub rate_hz: i32,
    pub seconds: f64,
    /// Microvolts per count.
    pub step_uv: i64,
    pub beats_per_minute: f64,
    /// Frontal axis of P, QRS and T in degrees.
    pub axis_deg: f64,
}

impl Default for Strip {
    fn default() -> Strip {
        Strip { rate_hz: 500, seconds: 10.0, step_uv: 1, beats_per_minute: 72.0, axis_deg: 50.0 }
    }
}

/// (seconds from the R peak, width in seconds, microvolts along the axis).
const WAVES: [(f64, f64, f64); 5] = [
    (-0.170, 0.022, 150.0),
    (-0.026, 0.008, -120.0),
    (0.0, 0.010, 1300.0),
    (0.026, 0.009, -250.0),
    (0.270, 0.045, 300.0),
];

/// Heights of the same waves in V1 to V6, as shares of those along the axis: R waves that grow, S waves that
/// shrink.
const CHEST: [[f64; 5]; 6] = [
    [0.3, 0.0, 0.20, 4.0, -0.2],
    [0.4, 0.0, 0.45, 5.0, 0.8],
    [0.5, 0.0, 0.75, 3.2, 1.2],
    [0.5, 0.3, 1.20, 1.8, 1.3],
    [0.5, 0.8, 1.15, 0.8, 1.0],
    [0.5, 1.0, 0.90, 0.2, 0.8],
];

impl Strip {
    #[expect(clippy::cast_possible_truncation, reason = "a strip is short")]
    pub fn length(&self) -> usize {
        (f64::from(self.rate_hz) * self.seconds).round() as usize
    }

    /// The times of the R peaks in seconds.
    pub fn beats(&self) -> Vec<f64> {
        let interval = 60.0 / self.beats_per_minute;
        (0..).map(|beat| 0.35 + interval * f64::from(beat)).take_while(|at| *at < self.seconds).collect()
    }

    /// The waves with these shares of their heights along the axis, in microvolts.
    fn waves(&self, shares: [f64; 5]) -> Vec<f64> {
        let beats = self.beats();
        let wave = |from_beat: f64| {
            let one = |((centre, width, height), share): (&(f64, f64, f64), f64)| {
                share * height * (-0.5 * ((from_beat - centre) / width).powi(2)).exp()
            };
            WAVES.iter().zip(shares).map(one).sum::<f64>()
        };
        let at = |sample: usize| {
            let seconds = sample as f64 / f64::from(self.rate_hz);
            beats.iter().map(|beat| seconds - beat).filter(|apart| apart.abs() < 0.8).map(wave).sum()
        };
        (0..self.length()).map(at).collect()
    }

    /// Microvolts of I, II, III, aVR, aVL, aVF, V1 to V6.
    pub fn microvolts(&self) -> Vec<Vec<f64>> {
        let axis = self.axis_deg.to_radians();
        let (one, two) = (axis.cos(), (axis - 60f64.to_radians()).cos());
        let limb = [one, two, two - one, -(one + two) / 2.0, one - two / 2.0, two - one / 2.0];
        let along = self.waves([1.0; 5]);
        let limb = limb.iter().map(|share| along.iter().map(|value| value * share).collect());
        limb.chain(CHEST.map(|shares| self.waves(shares))).collect()
    }

    pub fn recording(&self) -> Recording {
        self.recording_of(&self.microvolts())
    }

    /// A recording of the twelve leads with these microvolts, rounded to steps.
    pub fn recording_of(&self, leads: &[Vec<f64>]) -> Recording {
        let signals =
            leads.iter().zip(Lead::TWELVE).map(|(values, lead)| self.signal(lead, values)).collect();
        recording_of_signals(self.rate_hz, signals)
    }

    #[expect(clippy::cast_possible_truncation, reason = "a strip is a few millivolts")]
    pub fn signal(&self, lead: Lead, microvolts: &[f64]) -> Signal {
        let step = Step::new(Exact::whole(1000 * self.step_uv)).expect("not zero");
        Signal::new(
            lead,
            step,
            microvolts.iter().map(|uv| (uv / self.step_uv as f64).round() as i32).collect(),
        )
    }
}

pub fn recording_of_signals(rate_hz: i32, signals: Vec<Signal>) -> Recording {
    let rate = Rate::new(rate_hz.into()).expect("above zero");
    let waveform = Waveform::new(rate, signals).expect("equal lengths");
    Recording {
        subject: patient(),
        acquisition: acquisition(),
        waveforms: vec![waveform],
        ..Recording::default()
    }
}

pub fn patient() -> Subject {
    Subject {
        identifiers: vec![Identifier { value: "LM-004711".into(), ..Identifier::default() }],
        name: PersonName {
            family: Some("Nilsen".into()),
            given: Some("Ada".into()),
            ..PersonName::default()
        },
        birth_date: Some("1961-04-30".parse().expect("a date")),
        ..Subject::default()
    }
}

pub fn acquisition() -> Acquisition {
    Acquisition {
        start: "2026-03-02T09:14:05".parse().expect("a time"),
        operators: vec![Person::named("T. Okafor")],
        ..Acquisition::default()
    }
}

/// An empty filing by an invented nurse.
pub fn filing() -> Filing {
    Filing {
        supplied_by: Person::named("M. Brandt"),
        at: "2026-03-02T10:00".parse().expect("a time"),
        ..Filing::default()
    }
}

pub fn check(recording: &Recording) -> Assessment {
    run(recording, None, &Policy::default(), &"2026-03-02T12:00Z".parse().expect("a time"))
}

pub fn check_filed(recording: &Recording, filing: &Filing) -> Assessment {
    run(recording, Some(filing), &Policy::default(), &"2026-03-02T12:00Z".parse().expect("a time"))
}

pub fn of<'a>(assessment: &'a Assessment, code: &str) -> Vec<&'a Finding> {
    assert!(assessment.performed.contains(&code), "{code} was not judged");
    assessment.findings.iter().filter(|finding| finding.code == code).collect()
}

/// The verdicts of one rule, in order.
pub fn verdicts(assessment: &Assessment, code: &str) -> Vec<Verdict> {
    of(assessment, code).iter().map(|finding| finding.verdict).collect()
}
