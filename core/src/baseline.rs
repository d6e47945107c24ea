//! In: settling times of one kind while it is good. Out: their median and p95; scores for drift detection.
//!
//! [`Quantiles`] estimates the figures that people read. [`Reference`] converts each value to a bounded score, in which
//! [`crate::drift`] finds a change.

mod quantiles;
mod reference;

pub use quantiles::Quantiles;
pub use reference::{Evidence, Reference};
pub(crate) use reference::{First, UNIT};
