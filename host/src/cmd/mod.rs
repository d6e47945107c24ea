//! In: the arguments of one command. Out: the command's work. One command per file; its help is its manual.

mod option_value;
mod output;
mod progress;
pub mod rehearse;
pub mod watch;
pub mod device;
pub mod moves;
pub mod alarms;
pub mod trend;
pub mod store;
mod recording_options;
mod measuring;
mod recordings;
pub mod measure;
pub mod identify;

mod group;
mod notes;
pub mod compare;
pub mod window;
pub mod explain;

pub(crate) use output::notify;
