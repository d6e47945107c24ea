//! In: a seed, and which axes wear. Out: a shift move by move, what the watch reports of it, and the truth behind it.
//!
//! A rehearsal steps every axis 20,000 times a second; hundreds of shifts of eight hours need a model of moves.
//! [`full`] simulates an axis in full, [`library`] keeps moves of it at a row of ages, [`model`] draws a shift from
//! them, [`likeness`] measures how well the two agree. [`watched`] follows either as monitor and store do, and [`truth`]
//! is what is to be expected of a slope and of the time to a limit, [`limits`] what the trend states of that.
//!
//! For a week and a year of a machine whose conditions change, [`stock`] has moves by age, product and cold, [`year`] draws from
//! them, [`drifts`] is what a detector finds on one axis, [`machines`] what it makes of many machines.

pub mod full;
pub mod library;
pub mod model;
pub mod watched;
pub mod likeness;
pub mod truth;
pub mod limits;
pub mod stock;
pub mod year;
pub mod drifts;
pub mod machines;
