//! In: a seed and a script. Out: the samples of an invented machine.
pub mod profile;
