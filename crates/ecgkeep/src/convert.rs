//! From a source that was read to the files of another format, with every loss stated.

mod batch;
mod deidentify;
mod done;
mod in_order;
mod manifest;
mod put;
mod targets;
mod together;

use ecgkeep_archive::sha256;
use ecgkeep_deidentify::Taken;
use ecgkeep_format::{Error, File, Format, Kind, Loss, Options, Result, write};
use ecgkeep_recording::{Filing, Recording};

use crate::input::Opened;

pub use batch::{Batch, Fate, Filed};
pub use deidentify::{Deidentifier, Random, without_identity};
pub use done::{CONVERTED_SCHEMA, DoneList};
pub use in_order::in_order;
pub use manifest::{Shard, parse_manifest};
pub use put::{Put, put};
pub use targets::{Target, targets};
pub use together::{Misfit, Part, PartOfFile, Together};

/// Losses that an error names one by one.
const MOST_LOSSES: usize = 50;

/// How sources are converted.
pub struct Conversion<'a> {
    /// The format to write.
    pub format: &'static dyn Format,
    /// Its options.
    pub options: &'a Options,
    /// Whether a damaged source is converted all the same.
    pub accept_damage: bool,
    /// Whether a conversion that loses anything is refused.
    pub refuse_losses: bool,
    /// Takes the identity out, where that is asked for.
    pub deidentifier: Option<&'a Deidentifier>,
    /// The program and its version.
    pub program: &'a str,
}

/// What a source becomes.
#[derive(Debug)]
pub struct Converted {
    /// The files, the one that names the others last.
    pub files: Vec<File>,
    /// What did not come back when they were read again.
    pub losses: Vec<Loss>,
    /// What taking the identity out took.
    pub taken: Vec<Taken>,
}

impl Conversion<'_> {
    /// Converts one source; `filing` goes beside it as `STEM.filing.json` and is never merged into it. Where the
    /// identity is taken out, it only tells of which patient a recording is that names none itself.
    /// # Errors
    /// [`Kind::Malformed`] for a damaged source, [`Kind::Refused`] where something would be lost and that is refused
    /// or the format cannot hold the recording; those of [`write()`](ecgkeep_format::write()).
    pub fn of(&self, opened: &Opened, stem: &str, filing: Option<&Filing>) -> Result<Converted> {
        opened.refuse_damage(self.accept_damage)?;
        let (recordings, taken) = self.without_identity(opened, filing)?;
        let recordings = recordings.as_deref().unwrap_or(&opened.read.recordings);
        let mut converted = self.written(recordings, stem, taken)?;
        if let (Some(filing), None) = (filing, self.deidentifier) {
            converted.files.insert(0, filing_file(stem, filing)?);
        }
        Ok(converted)
    }

    /// Recordings as they are, written; `taken` is what they lack already.
    pub(crate) fn written(
        &self,
        recordings: &[Recording],
        stem: &str,
        taken: Vec<Taken>,
    ) -> Result<Converted> {
        let written = write(self.format, recordings, stem, self.options)?;
        if self.refuse_losses && !written.losses.is_empty() {
            let mut losses: Vec<String> =
                written.losses.iter().take(MOST_LOSSES).map(ToString::to_string).collect();
            if let Some(more @ 1..) = written.losses.len().checked_sub(MOST_LOSSES) {
                losses.push(format!("and {more} more"));
            }
            let id = self.format.about().id;
            return Err(Error::new(Kind::Refused, format!("{id} would not keep: {}", losses.join("; ")))
                .remedy("nothing was written; --losses list writes it all the same"));
        }
        Ok(Converted { files: written.files, losses: written.losses, taken })
    }

    /// The recordings of a source without identity, and what was taken; `None` where that is not asked for.
    pub(crate) fn without_identity(
        &self,
        opened: &Opened,
        filing: Option<&Filing>,
    ) -> Result<(Option<Vec<Recording>>, Vec<Taken>)> {
        let Some(deidentifier) = self.deidentifier else { return Ok((None, Vec::new())) };
        let source = opened.key();
        let (mut recordings, mut taken): (Vec<Recording>, Vec<Taken>) = (Vec::new(), Vec::new());
        for recording in &opened.read.recordings {
            let done = deidentifier.recording(recording, filing, &source, self.program)?;
            recordings.push(done.recording);
            for one in done.taken {
                match taken.iter_mut().find(|before| before.field == one.field) {
                    Some(before) => before.count += one.count,
                    None => taken.push(one),
                }
            }
        }
        Ok((Some(recordings), taken))
    }

    /// What the result depends on besides the source and the program, on one line.
    #[must_use]
    pub fn settings(&self, from: Option<&str>) -> String {
        let mut words = vec![self.format.about().id.to_owned()];
        for spec in self.format.options() {
            words.push(format!("{}={}", spec.name, self.options.get(spec)));
        }
        words.extend(from.map(|from| format!("from={from}")));
        words.extend(self.deidentifier.map(|deidentifier| format!("deidentify={}", deidentifier.settings())));
        words.join(" ")
    }

    /// Names the source by its content: the key of its files, the filing counted in. Where identity is taken out it
    /// is a name that tells nothing of the source, keyed or from the table, and the pseudonym that a filing gives it.
    /// # Errors
    /// Those of the table of pseudonyms.
    pub fn source(&self, opened: &Opened, filing: Option<&Filing>) -> Result<String> {
        let key = opened.key();
        if let Some(deidentifier) = self.deidentifier {
            let name = deidentifier.name(&key)?;
            return Ok(match deidentifier.supplied(filing)? {
                None => name,
                Some(pseudonym) => format!("{name}+{pseudonym}"),
            });
        }
        match filing {
            None => Ok(key),
            Some(filing) => Ok(format!("{key}+{}", &sha256(&filing_file("", filing)?.bytes)[..32])),
        }
    }
}

pub(crate) fn filing_file(stem: &str, filing: &Filing) -> Result<File> {
    let bytes = serde_json::to_vec_pretty(filing)
        .map_err(|error| Error::new(Kind::Internal, "the filing cannot be written as JSON").because(error))?;
    Ok(File { name: format!("{stem}.filing.json"), bytes })
}
