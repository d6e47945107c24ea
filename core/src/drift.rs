//! In: one value of every move of a kind, such as its settling time. Out: after every eighth, a [`Finding`]: direction,
//! score and size of a lasting change.
//!
//! Means of eight scores go into a two-sided CUSUM against the kind's baseline. It finds steps and slow ramps alike,
//! because a full baseline no longer follows. The limits come from the set rate of false alarms, the smallest change
//! worth an alarm and the moves per hour of the axis; see METHOD.md.

mod settings;
mod spread;
mod limit;
mod side;
mod cusum;
mod back;
mod wander;
mod judge;

pub use cusum::Cusum;
pub use limit::Limits;
pub use settings::{DriftConfig, DriftSettings};
pub use spread::Scatter;

use crate::baseline::{Evidence, First};
use crate::record::{Outcome, Record};
use judge::Judge;

/// Number of moves in a subgroup, whose mean score is one step of the sums.
pub const SUBGROUP: u32 = 8;
/// Value of [`Finding::score`] at which the sum is at its limit.
pub const LIMIT: u32 = 256;

/// When a move was made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Moment {
    /// Unit: minutes since the first reading
    pub minute: u32,
    /// Since the last pause of the machine. Unit: minutes
    pub running: u32,
    /// Factor by which circumstances whose effect is not known may have made it slower; 0: none. Unit: per cent
    pub doubt: u32,
}

/// State of the guarantee that false alarms are no more frequent than the set rate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Promise {
    /// Too few moves yet for limits that guarantee the rate; a large change is found already.
    #[default]
    Learning,
    /// Half of the first moves did not settle: no baseline.
    NoBaseline,
    /// Moves depend on each other over more than a few: false alarms may be more frequent than the set rate.
    Dependent,
    /// The rate is guaranteed, but the baseline is too short to find the smallest change; see [`Finding::smallest`].
    Short,
    /// The rate is guaranteed.
    Held,
}

/// Whether a value has grown or shrunk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Larger: slower.
    Up,
    /// Smaller: faster. Not a fault, but not the baseline either.
    Down,
}

/// The state of the two sums after a subgroup.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Direction of the sum that is larger relative to its limit.
    pub direction: Direction,
    /// That sum, at most twice the limit; at least [`LIMIT`] exactly while a drift stands. Unit: 1/256 of the limit
    pub score: u32,
    /// Estimated change since the sum left zero; too small if the true change is beyond 2.5 units, where scores are
    /// cut off. Unit: ticks, or that of the values
    pub change: i32,
    /// Last move of the kind before the sum left zero, counted from 1. Unit: moves
    pub since: u32,
    /// First and last move that may have been the one before the change. Unit: moves
    pub since_within: (u32, u32),
    /// Mean of the baseline. Unit: ticks, or that of the values
    pub middle: u32,
    /// Change that is found: the smallest change of the settings, unless the baseline is too short for it or the level
    /// wanders. Unit: ticks, or that of the values
    pub smallest: u32,
    /// Whether the rate of false alarms is guaranteed.
    pub promise: Promise,
    /// A drift ended with this subgroup: the moves are shown to be back at the baseline.
    pub returned: bool,
}

impl Finding {
    /// Whether a drift stands: a statistically sound change against the baseline.
    pub fn is_drift(&self) -> bool {
        self.score >= LIMIT
    }
}

/// Drift detection for one value of one kind.
#[derive(Clone, Copy, Debug, Default)]
pub struct Drift {
    moves: u32,
    stage: Stage,
}

#[derive(Clone, Copy, Debug)]
enum Stage {
    /// Collecting the first values, before median and unit are known.
    Collecting(First, Promise),
    /// Comparing every subgroup with the baseline.
    Judging(Judge),
}

impl Default for Stage {
    fn default() -> Stage {
        Stage::Collecting(First::default(), Promise::Learning)
    }
}

impl Evidence {
    /// The settling time of a move; `None` if the move is interrupted or untrusted.
    pub fn of(record: &Record) -> Option<Evidence> {
        match record.outcome {
            Outcome::Settled => record.settling.map(Evidence::Value),
            Outcome::Unsettled => Some(Evidence::Unsettled),
            Outcome::Interrupted | Outcome::Untrusted => None,
        }
    }
}

impl Drift {
    /// Adds the value of a move; returns a finding after every eighth move, once there is a baseline.
    ///
    /// For a new baseline or other settings, begin with `Drift::default()`.
    pub fn step(&mut self, settings: &DriftSettings, evidence: Evidence, at: &Moment) -> Option<Finding> {
        self.moves = self.moves.saturating_add(1);
        match &mut self.stage {
            Stage::Judging(judge) => return judge.step(settings, evidence, at, self.moves),
            Stage::Collecting(first, _) => {
                if first.step(evidence) {
                    self.stage = match Judge::new(settings, first, at) {
                        Some(judge) => Stage::Judging(judge),
                        None => Stage::Collecting(First::default(), Promise::NoBaseline),
                    };
                }
            }
        }
        None
    }

    /// By how much a value differs from the baseline, relative to its mean; bounded. `None` before there are limits.
    pub fn residual(&self, settings: &DriftSettings, evidence: Evidence) -> Option<f32> {
        self.judge()?.residual(settings, evidence)
    }

    /// Whether there are limits, provisional or not.
    pub fn has_limits(&self) -> bool {
        self.judge().is_some_and(Judge::has_limits)
    }

    /// Whether the baseline is still growing.
    pub fn is_learning(&self) -> bool {
        self.judge().is_none_or(|judge| !judge.is_complete())
    }

    /// Whether a drift stands.
    pub fn stands(&self) -> Option<Direction> {
        self.judge()?.stands()
    }

    /// The moves to come are as good as those of the baseline, which grows by them for another baseline's time.
    pub fn teach(&mut self, at: &Moment) {
        if let Stage::Judging(judge) = &mut self.stage {
            judge.teach(at, self.moves);
        }
    }

    /// The value of the baseline below which this share of the settled ones lies, within half a place: an eighth of the
    /// smallest change, or a twenty-fourth of the range of most values. `None` without a baseline, or beyond that range.
    /// Unit: ticks, or that of the values
    pub fn quantile(&self, share: f32) -> Option<u32> {
        self.judge()?.quantile(share)
    }

    /// Whether hardly any value of the baseline lies near this one: within half of the smallest change.
    pub fn is_empty_at(&self, settings: &DriftSettings, value: u32) -> bool {
        self.judge().is_some_and(|judge| judge.is_empty_at(settings, value))
    }

    /// Sets all sums to zero; the baseline stays. For use after the cause of an alarm was removed.
    pub fn rearm(&mut self) {
        if let Stage::Judging(judge) = &mut self.stage {
            judge.rearm(self.moves);
        }
    }

    /// Number of moves added.
    pub fn moves(&self) -> u32 {
        self.moves
    }

    /// The comparison with the baseline; `None` before there is one.
    fn judge(&self) -> Option<&Judge> {
        match &self.stage {
            Stage::Judging(judge) => Some(judge),
            Stage::Collecting(..) => None,
        }
    }

    /// State of the guarantee.
    pub fn promise(&self) -> Promise {
        match &self.stage {
            Stage::Collecting(_, promise) => *promise,
            Stage::Judging(judge) => judge.promise(),
        }
    }
}

#[cfg(test)]
#[path = "drift/tests.rs"]
mod tests;
