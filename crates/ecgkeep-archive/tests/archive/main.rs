//! Tests of the archive as a whole, in one binary.
#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

mod acts;
mod crash;
mod failing;
mod figures;
mod harness;
mod mutants;
mod processes;
mod segments;
mod simulated;
mod tree;
mod verifying;
