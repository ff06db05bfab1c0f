//! Real records of PTB-XL (Wagner et al., Scientific Data 7:154, 2020; CC BY 4.0), where they are beside the repository.

use std::path::{Path, PathBuf};

use ecgkeep_format::{Folder, Format, Limits, Memory, Options, Read, write};
use ecgkeep_recording::{Field, Recording};
use ecgkeep_scp::SCP;
use ecgkeep_wfdb::WFDB;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/recordings/ptbxl/records500");

fn headers(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    for path in entries.map(|entry| entry.expect("a folder that can be listed").path()) {
        if path.is_dir() {
            found.extend(headers(&path));
        } else if path.extension().is_some_and(|ending| ending == "hea") {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn read_wfdb(path: &Path) -> Recording {
    let source = Folder::of(path).expect("a path with a file name");
    WFDB.read(&source, &Limits::default()).and_then(Read::one).expect("the record is read").0
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn ptb_xl_comes_back_from_scp_sample_for_sample_and_small() {
    let headers = headers(Path::new(FOLDER));
    if headers.is_empty() {
        println!("skipped: PTB-XL through SCP-ECG: ../shared/recordings is not here");
        return;
    }
    let (mut shares, mut raw_shares) = (Vec::new(), Vec::new());
    for path in &headers {
        let recording = read_wfdb(path);
        let fingerprint = recording.fingerprint();
        let written =
            write(&SCP, std::slice::from_ref(&recording), "r", &Options::default()).expect("can be written");
        for loss in &written.losses {
            let text = loss.to_string();
            // the source's own spelling of the leads, and what belongs to WFDB alone
            assert!(matches!(loss.field, Field::Label | Field::Extra), "{}: {text}", path.display());
        }
        let main = written.files[0].name.clone();
        let bytes = written.files[0].bytes.len();
        let back = SCP.read(&Memory::new(main, written.files), &Limits::default()).and_then(Read::one);
        let back = back.expect("own output is read").0;
        assert_eq!(back.fingerprint(), fingerprint, "{}", path.display());
        let again = write(&WFDB, &[back], "r", &Options::default()).expect("WFDB holds what SCP-ECG holds");
        let main = again.files.last().expect("WFDB writes a header").name.clone();
        let again = WFDB.read(&Memory::new(main, again.files), &Limits::default()).and_then(Read::one);
        assert_eq!(again.expect("own output is read").0.fingerprint(), fingerprint, "{}", path.display());
        let waveform = &recording.waveforms[0];
        let samples = 2 * waveform.length() * waveform.signals().len();
        shares.push(percent(bytes, samples));
        let raw = Options::default().with("compression", "raw");
        let raw = write(&SCP, &[recording], "r", &raw).expect("can be written").files.remove(0);
        raw_shares.push(percent(raw.bytes.len(), samples));
    }
    let (share, raw_share) = (median(shares), median(raw_shares));
    println!(
        "{} records of PTB-XL, size of the SCP-ECG record to that of 16-bit samples, median:",
        headers.len()
    );
    println!("  {share:.1} % Huffman coded, headers included; {raw_share:.1} % plain");
    println!(
        "  37.4 % the better of the two differences in the default table, without headers (computed beforehand)"
    );
    println!("  27.1 % the entropy of the second differences (computed beforehand)");
    assert!(share <= 39.0, "{share:.1} %");
}

#[expect(clippy::cast_precision_loss, reason = "sizes of a record are far below 2^52")]
fn percent(part: usize, whole: usize) -> f64 {
    100.0 * part as f64 / whole as f64
}
