//! The pages: every layout once, and what a reader must be able to tell apart at a glance.

use std::error::Error;
use std::path::Path;

use ecgkeep_checks::{Policy, run};
use ecgkeep_format::{Folder, Format, Limits};
use ecgkeep_recording::{Filing, Identifier, Lead, Person, PersonName, Recording, Waveform};
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
    ])
}

fn read(name: &str) -> Result<Recording> {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/larkmoor"));
    let source = Folder::of(&folder.join(format!("{name}.hea")))?;
    Ok(Wfdb.read(&source, &Limits::default())?.one()?.0)
}

fn page(recording: &Recording, filing: Option<&Filing>, paper: &Paper) -> Sheet {
    let policy = Policy::default();
    let now = "2026-03-02T18:00+01:00".parse().unwrap_or_default();
    let assessment = run(recording, filing, &policy, &now);
    let facts = PageFacts {
        digest: recording.fingerprint().to_string(),
        filing: filing.cloned(),
        test_recording: ecgkeep_checks::test_recording(recording, filing, &policy),
        program: "ecgkeep".to_owned(),
        ..PageFacts::default()
    };
    sheet(recording, &assessment, &facts, paper)
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
