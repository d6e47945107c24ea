//! The monitor on a NUCLEO-G474RE: what is of this board alone. Wiring, pins and cautions: `firmware/BOARDS.md`.
//!
//! Registers are reached through `stm32-metapac`, the layer under `embassy-stm32`. Neither hardware
//! abstraction layer offers what the sampling rests on, an encoder timer that latches its counter on another
//! timer's trigger, so most of the board would be register code with either; and there is no executor to feed.
#![cfg_attr(not(test), no_std)]

pub mod nor;

#[cfg(target_os = "none")]
pub mod clock;
#[cfg(target_os = "none")]
pub mod guard;
#[cfg(target_os = "none")]
pub mod pins;
#[cfg(target_os = "none")]
pub mod line;
#[cfg(target_os = "none")]
pub mod rtt;
#[cfg(target_os = "none")]
pub mod spi;
#[cfg(target_os = "none")]
pub mod taps;
#[cfg(target_os = "none")]
pub mod ticks;
