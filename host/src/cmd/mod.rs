//! In: the arguments of one command. Out: its work done. One command per file; its help is its manual.

mod figure;
mod output;
mod progress;
pub mod rehearse;
pub mod watch;
pub mod device;
pub mod moves;
pub mod alarms;
pub mod trend;
pub mod store;
mod recording;
pub mod measure;

pub(crate) use output::tell;
