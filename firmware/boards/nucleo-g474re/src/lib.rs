//! The monitor on a NUCLEO-G474RE: the code of this board alone. Wiring, pins and cautions: `firmware/BOARDS.md`.
//!
//! Registers are accessed through `stm32-metapac`, the layer under `embassy-stm32`. The sampling needs an encoder
//! timer that latches its counter on the trigger of another timer. No hardware abstraction layer offers that, so most
//! of the board would be register code in any case.
#![cfg_attr(not(test), no_std)]

pub mod nor;

#[cfg(target_os = "none")]
pub mod clock;
#[cfg(target_os = "none")]
pub mod guard;
#[cfg(target_os = "none")]
pub mod pins;
#[cfg(target_os = "none")]
pub mod uart;
#[cfg(target_os = "none")]
pub mod rtt;
#[cfg(target_os = "none")]
pub mod spi;
#[cfg(target_os = "none")]
pub mod taps;
#[cfg(target_os = "none")]
pub mod ticks;
