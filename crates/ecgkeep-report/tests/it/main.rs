//! The report from outside: pages read back from their files.

mod geometry;
mod making;
mod papers;
#[cfg(feature = "pdf")]
mod pdf;
mod reading;
mod recordings;
mod words;
