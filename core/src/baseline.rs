//! In: the moves of one kind while it is good. Out: what they look like.
//!
//! [`Quantiles`] describe a kind to people. [`Reference`] turns each value into a bounded score, from which
//! [`crate::drift`] finds a change.

mod quantiles;
mod reference;

pub use quantiles::Quantiles;
pub use reference::{Evidence, Reference};
pub(crate) use reference::{First, UNIT};
