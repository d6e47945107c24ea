//! In: the scores of good moves. Out: scatter of the means of subgroups, skewness, kurtosis, and the uncertainty of the
//! scatter.
//!
//! Successive moves are alike (warm, worn, oiled), so the mean of a subgroup scatters more than that of independent
//! moves. The first-order autocorrelation is estimated from move to move, which needs the fewest moves. If the means of
//! subgroups scatter more than it explains, their own variance is used.

use crate::baseline::UNIT;
use crate::drift::SUBGROUP;

/// Number of moves after which the estimate stays as it is: nine hours at two moves a second.
const LEARNT: u32 = 65_536;

/// Variance of ln(estimated variance), times the number of moves: 2 for the variance, 4 for the autocorrelation, and
/// what an autocorrelation up to 0.3 adds to both (Bartlett).
const ESTIMATION: f32 = 10.0;
/// Largest first-order autocorrelation that describes the dependence of moves.
const LARGEST_CORRELATION: f32 = 0.5;

/// Sums over the scores of good moves. With scores of at most 1280 and [`LEARNT`] moves they fit 64 bits.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Spread {
    count: u32,
    /// The last score.
    last: i32,
    sum: i64,
    squares: i64,
    /// Products of successive scores.
    products: i64,
    cubes: i64,
    fourths: i64,
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

impl Spread {
    /// Whether enough moves were added.
    pub(super) fn is_learnt(&self) -> bool {
        self.count >= LEARNT
    }

    /// Whether nothing was added yet.
    pub(super) fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Number of moves added.
    pub(super) fn count(&self) -> u32 {
        self.count
    }

    /// Adds the scores of a subgroup.
    pub(super) fn step(&mut self, scores: &[i16; SUBGROUP as usize]) {
        let mut sum = 0;
        for score in scores {
            let score = i64::from(*score);
            self.products += score * i64::from(self.last);
            self.last = score as i32;
            let square = score * score;
            sum += score;
            self.squares += square;
            self.cubes += square * score;
            self.fourths += square * square;
        }
        self.count += SUBGROUP;
        self.sum += sum;
        self.subgroups += sum * sum;
    }

    /// Estimates from the moves so far; the variance of single moves is at least `least`.
    pub(super) fn scatter(&self, least: f32) -> Scatter {
        let count = self.count.max(1) as f32;
        let (size, unit) = (SUBGROUP as f32, UNIT as f32);
        let mean = self.sum as f32 / count / unit;
        let square = self.squares as f32 / count / (unit * unit);
        let single = (square - mean * mean).max(least);
        let product = self.products as f32 / count / (unit * unit) - mean * mean;
        let cube = self.cubes as f32 / count / (unit * unit * unit);
        let third = cube - 3.0 * mean * square + 2.0 * mean * mean * mean;
        let fourth = self.fourths as f32 / count / (unit * unit * unit * unit);
        let fourth =
            fourth - 4.0 * mean * cube + 6.0 * mean * mean * square - 3.0 * mean * mean * mean * mean;
        // A negative autocorrelation makes limits narrower: it counts only up to what chance alone may give.
        // (`clamp` would leave a panic in the image.)
        let correlation = (product / single).max(-2.0 / sqrt(count)).min(0.9);
        let explained = single * (1.0 + correlation) / (1.0 - correlation) / size;
        let subgroups = (count / size).max(1.0);
        let between = self.subgroups as f32 / subgroups / (size * size * unit * unit) - mean * mean;
        // Lower bound of the variance between subgroups, three standard errors below the estimate.
        let proven = between * (1.0 - 3.0 * sqrt(2.0 / subgroups)).max(0.0);
        Scatter {
            variance: explained.max(proven),
            skewness: third / (single * sqrt(single)),
            kurtosis: fourth / (single * single) - 3.0,
            estimation: ESTIMATION / count,
            dependent: correlation > LARGEST_CORRELATION || proven > explained,
        }
    }
}

/// Square root to about the last bit, by Newton's method in single precision; the same bits on every processor.
#[inline(never)]
pub(crate) fn sqrt(square: f32) -> f32 {
    if square <= 0.0 {
        return 0.0;
    }
    let guess = f32::from_bits((square.to_bits() >> 1) + (127 << 22));
    (0..4).fold(guess, |root, _| 0.5 * (root + square / root))
}
