//! One recording's files in one checksummed file: a ZIP that holds one BagIt 1.0 bag (RFC 8493).
//!
//! [`pack()`] writes a bundle, [`Bundle`] reads one. Both keep to a grammar so narrow that no two readers can see
//! different files in it: no gap, prefix, comment, extra field or descriptor; every local header equal to its
//! directory entry; fixed time, version and attributes; plain ASCII names under one top directory. Opening
//! checks that grammar and nothing else; [`Bundle::verify`] inflates every member and checks the bag, each
//! digest and the profile in `schemas/bagit-profile.json`.
//!
//! A bundle alone is consistent with itself, no more: who alters it can seal it again.
//!
//! ZIPs and bags of others are read by [`foreign`], member by member and never extracted.

pub mod bag;
mod bundle;
mod constants;
mod fault;
pub mod foreign;
mod names;
mod narrow;
mod pack;
mod profile;
mod stream;

pub use bundle::{Bundle, BundleSource};
pub use fault::{Fault, FaultKind};
pub use names::safe_names;
pub use pack::{Member, pack};
pub use profile::PROFILE_IDENTIFIER;
