//! Tests of the archive as a whole, in one binary.
#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

mod acts;
mod harness;
mod tree;
mod verifying;
