//! In: a detector, a nuisance. Out: its alarms, its promise and the time it takes to find a fault, on simulated moves.
//!
//! A rehearsal steps every axis 20,000 times a second; months of many axes need a model of single moves. [`cells`] names
//! the nuisances and their sizes, [`moves`] draws the moves of one axis, [`detector`] is what is measured, [`run`] measures.

pub mod cells;
pub mod moves;
pub mod detector;
pub mod run;
