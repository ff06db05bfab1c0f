//! The pages: every layout once, and what a reader must be able to tell apart at a glance.

use std::error::Error;
use std::path::Path;

use ecgkeep_checks::{Assessment, Policy, run};
use ecgkeep_demo::{Fault, Spec, recording};
use ecgkeep_format::{Folder, Format, Limits};
use ecgkeep_recording::{
    Filing, Identifier, Lead, Person, PersonName, Recording, Statement, StatementStatus, Subject, Waveform,
    WaveformKind,
};
use ecgkeep_report::{
    ChestGain, DisplayFilters, Gain, Layout, LeadOrder, Orientation, PageFacts, Paper, PaperSize, Sheet,
    Speed, sheet,
};
use ecgkeep_wfdb::Wfdb;

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// Name and pages of each.
pub fn sheets() -> Result<Vec<(&'static str, Sheet)>> {
    let plain = Paper::default();
    let faultless = read("lm01_faultless")?;
    let mut eight = faultless.clone();
    eight.waveforms = vec![eight_leads(&faultless)?];
    Ok(vec![
        ("3x4", page(&faultless, None, &plain)),
        (
            "3x4-three-strips",
            page(&faultless, None, &Paper { layout: Layout::ThreeByFourThreeStrips, ..plain.clone() }),
        ),
        ("6x2", page(&faultless, None, &Paper { layout: Layout::SixByTwo, ..plain.clone() })),
        (
            "12x1-portrait",
            page(
                &faultless,
                None,
                &Paper { layout: Layout::TwelveByOne, orientation: Orientation::Portrait, ..plain.clone() },
            ),
        ),
        (
            "anatomical-letter-derived",
            page(
                &eight,
                None,
                &Paper { size: PaperSize::Letter, order: LeadOrder::Anatomical, ..plain.clone() },
            ),
        ),
        (
            "double-gain-chest-half",
            page(
                &faultless,
                None,
                &Paper { gain: Gain::Mm20, chest: ChestGain::Half, speed: Speed::Mm50, ..plain.clone() },
            ),
        ),
        ("filtered", page(&read("lm03_mains_hum")?, None, &Paper { filters: filters()?, ..plain.clone() })),
        ("test-recording", page(&read("lm10_bare")?, Some(&filing()), &plain)),
        ("sequential", page(&sequential(&faultless)?, None, &plain)),
        (
            "letter-portrait-double-gain",
            page(
                &faultless,
                None,
                &Paper {
                    size: PaperSize::Letter,
                    orientation: Orientation::Portrait,
                    gain: Gain::Mm20,
                    ..plain.clone()
                },
            ),
        ),
        (
            "half-speed-half-gain",
            page(&faultless, None, &Paper { gain: Gain::Mm5, speed: Speed::Mm12_5, ..plain.clone() }),
        ),
        ("beat-and-statements", page(&with_beat_and_statements()?, None, &plain)),
        ("tall-with-gap", page(&tall_with_gap(), None, &plain)),
        ("unidentified", page(&Recording { subject: Subject::default(), ..faultless.clone() }, None, &plain)),
        ("every-banner", every_banner(&faultless, &plain)),
        ("crowded", crowded(&Paper { chest: ChestGain::Half, filters: filters()?, ..plain.clone() })),
    ])
}

fn read(name: &str) -> Result<Recording> {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/larkmoor"));
    let source = Folder::of(&folder.join(format!("{name}.hea")))?;
    Ok(Wfdb.read(&source, &Limits::default())?.one()?.0)
}

fn page(recording: &Recording, filing: Option<&Filing>, paper: &Paper) -> Sheet {
    sheet(recording, &assessment(recording, filing), &facts(recording, filing), paper)
}

fn assessment(recording: &Recording, filing: Option<&Filing>) -> Assessment {
    let now = "2026-03-02T18:00+01:00".parse().unwrap_or_default();
    run(recording, filing, &Policy::default(), &now)
}

fn facts(recording: &Recording, filing: Option<&Filing>) -> PageFacts {
    PageFacts {
        digest: recording.fingerprint().to_string(),
        filing: filing.cloned(),
        test_recording: ecgkeep_checks::test_recording(recording, filing, &Policy::default()),
        program: "ecgkeep".to_owned(),
        ..PageFacts::default()
    }
}

/// The eight leads from which the other four follow.
fn eight_leads(recording: &Recording) -> Result<Waveform> {
    let waveform = recording.rhythm().next().ok_or("no rhythm")?;
    let signals = waveform.signals().iter().filter(|signal| Lead::EIGHT.contains(&signal.lead)).cloned();
    Ok(Waveform::new(waveform.rate(), signals.collect())?)
}

