//! Tests of the archive as a whole, in one binary.
#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

mod acts;
mod crash;
mod failing;
mod figures;
mod flips;
mod full_disk;
mod harness;
mod mounted;
mod mutants;
mod power;
mod processes;
mod segments;
mod simulated;
mod tampering;
mod tree;
mod verifying;
