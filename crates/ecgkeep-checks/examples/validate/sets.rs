//! The recordings and their labels.

use std::path::{Path, PathBuf};

use ecgkeep_format::{Folder, Format as _, Limits};
use ecgkeep_recording::Recording;
use ecgkeep_wfdb::WFDB;

pub type Failure = Box<dyn std::error::Error>;

/// One recording of a set.
pub struct Record {
    /// `ptbxl 38`, `ludb 104`.
    pub name: String,
    /// The path without ending.
    pub path: PathBuf,
    pub recording: Recording,
}

/// Everything that is measured on.
pub struct Sets {
    pub ptbxl: Vec<Record>,
    pub ludb: Vec<Record>,
    /// MIT-BIH Arrhythmia Database, record 100.
    pub mitbih: Record,
}

impl Sets {
    pub fn read(folder: &Path) -> Result<Sets, Failure> {
        let ptbxl = records("ptbxl", &folder.join("ptbxl/records500/00000"))?;
        let ludb = records("ludb", &folder.join("ludb"))?;
        let mitbih = record("mitbih 100", &folder.join("wfdb-vectors/100.hea"))?;
        Ok(Sets { ptbxl, ludb, mitbih })
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
    Ok(Record { name: name.to_owned(), path: path.with_extension(""), recording })
}
