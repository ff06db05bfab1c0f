//! Recordings to a file.

use ecgkeep_format::{Error, File, Kind, Options, Result, plain_name};
use ecgkeep_recording::Recording;

use crate::attributes::put_text;
use crate::constants::{ABOUT, SCHEMA, STACK, WITH_IDENTITY};
use crate::read::RECORDINGS;
use crate::scratch::{group_in, written};
use crate::{digest, recording, stack};

/// What the root says of the layout to somebody who has nothing but the file.
const LAYOUT: &str = "recordings/N: attributes by their path in the model; waveforms/M/samples [lead, sample] with attributes; \
     rows for marks, measurements, statements. See schemas/hdf5-layout.md of ecgkeep.";

/// Writes the recordings into one file.
pub(crate) fn encode(recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>> {
    let name = format!("{stem}.{}", ABOUT.endings[0]);
    plain_name(&name).map_err(|_| {
        Error::new(Kind::Usage, format!("not the beginning of a plain file name: {stem:?}"))
            .remedy("give a name without a folder")
    })?;
    let stacked = match options.get(&STACK) {
        "no" => None,
        choice => {
            stack::check(recordings)?;
            Some(choice == WITH_IDENTITY)
        }
    };
    let mut bytes = written(|file| {
        put_text(file, "schema", SCHEMA)?;
        if let Some(with_identity) = stacked {
            put_text(file, "layout", stack::LAYOUT)?;
            return stack::write(file, recordings, with_identity);
        }
        put_text(file, "layout", LAYOUT)?;
        let all = group_in(file, RECORDINGS)?;
        for (number, recording) in recordings.iter().enumerate() {
            recording::write(&group_in(&all, &number.to_string())?, recording)?;
        }
        Ok(())
    })?;
    digest::add(&mut bytes);
    Ok(vec![File { name, bytes }])
}
