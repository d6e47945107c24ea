//! Stillpoint on the host: reads recordings and monitors, gives measured moves, pictures and stores.
#![forbid(unsafe_code)]

pub mod error;
pub mod trace;
pub mod analysis;
pub mod checksum;
pub mod decode;
pub mod report;
pub mod plot;
pub mod page;
pub mod measure;
pub mod command;
pub mod source;
pub mod store;
pub mod cmd;
pub mod cli;
