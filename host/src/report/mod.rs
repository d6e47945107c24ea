//! In: measured moves. Out: table, JSON lines, CSV.
pub mod line;

pub mod csv;
pub mod number;
pub mod kind;
pub mod printable;
pub mod shift;
pub mod summary;
pub mod table;
pub mod told;
pub mod trend;
