//! In: deviations of subgroups from the baseline. Out: how far the level moves without a known cause.
//!
//! Two signs of it: means of blocks of ten minutes scatter more than their moves explain; and a drift goes away while the
//! machine runs, so that nobody can have repaired anything.

use super::Moment;
use crate::baseline::sqrt;

/// Shortest block. Unit: minutes
const BLOCK: u32 = 10;
/// Number of blocks that an estimate follows: a day.
const FOLLOWED: f32 = 144.0;
/// Least number of blocks for an estimate.
const FEWEST: u16 = 4;
/// Range of a level that wanders: from the baseline to 5.5 standard deviations, half of it without an alarm.
const RANGE: f32 = 5.5;
/// By how much a drift that went away is forgotten at the end of a block: half of it within three days.
const FORGETTING: f32 = 0.9984;
/// A level is back at the baseline within this part of the smallest change.
const BACK: f32 = 0.125;

/// The level, block by block. Unit: score units, and their squares
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Wander {
    /// Sum of the deviations of the present block, their number, and the minute of its begin.
    sum: f32,
    count: u16,
    begun: u32,
    /// Variance of the level beyond that of its moves, and number of blocks it was estimated from.
    variance: f32,
    blocks: u16,
    /// Squares and number of blocks since the level was last back: whether it wanders or has changed is not yet known.
    away: f32,
    away_blocks: u16,
    /// Drifts that went away within the time that is not forgotten, and the largest of them.
    returns: u8,
    returned: f32,
}

impl Wander {
    /// Adds the deviation of a subgroup; whether a block ends with it. `variance` is that of a subgroup, `full` the
    /// deviation of the smallest change. Unit: score units
    pub(super) fn step(&mut self, deviation: f32, variance: f32, full: f32, at: &Moment) -> bool {
        if self.count == 0 {
            self.begun = at.minute;
        }
        self.sum += deviation;
        self.count = self.count.saturating_add(1);
        let error = variance / f32::from(self.count);
        if at.minute.wrapping_sub(self.begun) < BLOCK || error * 16.0 > full * full && self.count < u16::MAX {
            return false;
        }
        let mean = self.sum / f32::from(self.count);
        self.away += mean * mean - error;
        self.away_blocks = self.away_blocks.saturating_add(1);
        self.returned *= FORGETTING;
        if mean.abs() < BACK * full {
            self.comes_back();
        }
        self.restart_block();
        true
    }

    /// The present block does not count: a drift stands.
    pub(super) fn restart_block(&mut self) {
        (self.sum, self.count) = (0.0, 0);
    }

    /// A drift of this size went away; `running`: without a pause of the machine. A repair needs a pause, and is
    /// seldom followed by another.
    pub(super) fn returns(&mut self, deviation: f32, running: bool) {
        self.returns = self.returns.saturating_add(1);
        if running || self.returns > 2 {
            self.returned = self.returned.max(deviation);
            self.comes_back();
        }
        (self.away, self.away_blocks) = (0.0, 0);
    }

    /// The level is back: it wandered, unless it was away for more than a day and so had changed.
    fn comes_back(&mut self) {
        if f32::from(self.away_blocks) > FOLLOWED {
            (self.away, self.away_blocks) = (0.0, 0);
        }
        let blocks = f32::from(self.away_blocks.max(1));
        self.blocks = self.blocks.saturating_add(self.away_blocks.max(1));
        let part = (blocks / f32::from(self.blocks).min(FOLLOWED)).min(1.0);
        self.variance += (self.away / blocks - self.variance) * part;
        (self.away, self.away_blocks) = (0.0, 0);
    }

    /// Change that a level which wanders like that does not reach. Unit: score units
    pub(super) fn reach(&self) -> f32 {
        let scattered = if self.blocks < FEWEST { 0.0 } else { RANGE * sqrt(self.variance) };
        scattered.max(2.0 * self.returned)
    }
}
