//! Whether the recording is there: its leads, a tracing on each, its length, its resolution.

pub(crate) mod duration;
pub(crate) mod filters;
pub(crate) mod lead_flat;
pub(crate) mod lead_gap;
pub(crate) mod leads_missing;
pub(crate) mod resolution;
pub(crate) mod sampling_rate;
