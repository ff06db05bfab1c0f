//! HDF5: what is written comes back, what comes from outside is checked before it is read.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod fixtures;
mod hostile;
mod round_trip;
mod stacks;
