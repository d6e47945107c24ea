#![no_std]
#![forbid(unsafe_code)]
#![doc = "placeholder"]
pub mod sample;
pub mod unit;
