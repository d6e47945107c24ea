//! The emulated board: what its images share.
#![no_std]

pub mod recording;
pub mod uart;
