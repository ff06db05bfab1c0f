//! How far a long run is: on standard error, only on a terminal, only after a second.

use std::io::{IsTerminal as _, Write as _};
use std::time::{Duration, Instant};

/// Before this much time has gone by nothing is shown.
const QUIET: Duration = Duration::from_secs(1);
/// The time between two showings.
const PAUSE: Duration = Duration::from_millis(200);

/// A line that is written over and over while inputs are worked on.
pub struct Progress {
    began: Instant,
    shown: Option<Instant>,
    total: usize,
    what: &'static str,
    is_shown: bool,
}

impl Progress {
    /// Nothing of `total` is done yet; `what` says what they are.
    pub fn of(total: usize, what: &'static str) -> Progress {
        let is_shown = total > 1 && std::io::stderr().is_terminal();
        Progress { began: Instant::now(), shown: None, total, what, is_shown }
    }

    /// Takes the line away, so that something else can be printed.
    pub fn clear(&mut self) {
        if self.shown.take().is_some() {
            // Nothing is left to tell when standard error itself is gone.
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }

    /// Shows how much is done, at what rate, and how much time that leaves.
    pub fn step(&mut self, done: usize) {
        let spent = self.began.elapsed();
        let is_due = self.shown.is_none_or(|shown| shown.elapsed() >= PAUSE);
        if !self.is_shown || spent < QUIET || !is_due || done == self.total {
            return;
        }
        let _ = write!(std::io::stderr(), "\r\x1b[K{}", line(done, self.total, self.what, spent));
        let _ = std::io::stderr().flush();
        self.shown = Some(Instant::now());
    }
}

/// `ecgkeep: 120 of 1000 inputs, 41 a second, 0:21 left`.
fn line(done: usize, total: usize, what: &str, spent: Duration) -> String {
    let rate = done as f64 / spent.as_secs_f64();
    let rate_shown = if rate >= 10.0 { format!("{rate:.0}") } else { format!("{rate:.1}") };
    let left = if done == 0 { None } else { Duration::try_from_secs_f64((total - done) as f64 / rate).ok() };
    let left = left.map_or_else(String::new, |left| {
        let seconds = left.as_secs();
        let (hours, minutes) = (seconds / 3600, seconds / 60 % 60);
        match hours {
            0 => format!(", {minutes}:{:02} left", seconds % 60),
            _ => format!(", {hours}:{minutes:02}:{:02} left", seconds % 60),
        }
    });
    format!("ecgkeep: {done} of {total} {what}, {rate_shown} a second{left}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_says_how_much_is_done_the_rate_and_what_is_left() {
        let of = |done, seconds| line(done, 1000, "inputs", Duration::from_secs(seconds));
        assert_eq!(of(100, 2), "ecgkeep: 100 of 1000 inputs, 50 a second, 0:18 left");
        assert_eq!(of(1, 8), "ecgkeep: 1 of 1000 inputs, 0.1 a second, 2:13:12 left");
        assert_eq!(of(0, 2), "ecgkeep: 0 of 1000 inputs, 0.0 a second");
    }
}
