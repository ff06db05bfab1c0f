//! Any format to any other: what is lost is measured and said.
//!
//!     cargo run -p ecgkeep-examples --bin convert_any -- examples/larkmoor/lm01_faultless.hea scp out

use std::path::{Path, PathBuf};

use ecgkeep::format::{Limits, Options};
use ecgkeep::{Disk, Input, Storage as _, format_by_id, write, write_files};

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

fn main() -> Outcome<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [input, id, folder] = arguments.as_slice() else {
        return Err("give an input, the id of a format (ecgkeep formats) and a folder".into());
    };
    Disk.make_folder(Path::new(folder))?;
    let (paths, lost) = convert(Path::new(input), id, Path::new(folder))?;
    println!("wrote {paths:?}");
    lost.iter().for_each(|loss| println!("not kept: {loss}"));
    Ok(())
}

/// The files written, and every field that the format could not carry.
fn convert(input: &Path, id: &str, folder: &Path) -> Outcome<(Vec<PathBuf>, Vec<String>)> {
    let opened = Input::at(input)?.read(None, &Limits::default())?;
    // A source with a failed checksum is not passed on as if it were sound.
    opened.refuse_damage(false)?;
    let stem = input.file_stem().map_or("recording".into(), |stem| stem.to_string_lossy());
    let written = write(format_by_id(id)?, &opened.read.recordings, &stem, &Options::default())?;
    let paths = write_files(&Disk, folder, &written.files, false)?;
    Ok((paths, written.losses.iter().map(ToString::to_string).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recording_in_another_format_has_the_same_samples() {
        let record = Path::new(env!("CARGO_MANIFEST_DIR")).join("larkmoor/lm01_faultless.hea");
        let folder = tempfile::tempdir().expect("a folder");
        let fingerprint = |path: &Path| {
            let opened = Input::at(path).and_then(|input| input.read(None, &Limits::default()));
            opened.expect("it is read").recording().expect("it is one").fingerprint()
        };
        for format in ecgkeep::FORMATS.iter().filter(|format| !format.about().writes.is_empty()) {
            let id = format.about().id;
            let own = folder.path().join(id);
            std::fs::create_dir(&own).expect("a folder");
            let (paths, _) = convert(&record, id, &own).expect("it is converted");
            assert_eq!(fingerprint(paths.last().expect("a file")), fingerprint(&record), "{id}");
        }
    }
}
