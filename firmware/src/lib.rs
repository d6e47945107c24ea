#![no_std]
//! x

pub mod log;
