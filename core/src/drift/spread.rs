//! In: the scores of good moves. Out: how much their subgroups scatter, how lopsided, and how surely that is known.
//!
//! Moves that follow each other are alike (warm, worn, oiled), so the mean of a subgroup scatters more than that of
//! as many strangers. The autocorrelation of first order is measured from move to move, where it is known soonest;
//! subgroups that scatter more than it explains are believed instead.

use crate::baseline::UNIT;
use crate::drift::SUBGROUP;

/// Moves learnt from; then the spread is as good as known. Nine hours at two moves a second.
pub(super) const LEARNT: u32 = 65_536;

/// Variance of ln(estimated variance), times the moves it is from: 2 for the variance, 4 for the
/// autocorrelation, and what autocorrelation adds to both (Bartlett) up to 0.3.
const DOUBT: f32 = 10.0;
/// Above it an autocorrelation of first order is no description any more.
const TOO_MUCH: f32 = 0.5;

/// Sums over scores. Their bound of 640 and [`LEARNT`] keep all within 64 bits.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Spread {
    count: u32,
    last: i32,
    sum: i64,
    squares: i64,
    products: i64,
    cubes: i64,
    fourths: i64,
    subgroups: i64,
}

/// What a spread comes to. Unit: score units, squared where a variance
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Variance of the mean of a subgroup, autocorrelation and all.
    pub variance: f32,
    /// Skewness of single moves.
    pub skewness: f32,
    /// Excess kurtosis of single moves.
    pub kurtosis: f32,
    /// Variance of the logarithm of `variance`.
    pub doubt: f32,
    /// Whether the moves depend on each other in a way that is not understood.
    pub dependent: bool,
}

impl Spread {
    /// Whether more would change nothing.
    #[inline]
    pub(super) fn is_learnt(&self) -> bool {
        self.count >= LEARNT
    }

    /// Whether nothing was added yet.
    pub(super) fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Moves added.
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

    /// What is known so far; the variance is never below `least`.
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
        // A negative autocorrelation would make limits narrower; only as much as may be chance is believed.
        // (`clamp` would be a panic in the compiler's eyes.)
        let alike = (product / single).max(-2.0 / sqrt(count)).min(0.9);
        let explained = single * (1.0 + alike) / (1.0 - alike) / size;
        let subgroups = (count / size).max(1.0);
        let seen = self.subgroups as f32 / subgroups / (size * size * unit * unit) - mean * mean;
        let sure = seen * (1.0 - 3.0 * sqrt(2.0 / subgroups)).max(0.0);
        Scatter {
            variance: explained.max(sure),
            skewness: third / (single * sqrt(single)),
            kurtosis: fourth / (single * single) - 3.0,
            doubt: DOUBT / count,
            dependent: alike > TOO_MUCH || sure > explained,
        }
    }
}

/// Square root to about the last bit: Newton's steps in single precision, which the smallest boards do in hardware.
#[inline(never)]
pub(crate) fn sqrt(square: f32) -> f32 {
    if square <= 0.0 {
        return 0.0;
    }
    let guess = f32::from_bits((square.to_bits() >> 1) + (127 << 22));
    (0..4).fold(guess, |root, _| 0.5 * (root + square / root))
}