/// Limb leads, augmented leads and chest leads, one group after the other.
fn sequential(recording: &Recording) -> Result<Recording> {
    let waveform = recording.rhythm().next().ok_or("no rhythm")?;
    let part = |leads: &[Lead], start: i64, seconds: usize| -> Result<Waveform> {
        let signals = waveform.signals().iter().filter(|signal| leads.contains(&signal.lead)).cloned();
        let cut = signals.map(|mut signal| {
            signal.samples.truncate(seconds * 500);
            signal
        });
        let mut part = Waveform::new(waveform.rate(), cut.collect())?;
        part.start = start.into();
        Ok(part)
    };
    let leads = Lead::TWELVE;
    let waveforms = vec![part(&leads[..3], 0, 3)?, part(&leads[3..6], 3, 3)?, part(&leads[6..], 6, 4)?];
    Ok(Recording { waveforms, ..recording.clone() })
}

fn filters() -> Result<DisplayFilters> {
    Ok(DisplayFilters {
        high_pass_hz: Some("0.5".parse()?),
        low_pass_hz: Some("40".parse()?),
        notch_hz: Some("50".parse()?),
    })
}

/// A test of the machine, filed under a name in letters that not every font has.
fn filing() -> Filing {
    let mut filing = Filing {
        supplied_by: Person { name: PersonName::from_text("R. Quill"), ..Person::default() },
        at: "2026-03-02T09:30+01:00".parse().unwrap_or_default(),
        test_recording: true,
        ..Filing::default()
    };
    filing.subject.name = PersonName::from_text("心電図 試験");
    filing.subject.identifiers = vec![Identifier { value: "TEST-3".into(), ..Identifier::default() }];
    filing
}

/// With the source's own measurements, statements of each status, and a representative beat.
fn with_beat_and_statements() -> Result<Recording> {
    let demo = recording(&Spec { with_measurements: true, ..Spec::default() });
    let mut recording = demo.recording;
    let rhythm = recording.rhythm().next().ok_or("no rhythm")?;
    let middle = demo.truth.beats.iter().copied().find(|beat| *beat >= 200).ok_or("no beat")?;
    let cut = rhythm.signals().iter().cloned().map(|mut signal| {
        signal.samples = signal.samples[middle - 200..middle + 400].to_vec();
        signal
    });
    let mut beat = Waveform::new(rhythm.rate(), cut.collect())?;
    beat.kind = WaveformKind::RepresentativeBeat { class: 0 };
    recording.waveforms.push(beat);
    let statement = |text: &str, status, author: Option<&str>| Statement {
        text: text.to_owned(),
        status,
        author: author.map(|name| Person { name: PersonName::from_text(name), ..Person::default() }),
        ..Statement::default()
    };
    recording.statements = vec![
        statement("Sinus rhythm", Some(StatementStatus::Confirmed), Some("Dr Imre Halvard")),
        statement("Rate and intervals as of an invented adult", Some(StatementStatus::OverRead), None),
        statement("Baseline steady", Some(StatementStatus::Unconfirmed), None),
        statement("Made for a demonstration", None, None),
    ];
    Ok(recording)
}

/// Deflections for which rows move apart, and a stretch without samples.
fn tall_with_gap() -> Recording {
    let gap = Fault::Missing { lead: Lead::V2, from_s: 5.5, to_s: 6.2 };
    recording(&Spec { amplitude: 2.4, faults: vec![gap], ..Spec::default() }).recording
}

/// A test recording, damaged, corrected, and filed under another patient.
fn every_banner(recording: &Recording, paper: &Paper) -> Sheet {
    let mut filing = filing();
    filing.subject.name = PersonName::from_text("Odalys Fennimore");
    let facts = PageFacts {
        damaged: true,
        superseded: Some(
            "revision 2 was corrected by revision 3 (merged-identifier): this is not the newest".to_owned(),
        ),
        correction: Some("identifier, from LM-204400; by R. Quill, 2026-03-02 10:40".to_owned()),
        notes: vec!["the checksum of the signal file is wrong".to_owned()],
        ..facts(recording, Some(&filing))
    };
    sheet(recording, &assessment(recording, Some(&filing)), &facts, paper)
}

/// A long name, many faults at once, and 24 findings.
fn crowded(paper: &Paper) -> Sheet {
    let faults = vec![
        Fault::FlatLead { lead: Lead::V3, from_s: 0.0, to_s: 10.0 },
        Fault::Hum { hz: 50.0, microvolts: 220.0 },
        Fault::Wander { hz: 0.25, microvolts: 900.0 },
        Fault::MuscleNoise { microvolts_rms: 60.0 },
        Fault::NoOperator,
    ];
    let mut recording = recording(&Spec { faults, with_measurements: true, ..Spec::default() }).recording;
    recording.subject.name =
        PersonName::from_text("Wilhelmina Constantia Theodora van der Achterberg-Weissenborn-Larkmoor");
    recording.acquisition.start = ecgkeep_recording::CivilTime::default();
    let mut assessment = assessment(&recording, None);
    let found = assessment.findings.clone();
    assessment.findings = found.into_iter().cycle().take(24).collect();
    sheet(&recording, &assessment, &facts(&recording, None), paper)
}
