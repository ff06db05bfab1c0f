//! ecgkeep: resting ECG recordings in open formats: read, converted, checked, printed true to scale, and sealed so
//! that nothing is lost silently and nothing is altered.
//!
//! This crate wires the others together and holds the one list of formats. It computes technique, not diagnosis:
//! its checks say nothing about a heart.
//!
//! ```
//! use ecgkeep::format::{File, Limits, Memory, Options};
//! use ecgkeep::recording::{Exact, Lead, Rate, Recording, Signal, Step, Waveform};
//!
//! // One lead, four samples of 5 uV per count at 500 samples per second.
//! let step = Step::new(Exact::whole(5000)).ok_or("a step is not zero")?;
//! let rate = Rate::new(Exact::whole(500)).ok_or("a rate is above zero")?;
//! let waveform = Waveform::new(rate, vec![Signal::new(Lead::II, step, vec![-3, 0, 120, 7])])?;
//! let recording = Recording { waveforms: vec![waveform], ..Recording::default() };
//!
//! let written = ecgkeep::write(ecgkeep::format_by_id("wfdb")?, &[recording.clone()], "demo", &Options::default())?;
//! assert!(written.losses.is_empty());
//!
//! let source = Memory::new("demo.hea", written.files);
//! let read = ecgkeep::choose(&source, None)?.read(&source, &Limits::default())?;
//! assert_eq!(read.recordings[0].fingerprint(), recording.fingerprint());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#[cfg(feature = "archive")]
pub mod archive;
mod carries;
mod convert;
mod correct;
mod entry;
mod events;
mod filing;
mod formats;
mod input;
mod marks;
mod page;
mod policy;
mod quarantine;
mod samples;
mod seal;
mod storage;
mod unpack;
mod verify;

pub use carries::{carries_list, carries_table};
pub use convert::{
    Batch, CONVERTED_SCHEMA, Conversion, Converted, Deidentifier, DoneList, Fate, Filed, Misfit, Part,
    PartOfFile, Put, Random, Shard, Target, Together, in_order, parse_manifest, put, targets,
    without_identity,
};
pub use correct::{Correction, Reason, corrected};
pub use ecgkeep_archive::storage::Disk;
pub use ecgkeep_archive::{
    Amends, ENTRY_SCHEMA, Entry, EntryChecks, EntryFile, Patient, Urgency, key, sha256,
};
pub use ecgkeep_bundle::Bundle;
pub use ecgkeep_checks as checks;
pub use ecgkeep_deidentify as deidentify;
pub use ecgkeep_format as format;
pub use ecgkeep_format::write;
pub use ecgkeep_recording as recording;
pub use ecgkeep_report as report;
pub use entry::{operators, patient, start};
pub use filing::{filing_for, filing_in, is_filing, parse_filing};
pub use formats::{FORMATS, choose, detect, format_by_id, format_table, probe};
pub use input::{Found, Input, Inputs, Opened, Original, Unread};
pub use marks::marks_csv;
pub use page::{PageForm, page_facts, page_files};
pub use policy::{policy_from, shipped_policy};
pub use quarantine::{
    Quarantine, kind_word, quarantine, quarantine_of, quarantined_filing, quarantined_input,
};
pub use samples::{counts_csv, samples_csv};
pub use seal::{Sealed, Sealing, seal, sealed_there};
pub use storage::{Storage, write_files};
pub use unpack::{Unpacked, unpack};
pub use verify::{SELF_CONSISTENT, Verified, altered, verify};
