//! In: run length, smallest change, scatter, length of the baseline. Out: allowance and limits of a two-sided CUSUM.
//!
//! Of a CUSUM of x − k on normal x the average run length is (e^y − y − 1) σ²/(2k²) with y = 2k(h + 1.166σ)/σ²
//! (D. Siegmund, "Sequential Analysis", Springer 1985, 2.51; two sides together have half of it). Three corrections
//! adapt it to a real baseline: see METHOD.md, "Limits".

use crate::baseline::{ln, sqrt};
use crate::drift::SUBGROUP;
use crate::drift::spread::Scatter;

/// Mean overshoot of a CUSUM beyond its limit. Source: Siegmund. Unit: standard deviations
const OVERSHOOT: f32 = 1.166;
/// Correction of y for large k, where the formula gives too short a run length: factor of k³/σ³. Fitted to run lengths
/// by Nyström's method for k up to 1.5σ.
const LARGE_K: f32 = 0.057;
/// Largest allowance for which the formula holds. Unit: standard deviations
const LARGEST: f32 = 1.5;
/// Lower bound of k²/s² per unit of y, s being the standard error of the baseline mean; below 2 no limit exists.
const LOWER_BOUND: f32 = 2.4;

/// Allowance and limits of both sums. Unit: score units
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    /// Allowance *k*, subtracted from the deviation of every subgroup.
    pub allowance: f32,
    /// Limit *h* of the sum up: beyond it the values have grown.
    pub up: f32,
    /// Limit *h* of the sum down: beyond it the values have shrunk.
    pub down: f32,
    /// Scatter σ: standard deviation of a subgroup's mean, as estimated.
    pub deviation: f32,
    /// Whether moves depend on each other more than these limits allow for.
    pub dependent: bool,
    /// Whether the limits are wide enough to guarantee the rate of false alarms.
    pub wide_enough: bool,
    /// Whether the baseline is too short for the smallest change: only a larger one is found.
    pub short: bool,
}

impl Limits {
    /// From the run length, the smallest change, the scatter, and the length of the baseline in subgroups.
    /// Unit: subgroups, score units, score units, subgroups
    pub fn new(run_length: f32, smallest: f32, scatter: &Scatter, subgroups: f32) -> Limits {
        let wanted = smallest / 2.0;
        let variance = scatter.variance.max(wanted * wanted / (LARGEST * LARGEST));
        let one_sided = 2.0 * run_length;
        // s²: the mean of the baseline has the standard error s, so an allowance near s is too small.
        let squared_error = variance / subgroups.max(1.0);
        let lower_bound = |ratio| sqrt(LOWER_BOUND * squared_error * exponent(one_sided, ratio));
        let rough = lower_bound(wanted * wanted / variance);
        let lower_bound = lower_bound(wanted.max(rough) * wanted.max(rough) / variance);
        let allowance = wanted.max(lower_bound);
        let variance = variance.max(allowance * allowance / (LARGEST * LARGEST));
        let ratio = allowance * allowance / variance;
        let y = exponent(one_sided, ratio) + LARGE_K * ratio * sqrt(ratio);
        let estimation = squared_error / (2.0 * allowance * allowance) + scatter.estimation / 2.0;
        // Skewness and kurtosis are those of single moves, so k²/σ² is too. They matter less if more variance is
        // allowed for than was estimated.
        let ratio = ratio / SUBGROUP as f32;
        let allowed = scatter.variance / variance;
        let skew = 2.0 / 3.0 * scatter.skewness * sqrt(ratio * allowed * allowed * allowed);
        let tails = scatter.kurtosis / 3.0 * ratio * allowed * allowed;
        let deviation = sqrt(variance);
        let limit = |skew: f32| {
            let y = widened(y * (1.0 + skew.max(0.0) + tails), estimation);
            let limit = y * variance / (2.0 * allowance) - OVERSHOOT * deviation;
            limit.max(deviation / 2.0)
        };
        Limits {
            allowance,
            up: limit(skew),
            down: limit(-skew),
            deviation: sqrt(scatter.variance),
            dependent: scatter.dependent && allowed > 0.25,
            wide_enough: 4.0 * estimation * y <= 1.0,
            short: lower_bound > wanted,
        }
    }
}

/// The exponent y that solves e^y − y − 1 = 2 `ratio` · `run_length`, with `ratio` = k²/σ²; by Newton's method from
/// above.
fn exponent(run_length: f32, ratio: f32) -> f32 {
    let most = (2.0 * ratio * run_length).max(1.0);
    (0..3).fold(ln(2.0 * most + 2.0), |y, _| {
        let all = most + 1.0 + y;
        y - (y - ln(all)) * all / (all - 1.0)
    })
}

/// The exponent, widened for the estimation term: the false-alarm rate then is that of `y` on average over all
/// baselines that could have been drawn.
///
/// A relative error of the exponent's slope, of variance 2·`estimation`, turns e^-y into a mean of
/// e^(-y + `estimation`·y²). Beyond the largest y for which this has a solution, limits grow with the estimation term.
fn widened(y: f32, estimation: f32) -> f32 {
    let part = 4.0 * estimation * y;
    2.0 * y / (1.0 + sqrt(1.0 - part.min(1.0))) * part.max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The exponent put back into the formula gives the run length.
    #[test]
    fn the_exponent_solves_the_formula() {
        for ratio in [0.02_f32, 0.25, 1.0, 2.25] {
            for run_length in [100.0_f32, 1e4, 1e6, 1e9] {
                let y = f64::from(exponent(run_length, ratio));
                let found = (y.exp() - y - 1.0) / (2.0 * f64::from(ratio));
                assert!((found / f64::from(run_length) - 1.0).abs() < 2e-5, "{ratio} {run_length}: {found}");
            }
        }
    }

    #[test]
    fn the_estimation_term_only_widens() {
        let mut last = 0.0;
        for k in 0..100 {
            let y = widened(15.0, k as f32 * 1e-3);
            assert!(y > last, "{k}");
            last = y;
        }
        assert_eq!(widened(15.0, 0.0), 15.0);
    }
}
