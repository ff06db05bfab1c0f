//! Tests of SCP-ECG from outside the crate.

mod fixtures;
mod recordings;
mod robustness;
mod round_trip;
mod worked;

use ecgkeep_format::{File, Format, Limits, Memory, Read, Result};
use ecgkeep_scp::SCP;

/// Reads the bytes of one record.
fn read(bytes: &[u8]) -> Result<Read> {
    read_as("r.scp", bytes)
}

/// Reads the bytes of one record under a name.
fn read_as(name: &str, bytes: &[u8]) -> Result<Read> {
    let file = File { name: name.to_owned(), bytes: bytes.to_vec() };
    SCP.read(&Memory::new(name, vec![file]), &Limits::default())
}
