//! The printable page of a resting ECG, true to scale.
//!
//! [`sheet`] takes every decision and answers plain shapes in millimetres ([`Sheet`]); [`svg`], [`html`] and, with the
//! feature `pdf`, `pdf` only draw them.
//! On the page 25 mm is one second and 10 mm is one millivolt unless another scale is asked for, the samples are drawn
//! as they are stored (each less than 0.01 mm from the drawn line) unless a filter is asked for, and what the page cannot
//! show it says. The page carries technical checks, no diagnosis.
//!
//! # Features
//! * `pdf`: the sheet as PDF/A-2u, with the fonts it embeds.

mod boxes;
mod constants;
mod details;
mod entries;
mod filters;
mod footer;
mod frame;
mod grid;
mod header;
mod html;
mod in_full;
mod label;
mod length;
mod letters;
mod marks;
mod metrics;
mod notices;
mod page;
mod paper;
#[cfg(feature = "pdf")]
mod pdf;
mod shape;
mod sheet;
mod simplified;
mod slot;
mod spacing;
mod svg;
mod tracing;
#[cfg(feature = "pdf")]
mod typeface;
mod typeset;
mod voltages;
mod words;
mod zero_phase;

pub use filters::DisplayFilters;
pub use html::html;
pub use length::Mm;
pub use paper::{ChestGain, Gain, Layout, LeadOrder, Orientation, PageFacts, Paper, PaperSize, Speed};
#[cfg(feature = "pdf")]
pub use pdf::{NotAPdf, pdf};
pub use shape::{Anchor, Entry, Ink, Page, Passage, Point, Rectangle, Shape, Sheet, Text, Weight};
pub use sheet::sheet;
pub use svg::svg;
