//! Whole bundles and bags: what is written, what is read, what is refused.

#![expect(clippy::unwrap_used, reason = "a test that cannot unwrap has failed")]

mod bag_cases;
mod bag_files;
mod bag_suite;
mod by_hand;
mod flips;
mod foreign;
mod golden;
mod grammar;
mod hostile;
mod pack;
mod profile;
mod round_trip;
mod sample;
mod source;
mod verify;
