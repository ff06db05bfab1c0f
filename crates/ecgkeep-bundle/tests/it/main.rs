//! Whole bundles: what is written, what is read, what is refused.

#![expect(clippy::unwrap_used, reason = "a test that cannot unwrap has failed")]

mod by_hand;
mod grammar;
mod pack;
mod sample;
mod source;
mod verify;
