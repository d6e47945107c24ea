//! In: the scores of good moves. Out: how much more the means of subgroups scatter than those of independent moves.
//!
//! Successive moves are alike (warm, worn, oiled), so the mean of a subgroup scatters more than that of independent
//! moves. The first-order autocorrelation is estimated from move to move, which needs the fewest moves. If the means of
//! subgroups scatter more than it explains, their own variance is used.

use crate::baseline::{UNIT, sqrt};
use crate::drift::SUBGROUP;

/// Number of moves after which the estimate stays as it is: nine hours at two moves a second.
const LEARNT: u32 = 65_536;

/// Variance of ln(estimated variance), times the number of moves: 2 for the variance, 4 for the autocorrelation, and
/// what an autocorrelation up to 0.3 adds to both (Bartlett).
const ESTIMATION: f32 = 10.0;
/// Largest first-order autocorrelation that describes the dependence of moves.
const LARGEST_CORRELATION: f32 = 0.5;

/// Moves that the level follows, and the resolution of the level.
const FOLLOWED: i32 = 512;
const FOLLOWING: i32 = 64;

/// Sums over the scores of good moves. With scores of at most 640 and [`LEARNT`] moves, their squares fit 64 bits.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Spread {
    count: u32,
    /// Level of late, from which scores are counted: what moves more slowly is no scatter.
    level: i32,
    /// The last score.
    last: i32,
    sum: i32,
    squares: i64,
    /// Products of successive scores.
    products: i64,
    /// Squares of the sums of subgroups.
    subgroups: i64,
}

/// Estimates from the scores of good moves. Unit: score units; of a variance, score units²
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Variance of the mean of a subgroup, autocorrelation included.
    pub variance: f32,
    /// Skewness of single moves.
    pub skewness: f32,
    /// Excess kurtosis of single moves.
    pub kurtosis: f32,
    /// Estimation term: variance of the logarithm of `variance`.
    pub estimation: f32,
    /// Whether the moves depend on each other more than a first-order autocorrelation describes.
    pub dependent: bool,
}

/// Dependence of successive moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Dependence {
    /// See [`Scatter::variance`].
    pub(super) variance: f32,
    /// See [`Scatter::estimation`] and [`Scatter::dependent`].
    pub(super) estimation: f32,
    pub(super) dependent: bool,
}

impl Spread {
    /// Whether enough moves were added.
    pub(super) fn is_learnt(&self) -> bool {
        self.count >= LEARNT
    }

    /// Adds the scores of a subgroup.
    pub(super) fn step(&mut self, scores: impl Iterator<Item = i32>) {
        let (mut sum, mut all, level) = (0, 0, self.level / FOLLOWING);
        for score in scores {
            all += score;
            let score = score - level;
            self.products += i64::from(score * self.last);
            self.last = score;
            self.squares += i64::from(score * score);
            sum += score;
        }
        // A running mean of the first, then of about so many moves.
        let weight = (self.count as i32 + SUBGROUP as i32).min(FOLLOWED);
        self.level += (all * FOLLOWING - SUBGROUP as i32 * self.level) / weight;
        self.count += SUBGROUP;
        self.sum += sum;
        self.subgroups += i64::from(sum * sum);
    }

    /// Estimates from the moves so far.
    pub(super) fn dependence(&self) -> Dependence {
        let count = self.count.max(1) as f32;
        let (size, square_unit) = (SUBGROUP as f32, (UNIT * UNIT) as f32);
        let mean = self.sum as f32 / count / UNIT as f32;
        let single = (self.squares as f32 / count / square_unit - mean * mean).max(1e-4);
        let product = self.products as f32 / count / square_unit - mean * mean;
        // A negative autocorrelation makes limits narrower: it counts only up to what chance alone may give.
        // (`clamp` would leave a panic in the image.)
        let correlation = (product / single).max(-2.0 / sqrt(count)).min(0.9);
        let explained = single * (1.0 + correlation) / (1.0 - correlation) / size;
        let subgroups = (count / size).max(1.0);
        let between = self.subgroups as f32 / subgroups / (size * size * square_unit) - mean * mean;
        // Lower bound of the variance between subgroups, three standard errors below the estimate.
        let proven = between * (1.0 - 3.0 * sqrt(2.0 / subgroups)).max(0.0);
        Dependence {
            variance: explained.max(proven),
            estimation: ESTIMATION / count,
            dependent: correlation > LARGEST_CORRELATION || proven > explained,
        }
    }
}
