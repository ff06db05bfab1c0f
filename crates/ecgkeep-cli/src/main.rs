//! The ecgkeep program.
fn main() {}
