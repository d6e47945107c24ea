//! In: the arguments of one command. Out: the command's work. One command per file; its help is its manual.

mod option_value;
mod output;
mod keep;
mod few_notes;
mod plain_line;
mod progress;
mod local_time;
mod tuning;
mod watched;
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
mod notes;
mod page_options;
mod sign_off;
pub mod measure;
pub mod identify;

mod group;
pub mod note;
pub mod compare;
pub mod window;
pub mod shift;
pub mod explain;

pub(crate) use output::{notify, notify_lines};
