//! In: how many days or megabytes a watch keeps. Out: older days deleted, at most once an hour.

use std::time::{Duration, Instant};

use clap::Args;

use super::option_value::{days, whole};
use crate::report::number;
use crate::store::log::Log;
use crate::store::retain::{Removed, Retention};
use crate::store::time;

/// Time between two deletions.
const HOUR: Duration = Duration::from_secs(3600);

/// How much to keep.
#[derive(Args)]
pub(super) struct Keep {
    /// Delete raw frames and moves older than this many whole days, once an hour, as `stillpoint store retain` does
    #[arg(long, value_name = "N", requires = "store", conflicts_with = "keep_megabytes")]
    #[arg(value_parser = days, allow_negative_numbers = true)]
    keep_days: Option<u32>,
    /// Keep as many whole days as fit in this size, and always the last day
    #[arg(long, value_name = "N", requires = "store")]
    #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
    keep_megabytes: Option<u32>,
}

impl Keep {
    /// None if all is kept.
    pub(super) fn start(&self) -> Option<Deletion> {
        let bytes = self.keep_megabytes.map(|megabytes| Retention::Bytes(u64::from(megabytes) * 1_000_000));
        let retention = self.keep_days.map(Retention::Days).or(bytes)?;
        Some(Deletion { retention, last: None })
    }
}

/// The deletion of older days while a monitor is watched.
pub(super) struct Deletion {
    retention: Retention,
    last: Option<Instant>,
}

impl Deletion {
    /// Deletes older days if an hour has passed since the last time. Returns what there is to say of it.
    pub(super) fn step(&mut self, log: &mut Log) -> Option<String> {
        if self.last.is_some_and(|last| last.elapsed() < HOUR) {
            return None;
        }
        self.last = Some(Instant::now());
        match log.retain(self.retention, time::now()) {
            Ok(Removed { frames: 0, .. }) => None,
            Ok(deleted) => Some(format!(
                "deleted: {} and {}",
                number::count(deleted.frames, "raw frame"),
                number::count(deleted.moves, "move")
            )),
            // Watching goes on; it is tried again after an hour.
            Err(error) => Some(error.to_string()),
        }
    }
}
