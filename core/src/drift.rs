//! In: one value of every move of a kind. Out: whether it has changed lastingly, and by how much.
//!
//! Means of eight scores go into a two-sided CUSUM against the kind's own baseline. Steps and slow ramps end in the
//! same two sums, because a baseline that is full no longer follows. Its limits come from the false alarms that are
//! allowed, the smallest change worth one and how often the axis moves; see METHOD.md.

mod settings;
mod spread;
mod limit;
mod cusum;
mod judge;

pub use cusum::Cusum;
pub use limit::Limits;
pub use settings::{DriftConfig, DriftSettings};
pub use spread::Scatter;

use crate::baseline::{Evidence, First};
use crate::record::{Outcome, Record};
use judge::Judge;

/// Moves whose mean is judged at once.
pub const SUBGROUP: u32 = 8;
/// A score as large as the limit.
pub const LIMIT: u32 = 256;

/// Whether a drift stands at this score, given whether it stood before: once found it stands until its score is below
/// half of the limit, so that one change is one drift.
pub const fn stands(score: u32, stood: bool) -> bool {
    score >= LIMIT || stood && score >= LIMIT / 2
}

/// What is known about the promise of a false alarm rate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Promise {
    /// Too few moves yet to set limits that are sure to hold; a large change is found all the same.
    #[default]
    Learning,
    /// Half of the first moves did not settle: there is nothing to compare with.
    NoBaseline,
    /// Moves depend on each other over more than a few: false alarms may be more than promised.
    Dependent,
    /// False alarms are as promised, but the baseline is too short for the smallest change: see `smallest`.
    Short,
    /// As promised.
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
    /// Side of the larger sum.
    pub direction: Direction,
    /// That sum, at most twice the limit; from [`LIMIT`] on it is a drift. Unit: 1/256 of the limit
    pub score: u32,
    /// Estimated change since the sum left zero; less than the true one if that is beyond 2.5 units of scatter.
    /// Unit: ticks, or that of the values
    pub change: i32,
    /// Last move of the kind before that, from 1. Unit: moves
    pub since: u32,
    /// Change that is found within about the promised time. Unit: ticks, or that of the values
    pub smallest: u32,
    /// Whether the promised rate of false alarms holds for it.
    pub promise: Promise,
}

impl Finding {
    /// A statistically sound change against the baseline.
    pub fn is_drift(&self) -> bool {
        self.score >= LIMIT
    }

    /// Whether a drift stands after this finding, given whether it stood before; see [`stands`].
    pub fn stands(&self, stood: bool) -> bool {
        stands(self.score, stood)
    }
}

/// Watches one value of one kind.
#[derive(Clone, Copy, Debug, Default)]
pub struct Drift {
    moves: u32,
    stage: Stage,
}

#[derive(Clone, Copy, Debug)]
enum Stage {
    /// Gathering the first values, before there is a scale.
    Gathering(First, Promise),
    Judging(Judge),
}

impl Default for Stage {
    fn default() -> Stage {
        Stage::Gathering(First::default(), Promise::Learning)
    }
}

impl Evidence {
    /// The settling time of a move; none if it was interrupted or can't be trusted.
    pub fn of(record: &Record) -> Option<Evidence> {
        match record.outcome {
            Outcome::Settled => record.settling.map(Evidence::Value),
            Outcome::Unsettled => Some(Evidence::Unsettled),
            Outcome::Interrupted | Outcome::Untrusted => None,
        }
    }
}

impl Drift {
    /// Adds a move; returns a finding after every eighth, once there is a baseline to compare with.
    ///
    /// A new baseline or other settings begin with `Drift::default()`.
    pub fn step(&mut self, settings: &DriftSettings, evidence: Evidence) -> Option<Finding> {
        self.moves = self.moves.saturating_add(1);
        match &mut self.stage {
            Stage::Judging(judge) => return judge.step(settings, evidence, self.moves),
            Stage::Gathering(first, _) => {
                if first.step(evidence) {
                    self.stage = match Judge::new(settings, first) {
                        Some(judge) => Stage::Judging(judge),
                        None => Stage::Gathering(First::default(), Promise::NoBaseline),
                    };
                }
            }
        }
        None
    }

    /// Sets both sums to zero, and leaves the baseline as it is: for use after an alarm was dealt with.
    pub fn rearm(&mut self) {
        if let Stage::Judging(judge) = &mut self.stage {
            judge.rearm();
        }
    }

    /// Moves so far.
    pub fn moves(&self) -> u32 {
        self.moves
    }

    /// What is known about the promise.
    pub fn promise(&self) -> Promise {
        match &self.stage {
            Stage::Gathering(_, promise) => *promise,
            Stage::Judging(judge) => judge.promise(),
        }
    }
}

#[cfg(test)]
#[path = "drift/tests.rs"]
mod tests;
