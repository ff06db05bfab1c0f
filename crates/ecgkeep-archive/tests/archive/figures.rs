//! How much is tried, and the table that says what came of it.
//!
//! `tests/run` tries the figures per commit. Those per release, and the table alone, by one command:
//! `ECGKEEP_FAULTS=release cargo test --release -p ecgkeep-archive -p ecgkeep-tests --test archive --test catalogue -- \
//! --nocapture | grep '^|'`

/// Whether the figures of a release are asked for.
pub fn is_release() -> bool {
    std::env::var_os("ECGKEEP_FAULTS").is_some_and(|value| value == "release")
}

pub fn scale(per_commit: u64, per_release: u64) -> u64 {
    if is_release() { per_release } else { per_commit }
}

/// One row of the table: fault, tried, survived, lost.
pub fn row(fault: &str, tried: u64, lost: u64) {
    println!("| {fault} | {tried} | {} | {lost} |", tried - lost);
}

/// Pseudo-random numbers, the same for the same seed (splitmix64, Steele, Lea, Flood 2014).
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to `below` - 1.
    pub fn below(&mut self, below: usize) -> usize {
        usize::try_from(self.next() % below as u64).expect("below a usize")
    }
}
