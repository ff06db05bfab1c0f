//! What the tests of this folder share: recordings to try, and what a format must hold to, as functions that
//! return every fault they find. The faults are texts, so that the tests of the tests can ask for them.

#[path = "harness/contract.rs"]
pub mod contract;
#[path = "harness/corpus.rs"]
pub mod corpus;
#[path = "harness/damage.rs"]
pub mod damage;
#[path = "harness/files.rs"]
pub mod files;
#[path = "harness/fuzzed.rs"]
pub mod fuzzed;
#[path = "harness/parcel.rs"]
pub mod parcel;
#[path = "harness/program.rs"]
pub mod program;
#[path = "harness/repository.rs"]
pub mod repository;
#[path = "harness/seeds.rs"]
pub mod seeds;
#[path = "harness/shape.rs"]
pub mod shape;
#[path = "harness/transcript.rs"]
pub mod transcript;
