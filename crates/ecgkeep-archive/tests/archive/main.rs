//! Tests of the archive as a whole, in one binary.

mod acts;
mod harness;
mod tree;
