//! In: what one value of the moves of one kind comes to. Out: whether it has changed for good, and by how much.
//!
//! Means of eight scores go into a two-sided CUSUM against the kind's own baseline. Steps and slow ramps end in the
//! same two sums, because a baseline that is full no longer follows. Its limits come from the false alarms that are
//! allowed, the smallest change worth one and how often the axis moves; see METHOD.md.

pub mod watch;
pub mod spread;
pub mod limit;
pub mod cusum;

use crate::baseline::reference::{Evidence, First, Reference, UNIT};
use crate::record::{Outcome, Record};
use cusum::Cusum;
use limit::Limits;
use spread::Spread;
use watch::Watch;

/// Moves whose mean is judged at once.
pub const SUBGROUP: u32 = 8;
/// A score as large as the limit.
pub const LIMIT: u32 = 256;

/// A unit of scores is at least this part of the smallest change, so that bounded scores reach twice as far.
const SCALE: f32 = 0.8;
/// From this part of a limit on nothing more is learnt: it may be the change. Good moves are hardly ever there.
const SUSPECT: f32 = 0.8;
/// Subgroups further out than this beyond the allowance are not learnt either. Unit: deviations
const ODD: f32 = 4.0;
/// Moves before that can be said.
const FEW: u32 = 64;

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

/// Which way a value has gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Larger: slower.
    Up,
    /// Smaller: faster. Not a fault, but not the baseline either.
    Down,
}

/// How it stands after a subgroup.
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
    /// Whether to believe it.
    pub promise: Promise,
}

impl Finding {
    /// A statistically sound change against the baseline.
    pub fn is_drift(&self) -> bool {
        self.score >= LIMIT
    }
}

/// Scores that are judged together.
#[derive(Clone, Copy, Debug, Default)]
struct Subgroup {
    scores: [i16; SUBGROUP as usize],
    count: u8,
}

/// What is left to be done about the last subgroup.
#[derive(Clone, Copy, Debug, Default)]
enum Due {
    #[default]
    Nothing,
    Scores,
    Limits,
}

/// Watches one value of one kind.
#[derive(Clone, Copy, Debug, Default)]
pub struct Drift {
    first: First,
    reference: Option<Reference>,
    spread: Spread,
    /// Moves of the baseline and their scores.
    baseline: (u32, i64),
    subgroup: Subgroup,
    due: Due,
    limits: Limits,
    promise: Promise,
    up: Cusum,
    down: Cusum,
    moves: u32,
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
    /// Adds a move; tells how it stands after every eighth, once there is something to compare with.
    ///
    /// A new baseline or other settings begin with `Drift::default()`.
    #[inline]
    pub fn step(&mut self, watch: &Watch, evidence: Evidence) -> Option<Finding> {
        self.moves = self.moves.saturating_add(1);
        let Some(reference) = self.reference else {
            self.begin(watch, evidence);
            return None;
        };
        // One part of the work a move, and all of it before the next subgroup is judged.
        match core::mem::take(&mut self.due) {
            Due::Nothing => (),
            Due::Scores => self.learn(watch),
            Due::Limits => self.limit(watch, &reference),
        }
        if !self.subgroup.step(reference.score(evidence)) {
            return None;
        }
        if self.spread.is_empty() {
            self.due = Due::Scores;
            return None;
        }
        Some(self.judge(watch, &reference))
    }

    /// Forgets the evidence gathered against the baseline, and keeps the baseline: after an alarm was dealt with.
    pub fn rearm(&mut self) {
        (self.up, self.down) = (Cusum::default(), Cusum::default());
    }

    /// Moves so far.
    pub fn moves(&self) -> u32 {
        self.moves
    }

    /// What is known about the promise.
    pub fn promise(&self) -> Promise {
        self.promise
    }

