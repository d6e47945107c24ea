//! In: a detector, a cell: nuisances and scatter. Out: its alarms, its promise and the time it takes to find a fault, on simulated moves.
//!
//! A rehearsal steps every axis 20,000 times a second; months of many axes need a model of single moves. [`calendar`] says when
//! a machine works, [`conditions`] what changes its settling times while nothing is wrong, [`cells`] names what is simulated,
//! [`moves`] draws the moves of one axis. [`detector`] is what is measured: [`watch`] counts its alarms while nothing is wrong,
//! [`find`] times how it finds a fault, [`repair`] follows it after a repair.

pub mod calendar;
pub mod conditions;
pub mod cells;
pub mod moves;
pub mod detector;
pub mod axes;
pub mod find;
pub mod watch;
pub mod repair;
