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
/// Part of the explained variance of subgroups beyond which they depend on each other: less is made by tails and by the
/// level, which is itself estimated.
const UNEXPLAINED: f32 = 1.1;
/// Largest first-order autocorrelation that describes the dependence of moves.
const LARGEST_CORRELATION: f32 = 0.5;

/// Moves that the level follows, and the resolution of the level.
const FOLLOWED: i32 = 512;
const FOLLOWING: i32 = 32;

/// Sums over the scores of good moves, counted from the level of late: what moves more slowly is no scatter, and their
/// mean is 0. Of [`LEARNT`] moves they are known to 0.1 %.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Spread {
    count: u32,
    /// Level of late. Unit: 1/32 of that of scores
    level: i16,
    /// The last score.
    last: i16,
    squares: f32,
    /// Products of successive scores.
    products: f32,
    /// Squares of the sums of subgroups.
    subgroups: f32,
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
        let (mut sum, mut squares, mut products, level) = (0, 0, 0, i32::from(self.level) / FOLLOWING);
        for score in scores {
            let score = score - level;
            products += score * i32::from(self.last);
            self.last = score as i16;
            squares += score * score;
            sum += score;
        }
        self.squares += squares as f32;
        self.products += products as f32;
        self.subgroups += (sum * sum) as f32;
        // A running mean of the first, then of about so many moves.
        let weight = (self.count as i32 + SUBGROUP as i32).min(FOLLOWED);
        let level = i32::from(self.level) + sum * FOLLOWING / weight;
        self.level = level.max(i16::MIN.into()).min(i16::MAX.into()) as i16;
        self.count += SUBGROUP;
    }

    /// Estimates from the moves so far.
    pub(super) fn dependence(&self) -> Dependence {
        let count = self.count.max(1) as f32;
        let (size, square_unit) = (SUBGROUP as f32, (UNIT * UNIT) as f32);
        let single = (self.squares / count / square_unit).max(1e-4);
        let product = self.products / count / square_unit;
        // A negative autocorrelation makes limits narrower: it counts only up to what chance alone may give.
        // (`clamp` would leave a panic in the image.)
        let correlation = (product / single).max(-2.0 / sqrt(count)).min(0.9);
        let explained = single * (1.0 + correlation) / (1.0 - correlation) / size;
        let subgroups = (count / size).max(1.0);
        let between = self.subgroups / subgroups / (size * size * square_unit);
        // Lower bound of the variance between subgroups, three standard errors below the estimate.
        let proven = between * (1.0 - 3.0 * sqrt(2.0 / subgroups)).max(0.0);
        Dependence {
            variance: explained.max(proven),
            estimation: ESTIMATION / count,
            dependent: correlation > LARGEST_CORRELATION || proven > explained * UNEXPLAINED,
        }
    }
}
