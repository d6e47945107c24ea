//! The emulated board: what its images share.
#![no_std]

pub mod recording;
#[cfg(target_os = "none")]
mod fault;
#[cfg(target_os = "none")]
pub mod stopwatch;
// A Cortex-M0+ has no atomic swap; the images that talk are not for it.
#[cfg(any(not(target_os = "none"), target_has_atomic = "8"))]
pub mod uart;
