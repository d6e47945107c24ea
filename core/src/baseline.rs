//! In: settling times of one kind while it is good. Out: their distribution, and scores for drift detection.
//!
//! [`Distribution`] has the figures that people read, and converts each value to a bounded score, in which [`crate::drift`]
//! finds a change.

mod normal;
mod first;
mod distribution;

pub use distribution::Distribution;
pub(crate) use distribution::{Moments, Place, Scores, UNIT};
pub use first::Evidence;
pub(crate) use first::First;
pub(crate) use normal::{ln, sqrt};
