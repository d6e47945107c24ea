//! In: what the watch over a kind of moves found. Out: the payloads that say so.
//!
//! Each has the words of its stage: [`crate::kind`], [`crate::baseline`], [`crate::drift`], and in [`alarm`] [`crate::alarm`].

use serde::{Deserialize, Serialize};

use super::appended;
use crate::drift;

pub mod alarm;

pub use alarm::{
    Action, Alarm, AlarmEvent, AlarmPriority, AlarmState, Arranged, Arrangement, Category, Subject,
};

/// A kind of moves was met for the first time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kind {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis, from 1; never used again.
    pub kind: u32,
    /// Instant of the message, since the first reading. Unit: ticks
    pub at: u64,
    /// Whether the command runs towards larger counts.
    pub forward: bool,
    /// Distance of its first move. Unit: counts
    pub distance: u32,
    /// Distance of the fastest eight samples of that move. Unit: counts
    pub speed_distance: u32,
    /// Their time. Unit: ticks
    pub speed_time: u32,
    /// Number of the kind that had to go for it, 0 if none.
    pub instead_of: u32,
    /// Moves that the one which had to go had.
    pub moves: u32,
}

/// Why a watch begins anew.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Why {
    /// Other settings are in force: what was learnt was measured by others.
    #[default]
    Settings,
    /// A person declared that what runs now is good.
    Declared,
    /// The kind had to go for another.
    Dropped,
}

/// The watch over some moves begins anew: baselines are forgotten.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Restart {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis, 0: all of the axis.
    pub kind: u32,
    /// Instant, since the first reading. Unit: ticks
    pub at: u64,
    /// Why.
    pub why: Why,
}

/// What a kind's settling looked like when it was declared good.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Baseline {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis.
    pub kind: u32,
    /// Instant at which it was full, since the first reading. Unit: ticks
    pub at: u64,
    /// Moves that it rests on.
    pub moves: u32,
    /// Median settling time. Unit: ticks
    pub settling_median: u32,
    /// Settling time that 95 % of the moves kept. Unit: ticks
    pub settling_p95: u32,
}

/// Which way a value has gone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Direction {
    /// Larger: slower.
    #[default]
    Up,
    /// Smaller: faster.
    Down,
}

/// What is known about the promise of a false alarm rate; see [`drift::Promise`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Promise {
    /// Too few moves yet.
    #[default]
    Learning,
    /// Half of the first moves did not settle.
    NoBaseline,
    /// Moves depend on each other over more than a few.
    Dependent,
    /// Held, but only a larger change than the smallest one is found: see `smallest`.
    Short,
    /// As promised.
    Held,
}

/// How the moves of a kind stand against its baseline: told when a drift begins to stand, when it no longer
/// does, and when the promise changes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drift {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis.
    pub kind: u32,
    /// The move that decided it.
    pub number: u32,
    /// Estimated change of the settling time. Unit: ticks
    pub change: i32,
    /// The detector's figure: from 256 on a drift stands. Unit: 1/256 of its limit
    pub score: u32,
    /// Which way it has gone.
    #[serde(deserialize_with = "appended")]
    pub direction: Direction,
    /// Last move of the kind before the change. Unit: moves of the kind
    #[serde(deserialize_with = "appended")]
    pub since: u32,
    /// Change that is found within about the promised time. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub smallest: u32,
    /// Whether to believe it.
    #[serde(deserialize_with = "appended")]
    pub promise: Promise,
    /// Moves of the kind so far, since its watch began.
    #[serde(deserialize_with = "appended")]
    pub moves: u32,
}

impl Drift {
    /// Whether a drift is found by this alone; one that stood before may still stand, see [`drift::stands`].
    pub fn is_standing(&self) -> bool {
        drift::stands(self.score, false)
    }
}

impl From<drift::Direction> for Direction {
    fn from(direction: drift::Direction) -> Direction {
        match direction {
            drift::Direction::Up => Direction::Up,
            drift::Direction::Down => Direction::Down,
        }
    }
}

impl From<drift::Promise> for Promise {
    fn from(promise: drift::Promise) -> Promise {
        match promise {
            drift::Promise::Learning => Promise::Learning,
            drift::Promise::NoBaseline => Promise::NoBaseline,
            drift::Promise::Dependent => Promise::Dependent,
            drift::Promise::Short => Promise::Short,
            drift::Promise::Held => Promise::Held,
        }
    }
}
