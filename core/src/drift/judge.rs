//! In: the values of one kind, from the first scale on. Out: how they stand after every subgroup.

use crate::baseline::{Evidence, First, Reference, UNIT};
use crate::drift::cusum::Cusum;
use crate::drift::limit::Limits;
use crate::drift::settings::DriftSettings;
use crate::drift::spread::Spread;
use crate::drift::{Direction, Finding, LIMIT, Promise, SUBGROUP};

/// A unit of scores is at least this part of the smallest change, so that bounded scores reach twice as far.
const SCALE: f32 = 0.8;
/// From this part of a limit on nothing more is learnt: it may be the change. Good moves are hardly ever there.
const SUSPECT: f32 = 0.8;
/// Subgroups further out than this beyond the allowance are not learnt either. Unit: deviations
const ODD: f32 = 4.0;
/// Moves before that can be said.
const FEW: u32 = 64;

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

/// Scale, baseline, scatter, limits and sums of one value.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Judge {
    reference: Reference,
    spread: Spread,
    /// Moves of the baseline and their scores.
    baseline: (u32, i64),
    subgroup: Subgroup,
    due: Due,
    limits: Limits,
    promise: Promise,
    up: Cusum,
    down: Cusum,
}

impl Judge {
    /// None if half of the first moves are unsettled.
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
            due: Due::Nothing,
            limits: Limits::default(),
            promise: Promise::Learning,
            up: Cusum::default(),
            down: Cusum::default(),
        })
    }

    /// Adds a value, that of the given move.
    #[inline]
    pub(crate) fn step(
        &mut self,
        settings: &DriftSettings,
        evidence: Evidence,
        moves: u32,
    ) -> Option<Finding> {
        // One part of the work a move, and all of it before the next subgroup is judged.
        match core::mem::take(&mut self.due) {
            Due::Nothing => (),
            Due::Scores => self.learn(settings),
            Due::Limits => self.limit(settings),
        }
        if !self.subgroup.step(self.reference.score(evidence)) {
            return None;
        }
        if self.spread.is_empty() {
            self.due = Due::Scores;
            return None;
        }
        Some(self.judge(settings, moves))
    }

    pub(crate) fn rearm(&mut self) {
        (self.up, self.down) = (Cusum::default(), Cusum::default());
    }

    pub(crate) fn promise(&self) -> Promise {
        self.promise
    }

    fn judge(&mut self, settings: &DriftSettings, moves: u32) -> Finding {
        let expected = self.baseline.1 as f32 / self.baseline.0.max(1) as f32;
        let deviation = (self.subgroup.sum() as f32 / SUBGROUP as f32 - expected) / UNIT as f32;
        let Limits { allowance, up, down, .. } = self.limits;
        self.up.step(deviation, allowance, up, moves);
        self.down.step(-deviation, allowance, down, moves);
        let (direction, side, limit) = if self.up.sum() * down >= self.down.sum() * up {
            (Direction::Up, self.up, up)
        } else {
            (Direction::Down, self.down, down)
        };
        let full = self.spread.is_learnt() && self.baseline.0 >= settings.baseline;
        if !full && side.sum() < limit * SUSPECT && !self.is_odd(deviation) {
            self.due = Due::Scores;
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

    /// Whether a subgroup is so far out that it is no part of a baseline.
    fn is_odd(&self, deviation: f32) -> bool {
        self.spread.count() >= FEW && deviation.abs() > self.limits.allowance + ODD * self.limits.deviation
    }

    /// Adds the last subgroup to what good moves look like.
    fn learn(&mut self, settings: &DriftSettings) {
        if !self.spread.is_learnt() {
            self.spread.step(&self.subgroup.scores);
        }
        if self.baseline.0 < settings.baseline {
            self.baseline = (self.baseline.0 + SUBGROUP, self.baseline.1 + i64::from(self.subgroup.sum()));
        }
        self.due = Due::Limits;
    }

    /// Limits narrow while more is known.
    fn limit(&mut self, settings: &DriftSettings) {
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
fn smallest(settings: &DriftSettings, median: u32) -> f32 {
    let part = median as f32 * settings.smallest_change_permille as f32 / 1000.0;
    part.max(settings.smallest_change as f32)
}
