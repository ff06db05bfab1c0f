//! Whether the limb leads fit together as leads of one body must.

pub(crate) mod einthoven;
pub(crate) mod goldberger;
mod mismatch;
