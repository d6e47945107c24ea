//! The monitor's device library: the same code on a microcontroller, under emulation and on a PC.
//!
//! It only listens: no output of the monitor reaches the drive, and it is no safety function.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod tap;
pub mod sampler;
pub mod infer;
pub mod health;
pub mod capture;
pub mod memory;
pub mod log;
pub mod link;
pub mod store;
pub mod lamp;
pub mod app;
