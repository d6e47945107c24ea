//! In: the values of one kind, once median and unit are known. Out: a finding after every subgroup.
//!
//! A subgroup becomes part of the baseline only if neither sum is near its limit. This work is spread over the next
//! moves, one part a move, so that no move takes long.

use crate::baseline::{Evidence, First, Reference, UNIT};
use crate::drift::cusum::Cusum;
use crate::drift::limit::Limits;
use crate::drift::settings::DriftSettings;
use crate::drift::spread::Spread;
use crate::drift::{Direction, Finding, LIMIT, Promise, SUBGROUP};

/// Least unit, as a part of the smallest change: a score of 2.5 units then reaches twice the smallest change.
const SCALE: f32 = 0.8;
/// Part of a limit from which a subgroup is not learnt, because it may belong to a change. Sums of good moves are
/// hardly ever that large.
const SUSPECT: f32 = 0.8;
/// Deviation beyond the allowance from which a subgroup is not learnt. Unit: scatter of a subgroup's mean
const OUTLYING: f32 = 4.0;
/// Least number of moves learnt for that test.
const OUTLYING_MOVES: u32 = 64;

/// Scores of eight moves, whose mean is one step of the sums.
#[derive(Clone, Copy, Debug, Default)]
struct Subgroup {
    scores: [i16; SUBGROUP as usize],
    count: u8,
}

/// Work that the last subgroup still needs; each of the next moves does one part.
#[derive(Clone, Copy, Debug, Default)]
enum Pending {
    #[default]
    Nothing,
    /// Add the scores to the baseline, then compute the limits.
    Learning,
    /// Compute the limits.
    Limits,
}

/// Compares one value of a kind with its baseline: median and unit, baseline, scatter, limits and sums.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Judge {
    reference: Reference,
    spread: Spread,
    /// Number of moves in the baseline, and the sum of their scores.
    baseline: (u32, i64),
    subgroup: Subgroup,
    pending: Pending,
    limits: Limits,
    promise: Promise,
    up: Cusum,
    down: Cusum,
}

impl Judge {
    /// From the first values; `None` if half of them are unsettled.
    pub(crate) fn new(settings: &DriftSettings, first: &First) -> Option<Judge> {
        let median = first.median()?;
        let reference = first.reference(median, SCALE * smallest(settings, median));
        let baseline =
            first.scores(&reference).fold((0, 0), |(count, sum), score| (count + 1, sum + i64::from(score)));
        Some(Judge {
            reference,
            spread: Spread::default(),
            baseline,
            subgroup: Subgroup::default(),
            pending: Pending::Nothing,
            limits: Limits::default(),
            promise: Promise::Learning,
            up: Cusum::default(),
            down: Cusum::default(),
        })
    }

    /// Adds the value of a move; `moves` is its number within the kind.
    pub(crate) fn step(
        &mut self,
        settings: &DriftSettings,
        evidence: Evidence,
        moves: u32,
    ) -> Option<Finding> {
        // One part of the work a move: all of it is done before the next subgroup is full.
        match core::mem::take(&mut self.pending) {
            Pending::Nothing => (),
            Pending::Learning => self.learn(settings),
            Pending::Limits => self.set_limits(settings),
        }
        if !self.subgroup.step(self.reference.score(evidence)) {
            return None;
        }
        if self.spread.is_empty() {
            self.pending = Pending::Learning;
            return None;
        }
        Some(self.judge(settings, moves))
    }

    /// Sets both sums to zero.
    pub(crate) fn rearm(&mut self) {
        (self.up, self.down) = (Cusum::default(), Cusum::default());
    }

    pub(crate) fn promise(&self) -> Promise {
        self.promise
    }

    /// Adds the full subgroup to the sums.
    fn judge(&mut self, settings: &DriftSettings, moves: u32) -> Finding {
        let baseline_mean = self.baseline.1 as f32 / self.baseline.0.max(1) as f32;
        let deviation = (self.subgroup.sum() as f32 / SUBGROUP as f32 - baseline_mean) / UNIT as f32;
        let Limits { allowance, up, down, .. } = self.limits;
        self.up.step(deviation, allowance, up, moves);
        self.down.step(-deviation, allowance, down, moves);
        let (direction, side, limit) = if self.up.sum() * down >= self.down.sum() * up {
            (Direction::Up, self.up, up)
        } else {
            (Direction::Down, self.down, down)
        };
        let full = self.spread.is_learnt() && self.baseline.0 >= settings.baseline;
        if !full && side.sum() < limit * SUSPECT && !self.is_outlying(deviation) {
            self.pending = Pending::Learning;
        }
        let change = side.deviation() * self.reference.unit;
        Finding {
            direction,
            score: (side.sum() / limit * LIMIT as f32) as u32,
            change: if direction == Direction::Up { change as i32 } else { -change as i32 },
            since: side.since(),
            smallest: (2.0 * allowance * self.reference.unit) as u32,
            promise: self.promise,
        }
    }

    /// Whether a subgroup's deviation is too large for the baseline.
    fn is_outlying(&self, deviation: f32) -> bool {
        let largest = self.limits.allowance + OUTLYING * self.limits.deviation;
        self.spread.count() >= OUTLYING_MOVES && deviation.abs() > largest
    }

    /// Adds the last subgroup to the baseline and to its scatter.
    fn learn(&mut self, settings: &DriftSettings) {
        if !self.spread.is_learnt() {
            self.spread.step(&self.subgroup.scores);
        }
        if self.baseline.0 < settings.baseline {
            self.baseline = (self.baseline.0 + SUBGROUP, self.baseline.1 + i64::from(self.subgroup.sum()));
        }
        self.pending = Pending::Limits;
    }

    /// Computes the limits, which narrow as the baseline grows, and the state of the guarantee.
    fn set_limits(&mut self, settings: &DriftSettings) {
        let smallest = smallest(settings, self.reference.median) / self.reference.unit;
        let scatter = self.spread.scatter(smallest * smallest / 1024.0);
        let run_length = settings.run_length() / SUBGROUP as f32;
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
    /// Adds a score, the first of a new subgroup if the last one was full; returns whether the subgroup is full.
    fn step(&mut self, score: i32) -> bool {
        if u32::from(self.count) >= SUBGROUP {
            self.count = 0;
        }
        if let Some(last) = self.scores.get_mut(usize::from(self.count)) {
            *last = score as i16;
            self.count += 1;
        }
        u32::from(self.count) >= SUBGROUP
    }

    fn sum(&self) -> i32 {
        self.scores.iter().map(|score| i32::from(*score)).sum()
    }
}

/// Smallest change worth an alarm. Unit: that of the values
fn smallest(settings: &DriftSettings, median: u32) -> f32 {
    let part = median as f32 * settings.smallest_change_permille as f32 / 1000.0;
    part.max(settings.smallest_change as f32)
}
