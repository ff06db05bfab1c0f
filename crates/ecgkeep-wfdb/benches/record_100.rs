//! Reading record 100 of the MIT-BIH Arrhythmia Database (2 signals x 650,000 samples in storage format 212, and
//! 100.atr with 2,274 annotations): the first reading of the process, the least and the median of many, as
//! `tests/reference/wfdb_speed.py` prints them for PyPI wfdb in the same run. Each reading opens, reads, unpacks,
//! checks the checksums and gives owned samples; the record is read where ../shared/recordings holds it.
//!
//! The first reading finds no memory: the system hands out every page anew, which takes longer than the reading.
//! Later ones find the memory of the one before, as a process that reads many records does, if the allocator kept
//! it; glibc's keeps twice the largest block that was ever freed, so a large one is freed between the two. PyPI
//! wfdb frees arrays of 10 MB and has kept memory from its second reading on.

use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use ecgkeep_format::{File, Folder, Format, Limits, Memory, Source};
use ecgkeep_wfdb::WFDB;

const RECORDS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/recordings/wfdb-vectors");
const TIMES: usize = 300;
/// A block that is freed so that the allocator keeps memory: half of what it then keeps.
const KEPT_BYTES: usize = 30 << 20;

fn main() {
    let path = Path::new(RECORDS).join("100.hea");
    let Ok(folder) = Folder::of(&path) else { return };
    let bytes = |name: &str| folder.bytes(name, u64::MAX).map(|bytes| bytes.to_vec());
    let (Ok(hea), Ok(dat), Ok(atr)) = (bytes("100.hea"), bytes("100.dat"), bytes("100.atr")) else {
        println!("skipped: reading record 100: ../shared/recordings is not here");
        return;
    };
    let file = |name: &str, bytes: Vec<u8>| File { name: name.to_owned(), bytes };
    let signals = Memory::new("100.hea", vec![file("100.hea", hea.clone()), file("100.dat", dat.clone())]);
    let alone = std::env::temp_dir().join(format!("record-100-{}", std::process::id()));
    let copied = std::fs::create_dir(&alone).is_ok()
        && std::fs::write(alone.join("100.hea"), &hea).is_ok()
        && std::fs::write(alone.join("100.dat"), &dat).is_ok();
    time("signals from memory", &signals);
    if let (true, Ok(folder)) = (copied, Folder::of(&alone.join("100.hea"))) {
        time("signals from disk", &folder);
        if std::fs::write(alone.join("100.atr"), &atr).is_ok() {
            time("signals and annotations from disk", &folder);
        }
    }
    let _ = std::fs::remove_dir_all(&alone);
}

fn time(label: &str, source: &dyn Source) {
    let limits = Limits::default();
    let once = || {
        let start = Instant::now();
        let read = WFDB.read(black_box(source), &limits).expect("record 100 is read");
        let taken = start.elapsed().as_secs_f64() * 1000.0;
        drop(black_box(read));
        taken
    };
    let first = once();
    drop(black_box(vec![1u8; KEPT_BYTES]));
    let mut taken: Vec<f64> = (0..TIMES).map(|_| once()).collect();
    taken.sort_by(f64::total_cmp);
    let (least, median) = (taken[0], taken[TIMES / 2]);
    println!(
        "ecgkeep: record 100, {label}: first {first:.3} ms, least {least:.3} ms, median {median:.3} ms of {TIMES}"
    );
}
