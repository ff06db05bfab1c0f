//! Real recordings (PTB-XL in ../shared/recordings, where it is there): every sample that a page's stretch of time
//! holds lies on its path, at its moment and height.

use std::fs;
use std::path::Path;

use ecgkeep_checks::Assessment;
use ecgkeep_format::{Folder, Format, Limits};
use ecgkeep_recording::{Lead, Recording};
use ecgkeep_report::{PageFacts, Paper, sheet, svg};
use ecgkeep_wfdb::Wfdb;

use crate::making::{DRAWN_WITHIN, deviation};
use crate::reading::Drawing;

fn recordings() -> Vec<(String, Recording)> {
    let folder =
        Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/recordings/ptbxl/records500/00000"));
    let Ok(entries) = fs::read_dir(folder) else {
        println!("skipped: pages of real recordings: ../shared/recordings is not here");
        return Vec::new();
    };
    let mut headers: Vec<_> = entries.flatten().map(|entry| entry.path()).collect();
    headers.retain(|path| path.extension().is_some_and(|ending| ending == "hea"));
    headers.sort();
    headers
        .iter()
        .map(|path| {
            let source = Folder::of(path).expect("a file name");
            let read = Wfdb.read(&source, &Limits::default()).expect("a WFDB record");
            (path.display().to_string(), read.one().expect("one recording").0)
        })
        .collect()
}

#[test]
fn every_sample_of_a_real_recording_is_drawn_where_it_belongs() {
    let all = recordings();
    for (name, recording) in &all {
        let sheet = sheet(recording, &Assessment::default(), &PageFacts::default(), &Paper::default());
        let page = Drawing::read(&svg(&sheet, 0));
        let zero = page.runs("seconds")[0][0].0;
        let columns = [
            (0, ["I", "II", "III"]),
            (1, ["aVR", "aVL", "aVF"]),
            (2, ["V1", "V2", "V3"]),
            (3, ["V4", "V5", "V6"]),
        ];
        let mut paths = vec![("strip-II".to_owned(), Lead::II, 0, 5000)];
        for (column, leads) in columns {
            paths.extend(
                leads.map(|lead| (format!("lead-{lead}"), Lead::from_name(lead), column * 1250, 1250)),
            );
        }
        for (id, lead, first, count) in paths {
            let line = page.runs(&id).concat();
            let signal = recording.waveforms[0].lead(&lead).expect("twelve leads");
            let microvolts =
                |sample: usize| signal.nanovolts(sample).expect("none is missing").to_f64() / 1000.0;
            let (base, reference) = (line[0].1, microvolts(first));
            let place = |sample: usize| {
                #[expect(clippy::cast_precision_loss, reason = "some thousand samples")]
                let x = zero + sample as f64 / 500.0 * 25.0;
                (x, base - (microvolts(sample) - reference) / 100.0)
            };
            let places: Vec<(f64, f64)> = (first..first + count).map(place).collect();
            let greatest = deviation(&line, &places);
            assert!(greatest < DRAWN_WITHIN, "{name}: {id}, {greatest} mm");
        }
    }
    println!("{} recordings drawn and read back", all.len());
}
