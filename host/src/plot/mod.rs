//! In: measured moves and their samples. Out: SVG, PNG and HTML pictures.
pub mod decimate;

#[cfg(test)]
pub(crate) mod fake;
