//! The contract.

use ecgkeep_recording::{Field, Recording};

use crate::{Error, Kind, Limits, Note, OptionSpec, Options, Result, Source, Weight, plain_name};

/// The bytes from the start of a file that [`Format::probe`] is shown at most.
pub const PROBE_BYTES: usize = 4096;

/// What a format is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct About {
    /// Short lower-case id, such as `wfdb`.
    pub id: &'static str,
    /// The format's name.
    pub title: &'static str,
    /// The standard and edition followed.
    pub standard: &'static str,
    /// File name endings without the dot, the main file's first.
    pub endings: &'static [&'static str],
    /// What is read, in one phrase.
    pub reads: &'static str,
    /// What is written, in one phrase; empty where nothing is.
    pub writes: &'static str,
    /// How far it has been tested, in one sentence.
    pub status: &'static str,
}

/// How sure a format is that a file is its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Match {
    /// Not ours.
    No,
    /// The name's ending says so, the bytes say nothing.
    ByName,
    /// The bytes are of a kind that this format is built on, and that much else is that is no recording.
    ByKind,
    /// The bytes look like it.
    Likely,
    /// The bytes say so.
    Certain,
}

/// How a format carries a field of the model.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carries {
    /// Whatever the field holds comes back the same.
    Exact,
    /// Some values come back the same.
    Limited {
        /// What does not, as a lower-case fragment.
        why: &'static str,
        /// The clause that limits it.
        clause: &'static str,
    },
    /// The format has no place for it.
    No {
        /// Why not, as a lower-case fragment.
        why: &'static str,
        /// The clause that would have to hold it.
        clause: &'static str,
    },
}

/// What a reader made of a source.
#[derive(Clone, Debug, Default)]
pub struct Read {
    /// The recordings; most sources hold one.
    pub recordings: Vec<Recording>,
    /// What was noticed.
    pub notes: Vec<Note>,
}

impl Read {
    /// The one recording of a source that holds one.
    /// # Errors
    /// [`Kind::Unsupported`] where there is none or more than one.
    pub fn one(self) -> Result<(Recording, Vec<Note>)> {
        let count = self.recordings.len();
        match <[Recording; 1]>::try_from(self.recordings) {
            Ok([recording]) => Ok((recording, self.notes)),
            Err(_) => {
                Err(Error::new(Kind::Unsupported, format!("holds {count} recordings where one is expected")))
            }
        }
    }

    /// Whether a note says that the source is damaged.
    #[must_use]
    pub fn is_damaged(&self) -> bool {
        self.notes.iter().any(|note| note.weight == Weight::Damage)
    }
}

/// A file made in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// A plain file name without a path.
    pub name: String,
    /// Its content.
    pub bytes: Vec<u8>,
}

/// What [`write()`](crate::write()) made.
#[derive(Clone, Debug)]
pub struct Written {
    /// The files, parts first, the one that names the others last.
    pub files: Vec<File>,
    /// What did not come back when they were read again.
    pub losses: Vec<crate::Loss>,
}

/// One waveform format.
pub trait Format: Sync {
    /// What the format is.
    fn about(&self) -> &'static About;

    /// Whether this build can write it; some formats need a library for it that a build may leave out.
    /// # Errors
    /// [`Kind::Unsupported`] with what to do.
    fn available(&self) -> Result<()> {
        Ok(())
    }

    /// Whether a file with this name and these first bytes (at most [`PROBE_BYTES`]) is of this format.
    fn probe(&self, name: &str, head: &[u8]) -> Match;

    /// Reads as far as it honestly can; departures and damage are notes.
    /// # Errors
    /// [`Kind::Malformed`], [`Kind::Truncated`], [`Kind::Unsupported`], [`Kind::Limit`] or [`Kind::Io`], with a
    /// place.
    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read>;

    /// The options of [`Format::encode`].
    fn options(&self) -> &'static [OptionSpec] {
        &[]
    }

    /// Whether files of this format may be named after this stem.
    fn takes_stem(&self, stem: &str) -> bool {
        plain_name(stem).is_ok()
    }

    /// Whether one file may hold several recordings.
    fn holds_many(&self) -> bool {
        false
    }

    /// Whether `other` may stand in one file with `first` when they are written with these options; what differs is
    /// said of `other`.
    /// # Errors
    /// [`Kind::Refused`].
    fn joins(&self, first: &Recording, other: &Recording, options: &Options) -> Result<()> {
        let _ = (first, other, options);
        Ok(())
    }

    /// The recordings as files named after `stem`, parts first, the naming file last. Call
    /// [`write()`](crate::write()) instead, which measures what is lost.
    /// # Errors
    /// [`Kind::Refused`] where the format cannot hold the samples; [`Kind::Usage`] for a bad `stem` or option.
    fn encode(&self, recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>>;

    /// How the format carries a field. Exhaustive: no `_` arm, so that a new field does not compile until every
    /// format answers for it.
    fn carries(&self, field: Field) -> Carries;

    /// How the format carries a field when it is written with these options; otherwise than [`Format::carries`] only
    /// where an option is there to leave something out.
    fn carries_with(&self, field: Field, options: &Options) -> Carries {
        let _ = options;
        self.carries(field)
    }
}

/// The file that names the others.
pub(crate) fn main_file(files: &[File]) -> Result<&File> {
    files.last().ok_or_else(|| Error::new(Kind::Internal, "an encoder made no file"))
}
