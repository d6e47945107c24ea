//! In: deviations of subgroups while a drift stands. Out: whether it has ended.
//!
//! The mirror image of the sum by which a drift begins: between the baseline and the edge of the quiet part, with the same
//! distance to either and so with the same limit. A level between the two sums' allowances moves neither, so that a drift
//! neither begins nor ends by chance.

use super::Moment;
use super::side::Side;

/// Edge of the quiet part, as a part of the allowance: the latter lies midway between half of the smallest change and the
/// whole.
const EDGE: f32 = 2.0 / 3.0;

/// Subgroups that the variance follows.
const FOLLOWED: f32 = 32.0;
/// Largest square of a difference: the step of a repair is no scatter. Unit: variances of the baseline
const LARGEST: f32 = 16.0;

/// Evidence that the moves are back at the baseline.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Back {
    sum: f32,
    /// When it began to grow. Unit: minutes
    pub(super) since: u32,
    /// The last deviation, and half the mean square of successive differences: a drift may scatter more than the baseline.
    last: f32,
    variance: f32,
}

impl Back {
    /// Adds a deviation in the direction of the drift; whether the drift has ended. `variance` is that of the baseline.
    pub(super) fn step(&mut self, away: f32, side: &Side, variance: f32, at: &Moment) -> bool {
        let allowance = side.allowance * EDGE / 2.0;
        let difference = away - core::mem::replace(&mut self.last, away);
        let square = (difference * difference).min(LARGEST * variance);
        self.variance += (square / 2.0 - self.variance) / FOLLOWED;
        self.sum = (self.sum + allowance - away).max(0.0);
        if self.sum == 0.0 {
            self.since = at.minute;
        }
        self.sum >= side.limit * (self.variance / variance.max(1e-6)).max(1.0)
    }
}
