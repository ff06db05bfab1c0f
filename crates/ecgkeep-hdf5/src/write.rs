//! Recordings to a file, through the C library.

mod put;
mod recording;
pub(crate) mod rows;
mod scratch;
mod signals;
mod stack;
pub(crate) mod values;
mod waveform;

use ecgkeep_format::{Error, File, Kind, Options, Result, plain_name};
use ecgkeep_recording::Recording;

use self::put::put_text;
use self::scratch::{MOST_ITEMS, group_in, written};
use crate::constants::{ABOUT, SCHEMA, STACK, WITH_IDENTITY};
use crate::digest;
use crate::read::RECORDINGS;

/// What the root says of the layout to somebody who has nothing but the file.
const LAYOUT: &str = "recordings/N: attributes by their path in the model; waveforms/M/samples [lead, sample] with attributes; \
     rows for marks, measurements, statements. See schemas/hdf5-layout.md of ecgkeep.";

/// Whether a recording may stand in one file with the first.
pub(crate) fn joins(first: &Recording, other: &Recording, options: &Options) -> Result<()> {
    if options.get(&STACK) == STACK.default { Ok(()) } else { stack::equal(first, other) }
}

/// Writes the recordings into one file.
pub(crate) fn encode(recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>> {
    let name = format!("{stem}.{}", ABOUT.endings[0]);
    plain_name(&name).map_err(|_| {
        Error::new(Kind::Usage, format!("not the beginning of a plain file name: {stem:?}"))
            .remedy("give a name without a folder")
    })?;
    if recordings.len() > MOST_ITEMS as usize && options.get(&STACK) == STACK.default {
        let what = format!("{} recordings in one file, at most {MOST_ITEMS} have room", recordings.len());
        return Err(Error::new(Kind::Refused, what).remedy("write several files, or stack them"));
    }
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
