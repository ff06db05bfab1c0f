//! The rules on computed strips and on input that no device makes.

mod cables;
mod demo;
mod identity;
mod odd_input;
mod polarity;
mod policy;
mod quality;
mod recordings;
mod relations;
mod rules;
mod signal;
mod spikes;
mod structure;
mod synthetic;
