//! The emulated board: what its images share.
#![no_std]

pub mod recording;
#[cfg(target_os = "none")]
pub mod stopwatch;
pub mod uart;
