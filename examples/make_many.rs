//! Makes many synthetic recordings, to try a batch on: 12 leads, 10 s, 500 samples a second each, as WFDB records in
//! folders of a hundred.
//!
//! `cargo run --release -p ecgkeep-examples --bin make_many COUNT FOLDER`. Each is of another seed and another invented
//! identifier; the bytes depend on this program alone.

use std::error::Error;
use std::path::PathBuf;

use ecgkeep_demo::{Spec, recording};
use ecgkeep_format::Options;
use ecgkeep_wfdb::WFDB;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let (Some(count), Some(folder)) = (arguments.next(), arguments.next()) else {
        return Err("usage: make_many COUNT FOLDER".into());
    };
    let (count, folder): (u64, PathBuf) = (count.parse()?, folder.into());
    for number in 0..count {
        let mut made = recording(&Spec { seed: number, ..Spec::default() }).recording;
        if let Some(identifier) = made.subject.identifiers.first_mut() {
            identifier.value = format!("LM-{number:06}");
        }
        let below = folder.join(format!("day{:03}", number / 100));
        std::fs::create_dir_all(&below)?;
        let written = ecgkeep_format::write(&WFDB, &[made], &format!("m{number:06}"), &Options::default())?;
        for file in written.files {
            std::fs::write(below.join(&file.name), &file.bytes)?;
        }
    }
    println!("{count} recordings in {}", folder.display());
    Ok(())
}
