//! What can be done to an archive, and what became of it.

use ecgkeep_format::{Error, Kind, Result};

use crate::line::{About, Event};
use crate::note::{PublicKey, Signer};
use crate::prepare::Prepared;
use crate::word::{Code, Key, Moment};

/// One thing to do. All acts of a batch are done, or none is.
pub enum Act {
    /// Files a bundle: revision 1, or a later one that corrects.
    Bundle {
        /// Key of the recording.
        key: Key,
        /// Its revision, from 1.
        revision: u32,
        /// The bundle.
        prepared: Prepared,
        /// For a later revision: what it corrects.
        corrects: Option<Corrects>,
    },
    /// Keeps a source that could not be read.
    Quarantine {
        /// Key of the source.
        key: Key,
        /// Its bytes in a bag.
        prepared: Prepared,
        /// Why it could not be read.
        why: Code,
    },
    /// Writes a line without a file: viewed, exported, deidentified, retracted, held, released, read.
    /// `by` is filled in.
    Line(Event, About),
    /// Admits a public key.
    Key(PublicKey),
    /// Adopts a retention schedule.
    Schedule {
        /// The schedule's TOML.
        bytes: Vec<u8>,
        /// Who authorised it.
        authority: Code,
    },
    /// Keeps what a receiver answered; it is readable by its owner only.
    Answer {
        /// Key of the recording.
        key: Key,
        /// Revision that was handed over.
        revision: u32,
        /// The answer.
        bytes: Vec<u8>,
        /// The `exported` line it answers, where there is one.
        of: Option<u64>,
    },
    /// Destroys recordings: a request signed with two different admitted keys ([`Request`](crate::Request)).
    Destroy {
        /// The signed note.
        request: String,
    },
}

/// What a later revision corrects.
#[derive(Clone, Debug)]
pub struct Corrects {
    /// Who authorised it.
    pub authority: Code,
    /// Why.
    pub why: Code,
    /// The line that filed the revision before.
    pub of: u64,
}

/// Who commits, when, and with which key.
#[derive(Clone)]
pub struct Commit<'a> {
    /// Who.
    pub by: Code,
    /// When. A line is never earlier than the one before, so a clock that was set back does not show.
    pub at: Moment,
    /// The key that signs the checkpoint; it must be admitted.
    pub signer: Option<&'a Signer>,
}

/// What became of one act.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Done {
    /// The line that says so; `None` where nothing was done.
    pub line: Option<u64>,
    /// What became of it.
    pub fate: Fate,
}

/// What became of one act.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It is done and lasting.
    New,
    /// It was done before; nothing was written.
    AlreadyThere,
    /// The recording was destroyed under a rule: it is not filed again.
    Destroyed,
    /// Somebody else filed a later revision first: look at it and decide anew.
    Overtaken,
}

/// Which events [`Act::Line`] may write, and which line `of` may name.
pub(crate) fn earlier_event(event: Event) -> Result<&'static [Event]> {
    match event {
        Event::Viewed | Event::Exported | Event::Deidentified | Event::Held => Ok(&[]),
        Event::Read => Ok(&[Event::Filed, Event::Corrected]),
        Event::Acknowledged | Event::Retracted => Ok(&[Event::Exported]),
        Event::Released => Ok(&[Event::Held]),
        _ => {
            Err(Error::new(Kind::Internal, format!("a line of event {} has an act of its own", event.word())))
        }
    }
}
