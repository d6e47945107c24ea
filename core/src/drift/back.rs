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

/// Evidence that the moves are back at the baseline.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Back {
    sum: f32,
    /// When it began to grow. Unit: minutes
    pub(super) since: u32,
}

impl Back {
    /// Adds a deviation in the direction of the drift; whether the drift has ended.
    pub(super) fn step(&mut self, away: f32, side: &Side, at: &Moment) -> bool {
        let allowance = side.allowance * EDGE / 2.0;
        self.sum = (self.sum + allowance - away).max(0.0);
        if self.sum == 0.0 {
            self.since = at.minute;
        }
        self.sum >= side.limit
    }
}
