//! In: results of [`crate::kind`], [`crate::baseline`] and [`crate::drift`]. Out: the payloads `Kind`, `Baseline`,
//! `Drift` and `Restart`.

use serde::{Deserialize, Serialize};

use super::appended;
use crate::drift;

/// A new kind of moves; sent with its first move.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kind {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis, from 1; a number is used once.
    pub kind: u32,
    /// Instant of the message, since the first reading. Unit: ticks
    pub at: u64,
    /// Whether the command runs towards larger counts.
    pub forward: bool,
    /// Distance of its first move. Unit: counts
    pub distance: u32,
    /// Distance of the fastest speed block of that move. Unit: counts
    pub speed_distance: u32,
    /// Time of that speed block. Unit: ticks
    pub speed_time: u32,
    /// Number of the kind that was dropped for it, 0 if none.
    pub instead_of: u32,
    /// Number of moves of the dropped kind.
    pub moves: u32,
}

/// Why drift detection begins anew.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum RestartReason {
    /// Other settings are in force: the baselines were measured with the previous ones.
    #[default]
    Settings,
    /// A person declared the axis or the kind good.
    Declared,
    /// The kind was dropped for another kind.
    Dropped,
}

/// Drift detection begins anew: baselines are discarded.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Restart {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis; 0 means all kinds.
    pub kind: u32,
    /// Instant, since the first reading. Unit: ticks
    pub at: u64,
    /// Why drift detection begins anew.
    pub why: RestartReason,
}

/// Median and p95 of the settling times of a kind while it was good.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Baseline {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis.
    pub kind: u32,
    /// Instant at which the baseline was full, since the first reading. Unit: ticks
    pub at: u64,
    /// Number of moves in the baseline.
    pub moves: u32,
    /// Median settling time. Unit: ticks
    pub settling_median: u32,
    /// 95 % quantile of the settling time. Unit: ticks
    pub settling_p95: u32,
}

/// Whether a value has grown or shrunk.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Direction {
    /// Larger: slower.
    #[default]
    Up,
    /// Smaller: faster.
    Down,
}

/// State of the guarantee of the false-alarm rate; see [`drift::Promise`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Promise {
    /// Too few moves yet.
    #[default]
    Learning,
    /// Half of the first moves did not settle.
    NoBaseline,
    /// Moves depend on each other over more than a few.
    Dependent,
    /// The rate is guaranteed, but the smallest change is not found; see [`Drift::smallest`].
    Short,
    /// The rate is guaranteed.
    Held,
}

/// Drift of a kind against its baseline; sent when a drift begins, when it ends, and when the state of the guarantee
/// changes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drift {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis.
    pub kind: u32,
    /// Number of the last move of the subgroup.
    pub number: u32,
    /// Estimated change of the settling time. Unit: ticks
    pub change: i32,
    /// Score of the detector; a drift begins at 256. Unit: 1/256 of its limit
    pub score: u32,
    /// Whether the settling time has grown or shrunk.
    #[serde(deserialize_with = "appended")]
    pub direction: Direction,
    /// Last move of the kind before the change. Unit: moves of the kind
    #[serde(deserialize_with = "appended")]
    pub since: u32,
    /// Change that the sums are tuned to find; see [`drift::Finding::smallest`]. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub smallest: u32,
    /// State of the guarantee.
    #[serde(deserialize_with = "appended")]
    pub promise: Promise,
    /// Number of moves of the kind since its drift detection began.
    #[serde(deserialize_with = "appended")]
    pub moves: u32,
}

impl Drift {
    /// Whether a drift stands.
    pub fn is_drift(&self) -> bool {
        self.score >= drift::LIMIT
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
