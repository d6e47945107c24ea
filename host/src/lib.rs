//! Stillpoint on the host: recordings in, measured moves, pictures and logs out.
#![forbid(unsafe_code)]

pub mod error;
pub mod trace;
pub mod analysis;
pub mod decode;
pub mod report;
pub mod plot;
pub mod measure;
pub mod source;
pub mod store;
pub mod command;
pub mod cmd;
pub mod cli;
