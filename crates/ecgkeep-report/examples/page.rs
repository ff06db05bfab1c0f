//! Writes the report of a synthetic recording into a folder, and where its R peaks stand:
//! `cargo run -p ecgkeep-report --features pdf --example page FOLDER`.
//!
//! `peaks.txt` holds the samples at which lead II is highest around each true beat, for a check of the drawing
//! that knows nothing of how it was drawn.

use std::error::Error;
use std::fs;
use std::path::PathBuf;

use ecgkeep_checks::{Policy, run};
use ecgkeep_demo::{Spec, recording};
use ecgkeep_recording::{CivilTime, Lead};
use ecgkeep_report::{PageFacts, Paper, html, sheet, svg};

fn main() -> Result<(), Box<dyn Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("usage: page FOLDER")?);
    fs::create_dir_all(&folder)?;
    let demo = recording(&Spec { with_measurements: true, ..Spec::default() });
    let now: CivilTime = "2026-03-02T18:00+01:00".parse()?;
    let assessment = run(&demo.recording, None, &Policy::default(), &now);
    let facts = PageFacts {
        digest: demo.recording.fingerprint().to_string(),
        program: concat!("ecgkeep ", env!("CARGO_PKG_VERSION")).to_owned(),
        ..PageFacts::default()
    };
    let sheet = sheet(&demo.recording, &assessment, &facts, &Paper::default());
    fs::write(folder.join("page.svg"), svg(&sheet, 0))?;
    fs::write(folder.join("page.html"), html(&sheet))?;
    #[cfg(feature = "pdf")]
    fs::write(folder.join("page.pdf"), ecgkeep_report::pdf(&sheet, &now)?)?;

    let two = demo.recording.waveforms[0].lead(&Lead::II).ok_or("no lead II")?;
    let highest = |beat: &usize| {
        let around = beat.saturating_sub(20)..(beat + 20).min(two.samples.len());
        around.max_by_key(|sample| two.samples[*sample]).map(|sample| sample.to_string())
    };
    let peaks: Vec<String> = demo.truth.beats.iter().filter_map(highest).collect();
    fs::write(folder.join("peaks.txt"), peaks.join(","))?;
    Ok(())
}
