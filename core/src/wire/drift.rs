//! In: results of [`crate::kind`], [`crate::baseline`] and [`crate::drift`]. Out: the payloads `Kind`, `Baseline`,
//! `Drift`, `Restart` and `Explained`.

use serde::{Deserialize, Serialize};

use super::appended;
use crate::causes;
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
    /// The machine is warm for the first time: the baselines were those of a machine that warms up. Since version 2.
    Warm,
    /// A person declared the moves to come as good as those of the baseline, which grows by them. Since version 2.
    Taught,
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
    /// Median settling time, or [`Baseline::NOT_STATED`]. Unit: ticks
    pub settling_median: u32,
    /// 95 % quantile of the settling time, or [`Baseline::NOT_STATED`]. Unit: ticks
    pub settling_p95: u32,
    /// Mean settling time of the moves that settled. Since version 2, as the fields below. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub settling_mean: u32,
    /// Number of moves that did not settle, besides `moves`.
    #[serde(deserialize_with = "appended")]
    pub unsettled: u32,
    /// Instant of its first move, since the first reading. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub from: u64,
    /// Whether hardly any settling time lies near the median, which then describes no move.
    #[serde(deserialize_with = "appended")]
    pub median_is_empty: bool,
    /// Whether it is the first, provisional one: the baseline still grows.
    #[serde(deserialize_with = "appended")]
    pub provisional: bool,
}

impl Baseline {
    /// A quantile that lies beyond the places of the distribution, so that it is not known.
    pub const NOT_STATED: u32 = u32::MAX;
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
    /// Earliest `since`, of a 95 % interval. Since version 2, as the fields below. Unit: moves of the kind
    #[serde(deserialize_with = "appended")]
    pub since_earliest: u32,
    /// Latest `since`, of that interval. Unit: moves of the kind
    #[serde(deserialize_with = "appended")]
    pub since_latest: u32,
    /// Middle of the baseline, which `change` is relative to. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub middle: u32,
    /// Whether the drift has ended because the moves are shown to be back at the baseline.
    #[serde(deserialize_with = "appended")]
    pub returned: bool,
}

impl Drift {
    /// Whether a drift stands.
    pub fn is_drift(&self) -> bool {
        self.score >= drift::LIMIT
    }
}

/// A cause that moves the settling time and is known, so that its effect is no drift.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Cause {
    /// Hour of the day; the nodes are every second hour, counted from the first reading.
    #[default]
    HourOfDay,
    /// Time since a short pause; the nodes are at [`PAUSE_MINUTES`].
    ShortPause,
    /// Time since a long pause; the nodes are at [`PAUSE_MINUTES`].
    LongPause,
    /// A product: its number is `key`, its effect the first node.
    Job,
}

/// Number of nodes of a cause.
pub const NODES: usize = causes::HOURS;
/// Nodes of a pause; the nodes after these are 0. Unit: minutes since the pause
pub const PAUSE_MINUTES: [u8; 6] = [0, 3, 8, 15, 30, 60];

/// How much a cause moves the settling time of an axis, relative to the baseline. Linear between two nodes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Explained {
    /// Axis, from 0.
    pub axis: u8,
    /// Instant, since the first reading. Unit: ticks
    pub at: u64,
    /// The cause.
    pub cause: Cause,
    /// Number of the product if the cause is a job, else 0.
    pub key: u32,
    /// Effect at each node. Unit: per mille of the baseline
    pub permille: [i16; NODES],
}

impl Explained {
    /// The message about an effect. Unit of `at`: ticks
    pub fn new(axis: u8, at: u64, effect: &causes::Effect) -> Explained {
        let (cause, key) = match effect.cause {
            causes::Cause::HourOfDay => (Cause::HourOfDay, 0),
            causes::Cause::ShortPause => (Cause::ShortPause, 0),
            causes::Cause::LongPause => (Cause::LongPause, 0),
            causes::Cause::Job(number) => (Cause::Job, number),
        };
        Explained { axis, at, cause, key, permille: effect.nodes.map(|effect| (effect * 1000.0) as i16) }
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

#[cfg(test)]
mod tests {
    use super::PAUSE_MINUTES;
    use crate::causes::AFTER;

    /// At the node after these the machine is warm: no effect by definition.
    #[test]
    fn pauses_have_the_nodes_of_their_profiles() {
        assert_eq!(PAUSE_MINUTES.map(u32::from), AFTER[..PAUSE_MINUTES.len()]);
    }
}
