//! In: settling times of one kind while it is good. Out: their median and p95; scores for drift detection.
//!
//! [`Quantiles`] estimates the figures that people read. [`Distribution`] converts each value to a bounded score, in which
//! [`crate::drift`] finds a change.

mod normal;
mod first;
mod distribution;
mod quantiles;

pub use distribution::Distribution;
pub(crate) use distribution::{Moments, Place, Scores, UNIT};
pub use first::Evidence;
pub(crate) use first::First;
pub(crate) use normal::{ln, sqrt};
pub use quantiles::Quantiles;
