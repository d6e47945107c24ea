//! Settling time and window status of positioning moves, computed one sample at a time.
//!
//! Data flows one way and the modules stand in its order; a module names only earlier ones:
//! [`unit`] and [`settings`] fix the scales, [`sample`] turns two counters into a following
//! error, [`motion`] finds the moves, [`settling`] watches each stop, [`record`] says what was
//! measured; [`kind`] puts like with like, [`baseline`] says what a kind looks like, [`drift`] whether it has
//! changed; [`alarm`] tells people of a number beyond its limit; and [`axis`] is the one place that knows how
//! a move is measured.
//!
//! Nothing here allocates, reads a clock, fails while running or panics. Bad input becomes a
//! value that travels with the move: see [`record::Outcome`] and [`record::Reasons`].
//! Every reported number is defined in `METHOD.md` beside this crate.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod unit;
pub mod settings;
pub mod sample;
pub mod motion;
pub mod settling;
pub mod record;
pub mod kind;
pub mod baseline;
pub mod drift;
pub mod alarm;
pub mod axis;
pub mod wire;
