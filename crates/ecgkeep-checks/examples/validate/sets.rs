//! The recordings and their labels.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ecgkeep_format::{Folder, Format as _, Limits};
use ecgkeep_recording::Recording;
use ecgkeep_wfdb::WFDB;

use super::{annotations, csv};

pub type Failure = Box<dyn std::error::Error>;

/// One recording of a set.
pub struct Record {
    /// `ptbxl 38`, `ludb 104`.
    pub name: String,
    /// The path without ending.
    pub path: PathBuf,
    pub recording: Recording,
    /// What tells patients apart within the set.
    pub patient: String,
    /// The data set's own words on quality, such as `static_noise: I-V1`; empty where it has none.
    pub quality: Vec<(&'static str, String)>,
    /// The data set's own words on the rhythm.
    pub rhythm: String,
    /// Whether P waves stand before most QRS complexes, by the data set's labels.
    pub has_p_waves: bool,
}

/// Everything that is measured on.
pub struct Sets {
    pub ptbxl: Vec<Record>,
    pub ludb: Vec<Record>,
    /// PTB Diagnostic ECG Database, record s0010_re.
    pub ptb: Record,
    /// MIT-BIH Arrhythmia Database, record 100.
    pub mitbih: Record,
}

impl Sets {
    pub fn read(folder: &Path) -> Result<Sets, Failure> {
        let mut ptbxl = records("ptbxl", &folder.join("ptbxl/records500/00000"))?;
        label_ptbxl(&mut ptbxl, &std::fs::read_to_string(folder.join("ptbxl/ptbxl_database_subset.csv"))?)?;
        let mut ludb = records("ludb", &folder.join("ludb"))?;
        for record in &mut ludb {
            label_ludb(record)?;
        }
        let mut ptb = record("ptb s0010_re", &folder.join("wfdb-vectors/s0010_re.hea"))?;
        ptb.has_p_waves = true;
        ptb.rhythm = "infero-lateral infarction".to_owned();
        let mitbih = record("mitbih 100", &folder.join("wfdb-vectors/100.hea"))?;
        Ok(Sets { ptbxl, ludb, ptb, mitbih })
    }

    /// The twelve-lead recordings.
    pub fn twelve_leads(&self) -> impl Iterator<Item = &Record> {
        self.ptbxl.iter().chain(&self.ludb).chain([&self.ptb])
    }
}

fn records(set: &str, folder: &Path) -> Result<Vec<Record>, Failure> {
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(folder)?.map(|entry| entry.map(|entry| entry.path())).collect::<Result<_, _>>()?;
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "hea"));
    let number = |path: &PathBuf| {
        let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        stem.trim_end_matches("_hr").parse::<u32>().unwrap_or(0)
    };
    paths.sort_by_key(number);
    paths.iter().map(|path| record(&format!("{set} {}", number(path)), path)).collect()
}

fn record(name: &str, path: &Path) -> Result<Record, Failure> {
    let read = WFDB.read(&Folder::of(path)?, &Limits::default())?;
    let (recording, _) = read.one()?;
    Ok(Record {
        name: name.to_owned(),
        path: path.with_extension(""),
        recording,
        patient: name.to_owned(),
        quality: Vec::new(),
        rhythm: String::new(),
        has_p_waves: false,
    })
}

/// The columns of PTB-XL in which a technician noted what disturbs the signal.
const QUALITY: [&str; 4] = ["baseline_drift", "static_noise", "burst_noise", "electrodes_problems"];

fn label_ptbxl(records: &mut [Record], table: &str) -> Result<(), Failure> {
    let rows: BTreeMap<String, BTreeMap<String, String>> =
        csv::rows(table).into_iter().map(|row| (format!("ptbxl {}", row["ecg_id"]), row)).collect();
    for record in records {
        let row = rows.get(&record.name).ok_or_else(|| format!("{} is not in the table", record.name))?;
        let words = |column: &str| row[column].trim_matches([' ', ',']).to_owned();
        record.quality = QUALITY
            .iter()
            .map(|column| (*column, words(column)))
            .filter(|(_, words)| !words.is_empty())
            .collect();
        record.patient = format!("ptbxl patient {}", row["patient_id"]);
        record.rhythm = row["scp_codes"].clone();
        // SCP-ECG statement codes of PTB-XL: atrial fibrillation, atrial flutter, pacemaker
        record.has_p_waves = !["AFIB", "AFLT", "PACE"].iter().any(|code| record.rhythm.contains(code));
    }
    Ok(())
}

/// LUDB's expert marked P waves; they stand before most beats or they do not.
fn label_ludb(record: &mut Record) -> Result<(), Failure> {
    let file = record.path.with_extension("ii");
    let (p, beats) = (annotations::p_waves(&file)?, annotations::beats(&file)?);
    record.has_p_waves = 2 * p.len() > beats.len();
    let header = std::fs::read_to_string(record.path.with_extension("hea"))?;
    let rhythm = header.lines().filter(|line| line.contains("Rhythm") || line.contains("pacing"));
    record.rhythm = rhythm.map(|line| line.trim_start_matches('#')).collect::<Vec<_>>().join(" ");
    Ok(())
}
