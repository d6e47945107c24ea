//! In: a place samples or frames come from. Out: the samples or frames.
pub mod rehearsal;
