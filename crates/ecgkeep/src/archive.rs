//! The archive of many recordings: what is done to it, on top of `ecgkeep_archive`, which keeps it.
//!
//! Every act that writes names who does it, and when; the journal it leaves names no patient. The catalogue is an
//! index: what is filed, refused or destroyed is decided by journal and bundles alone.
//!
//! ```
//! use std::sync::Arc;
//! use ecgkeep::archive::{self, Acting, Adding, Hit, Query};
//! use ecgkeep::format::{File, Memory, Options};
//! use ecgkeep::recording::{Exact, Identifier, Lead, Rate, Recording, Signal, Step, Waveform};
//! use ecgkeep::{Input, checks::Policy};
//! # let folder = tempfile::tempdir()?;
//! # let folder = folder.path().join("archive");
//!
//! // One recording of four samples, written as a WFDB record.
//! let step = Step::new(Exact::whole(5000)).ok_or("a step is not zero")?;
//! let rate = Rate::new(Exact::whole(500)).ok_or("a rate is above zero")?;
//! let waveform = Waveform::new(rate, vec![Signal::new(Lead::II, step, vec![-3, 0, 120, 7])])?;
//! let mut recording = Recording { waveforms: vec![waveform], ..Recording::default() };
//! recording.subject.identifiers = vec![Identifier { value: "LM-204417".into(), ..Identifier::default() }];
//! let written = ecgkeep::write(ecgkeep::format_by_id("wfdb")?, &[recording], "r", &Options::default())?;
//!
//! let acting = Acting::new("clerk-1", "2026-03-02T18:00:00+01:00".parse()?, "example 1")?;
//! let mut archive = archive::create(Arc::new(archive::Disk), &folder, "a1b2", "larkmoor.example/ecg", &acting, None)?;
//! let mut catalogue = archive::catalogue(&archive)?;
//! let policy = Policy::default();
//! let adding = Adding { acting: &acting, signer: None, policy: &policy, from: None };
//! let open = |files: &Vec<File>| Ok((Input::of_memory(Memory::new("r.hea", files.clone())), None));
//! archive::add(&mut archive, &mut catalogue, &[written.files], &open, &adding, &mut |_, added| {
//!     assert!(added.is_filed());
//! })?;
//!
//! let query = Query { identifier: Some("LM-204417".into()), ..Query::default() };
//! assert!(matches!(catalogue.find(&query)?[..], [Hit::Recording(_)]));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod acting;
mod add;
mod amend;
mod deep;
mod deidentified;
mod get;
mod hand_over;
mod look;
mod retain;

pub use ecgkeep_archive::catalogue::{Catalogue, Destroyed, Held, Hit, Quarantined, Row};
pub use ecgkeep_archive::layout::bundle as bundle_path;
pub use ecgkeep_archive::query::{Query, Verdict};
pub use ecgkeep_archive::reconcile::{Expected, FiledRecording, Gap, Reconciled, parse_expected, reconcile};
pub use ecgkeep_archive::schedule::{Due, Schedule};
pub use ecgkeep_archive::storage::Disk;
pub use ecgkeep_archive::{
    Archive, Code, Digest, Event, Key, Level, Line, Moment, Note, PublicKey, Receipt, Signer, State, Trouble,
    VerifyArgs, VerifyReport, verify,
};

pub use acting::{Acting, create, moment, named_signer, new_key, open, signer_from};
pub use add::{Added, Adding, Fate, Warning, WithFiling, add, retry_quarantined};
pub use amend::{Amended, HandedOver, Viewed, amend, retraction};
pub use deep::reread;
pub use deidentified::{WithoutIdentity, copies_without_identity, deidentified};
pub use get::{Got, fetch, quarantined_files};
pub use hand_over::{Acknowledged, Copies, Exported, acknowledge, copies, export, receipt_files};
pub use look::{catalogue, catch_up, filed_recordings, full_key, rebuild, rebuild_without_journal};
pub use retain::{
    Overdue, admit, adopt, due, hold, in_force, keys_of_request, perform, release, repair, request,
};
