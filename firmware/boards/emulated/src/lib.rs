//! The emulated board: what its images share.
#![no_std]

pub mod uart;
