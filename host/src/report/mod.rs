//! In: measured moves. Out: table, JSON lines, CSV.
pub mod line;
