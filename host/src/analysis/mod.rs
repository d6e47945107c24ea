//! In: what was recorded over hours and weeks. Out: figures that people decide by.

pub mod alarm_rate;
