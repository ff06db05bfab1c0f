//! An archive of many sealed recordings that loses nothing: bundles by key and revision, an append-only journal
//! without personal data, a Merkle tree over it (RFC 6962), checkpoints and receipts in the text forms of C2SP.
//!
//! What is on the disk is written down in schemas/archive.md. This crate never parses a waveform, never prints and
//! never reads a clock or randomness; every step to the disk goes through one [`storage::Storage`].
//!
//! ```
//! use std::sync::Arc;
//!
//! use ecgkeep_archive::storage::Disk;
//! use ecgkeep_archive::{Act, Archive, Commit, Fate, Making, State};
//! use ecgkeep_bundle::{Member, pack};
//!
//! let folder = tempfile::tempdir()?;
//! let making = Making {
//!     id: "larkmoor-ecg".parse()?,
//!     origin: "larkmoor.example/ecg".to_owned(),
//!     at: "2026-03-02T09:30:00Z".parse()?,
//!     by: "records-officer".parse()?,
//!     program: "ecgkeep".to_owned(),
//! };
//! let mut archive = Archive::create(Arc::new(Disk), folder.path(), &making)?;
//!
//! let key = "3f9c0000000000000000000000000a01".parse()?;
//! let member = Member { name: "data/original/1.dat".to_owned(), bytes: vec![0; 24] };
//! let info = [("External-Identifier", "3f9c0000000000000000000000000a01"), ("Bagging-Date", "2026-03-02")]
//!     .map(|(label, value)| (label.to_owned(), value.to_owned()));
//! let bundle = pack("3f9c0000000000000000000000000a01.r1", &info, vec![member])?;
//! let prepared = archive.prepare(&bundle)?;
//! let commit = Commit { by: "night-shift".parse()?, at: "2026-03-02T22:10:00Z".parse()?, signer: None };
//! let act = Act::Bundle { key, revision: 1, prepared, corrects: None };
//! let done = archive.commit(vec![act], &commit)?;
//!
//! assert_eq!((done[0].fate, done[0].line), (Fate::New, Some(1)));
//! assert_eq!(archive.state(key)?, State::Filed(1));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod act;
mod archive;
#[cfg(feature = "catalogue")]
pub mod catalogue;
mod checkpoint;
mod commit;
mod destroy;
mod entry;
mod fault;
mod journal;
pub mod layout;
mod line;
mod make;
mod note;
mod plan;
mod prepare;
pub mod query;
mod receipt;
pub mod reconcile;
mod register;
mod repair;
mod request;
pub mod schedule;
mod segment;
mod settle;
pub mod storage;
pub mod tree;
mod verify;
mod word;

pub use act::{Act, Commit, Corrects, Done, Fate};
pub use archive::{Archive, Identity, SCHEMA, State};
pub use checkpoint::Checkpoint;
pub use entry::{
    Amends, ENTRY_SCHEMA, Entry, EntryChecks, EntryFile, Patient, Urgency, key, key_of_digests, sha256,
};
pub use journal::Lines;
pub use line::{About, Event, LONGEST_LINE, Line, Member};
pub use make::Making;
pub use note::{Note, PublicKey, Signed, Signer};
pub use prepare::Prepared;
pub use receipt::Receipt;
pub use repair::Repaired;
pub use request::Request;
pub use verify::{Level, Progress, Reread, Trouble, VerifyArgs, VerifyReport, verify};
pub use word::{Code, Digest, Key, Moment};
