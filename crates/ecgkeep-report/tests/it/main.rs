//! The report from outside: pages read back from their files.

mod geometry;
mod kept;
mod legible;
mod making;
mod moments;
mod on_request;
mod papers;
#[cfg(feature = "pdf")]
mod pdf;
mod reading;
mod recordings;
mod room;
mod words;
