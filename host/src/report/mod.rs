//! In: measured moves, and what a monitor sends. Out: JSON lines, CSV, tables and sentences.

pub mod number;
pub mod printable;
pub mod json;
pub mod describe;
pub mod wall_time;

// A move.
pub mod clock;
pub mod field;
pub mod axis_context;
pub mod reason;
pub mod settling_curve;
pub mod move_report;
pub mod moment;
pub mod ringing;
pub mod cell;
pub mod csv;
pub mod summary;
pub mod table;

// A drift, and what explains one.
pub mod story;
pub mod move_times;
pub mod stories;
pub mod explained;

// Moves of several recordings.
pub mod kind_moves;
pub mod compare;
pub mod rungs;
pub mod tuning;
pub mod window;
pub mod limit;

// Why stops are slow.
pub mod advice;
pub mod explain;

// A shift, and what becomes of settling.
pub mod shift;
pub mod trend;
pub mod glance;

// An axis.
pub mod identified;

#[cfg(test)]
pub(crate) mod fixture;
