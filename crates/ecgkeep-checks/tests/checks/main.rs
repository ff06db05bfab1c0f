//! The rules on computed strips and on input that no device makes.

mod identity;
mod odd_input;
mod polarity;
mod relations;
mod rules;
mod structure;
mod synthetic;
