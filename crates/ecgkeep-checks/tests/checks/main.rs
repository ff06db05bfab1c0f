//! The rules on computed strips and on input that no device makes.

mod cables;
mod demo;
mod identity;
mod odd_input;
mod polarity;
mod recordings;
mod relations;
mod rules;
mod signal;
mod structure;
mod synthetic;