    fn begin(&mut self, watch: &Watch, evidence: Evidence) {
        if !self.first.step(evidence) {
            return;
        }
        let Some(median) = self.first.median() else {
            *self = Drift { moves: self.moves, promise: Promise::NoBaseline, ..Drift::default() };
            return;
        };
        let reference = self.first.reference(median, SCALE * smallest(watch, median));
        self.baseline = self
            .first
            .scores(&reference)
            .fold((0, 0), |(count, sum), score| (count + 1, sum + i64::from(score)));
        self.reference = Some(reference);
        self.promise = Promise::Learning;
    }

    fn judge(&mut self, watch: &Watch, reference: &Reference) -> Finding {
        let expected = self.baseline.1 as f32 / self.baseline.0.max(1) as f32;
        let deviation = (self.subgroup.sum() as f32 / SUBGROUP as f32 - expected) / UNIT as f32;
        let Limits { allowance, up, down, .. } = self.limits;
        self.up.step(deviation, allowance, up, self.moves);
        self.down.step(-deviation, allowance, down, self.moves);
        let (direction, side, limit) = if self.up.sum() * down >= self.down.sum() * up {
            (Direction::Up, self.up, up)
        } else {
            (Direction::Down, self.down, down)
        };
        let full = self.spread.is_learnt() && self.baseline.0 >= watch.baseline;
        if !full && side.sum() < limit * SUSPECT && !self.is_odd(deviation) {
            self.due = Due::Scores;
        }
        let change = side.deviation() * reference.unit;
        Finding {
            direction,
            score: (side.sum() / limit * LIMIT as f32) as u32,
            change: if direction == Direction::Up { change as i32 } else { -change as i32 },
            since: side.since(),
            smallest: (2.0 * allowance * reference.unit) as u32,
            promise: self.promise,
        }
    }

    /// Whether a subgroup is so far out that it is no part of a baseline.
    fn is_odd(&self, deviation: f32) -> bool {
        self.spread.count() >= FEW && deviation.abs() > self.limits.allowance + ODD * self.limits.deviation
    }

    /// Adds the last subgroup to what good moves look like.
    fn learn(&mut self, watch: &Watch) {
        if !self.spread.is_learnt() {
            self.spread.step(&self.subgroup.scores);
        }
        if self.baseline.0 < watch.baseline {
            self.baseline = (self.baseline.0 + SUBGROUP, self.baseline.1 + i64::from(self.subgroup.sum()));
        }
        self.due = Due::Limits;
    }

    /// Limits narrow while more is known.
    fn limit(&mut self, watch: &Watch, reference: &Reference) {
        let smallest = smallest(watch, reference.median) / reference.unit;
        let scatter = self.spread.scatter(smallest * smallest / 1024.0);
        let run_length = watch.run_length() / SUBGROUP as f32;
        self.limits = Limits::new(run_length, smallest, &scatter, self.baseline.0 as f32 / SUBGROUP as f32);
        self.promise = if self.limits.dependent {
            Promise::Dependent
        } else if !self.limits.wide_enough {
            Promise::Learning
        } else if self.limits.short {
            Promise::Short
        } else {
            Promise::Held
        };
    }
}

impl Subgroup {
    /// Adds a score; whether the subgroup is full. A full one begins again.
    #[inline]
    fn step(&mut self, score: i32) -> bool {
        if u32::from(self.count) >= SUBGROUP {
            self.count = 0;
        }
        if let Some(place) = self.scores.get_mut(usize::from(self.count)) {
            *place = score as i16;
            self.count += 1;
        }
        u32::from(self.count) >= SUBGROUP
    }

    fn sum(&self) -> i32 {
        self.scores.iter().map(|score| i32::from(*score)).sum()
    }
}

/// Smallest change worth an alarm. Unit: that of the values
fn smallest(watch: &Watch, median: u32) -> f32 {
    let part = median as f32 * watch.smallest_change_permille as f32 / 1000.0;
    part.max(watch.smallest_change as f32)
}

#[cfg(test)]
#[path = "drift/tests.rs"]
mod tests;
