//! Stillpoint on the host: recordings in, measured moves, pictures and logs out.
#![forbid(unsafe_code)]

pub mod cli;
pub mod cmd;
pub mod error;
pub mod measure;
pub mod plot;
pub mod report;
pub mod source;
pub mod trace;
