//! In: counts of two outcomes on two sides. Out: the difference of their shares, with a confidence interval.
//!
//! Wilson's score interval of each share (Wilson, J. American Statistical Association 22, 1927), combined by Newcombe,
//! Statistics in Medicine 17 (1998), 873, method 10. Counts may be parts of a move, so that moves which depend on each
//! other can count for fewer.

use statrs::distribution::{ContinuousCDF, Normal};

/// A count of all moves of one side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// Moves that are counted.
    pub count: f64,
    /// All moves, above 0.
    pub of: f64,
}

impl Share {
    /// The share itself.
    pub fn share(&self) -> f64 {
        self.count / self.of
    }

    /// The ends of its score interval, `z` standard deviations apart from it.
    fn ends(&self, z: f64) -> (f64, f64) {
        let (share, square) = (self.share(), z * z);
        let middle = share + square / (2.0 * self.of);
        let half = z * (share * (1.0 - share) / self.of + square / (4.0 * self.of * self.of)).sqrt();
        let whole = 1.0 + square / self.of;
        (((middle - half) / whole).max(0.0), ((middle + half) / whole).min(1.0))
    }
}

/// Share after minus share before: the difference, and the lower and upper end of its interval.
pub fn share_difference(before: Share, after: Share, confidence: f64) -> (f64, f64, f64) {
    let z = Normal::standard().inverse_cdf(0.5 + confidence / 2.0);
    let ((low_before, high_before), (low_after, high_after)) = (before.ends(z), after.ends(z));
    let (one, other) = (before.share(), after.share());
    let down = (other - low_after).hypot(high_before - one);
    let up = (high_after - other).hypot(one - low_before);
    (other - one, other - one - down, other - one + up)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Table II of Newcombe's paper, method 10 (from memory; statsmodels 0.15.0 `confint_proportions_2indep` with
    /// `method="newcomb"` gives the same digits).
    #[test]
    fn published_intervals() {
        let check = |after: (f64, f64), before: (f64, f64), low: f64, high: f64| {
            let share = |(count, of)| Share { count, of };
            let (_, found_low, found_high) = share_difference(share(before), share(after), 0.95);
            let is_near = (found_low - low).abs() <= 0.5e-4 && (found_high - high).abs() <= 0.5e-4;
            assert!(is_near, "{after:?} {before:?}: {found_low} {found_high}, printed {low} {high}");
        };
        check((56.0, 70.0), (48.0, 80.0), 0.0524, 0.3339);
        check((9.0, 10.0), (3.0, 10.0), 0.1705, 0.8090);
        check((6.0, 7.0), (2.0, 7.0), 0.0582, 0.8062);
        check((5.0, 56.0), (0.0, 29.0), -0.0381, 0.1926);
        check((0.0, 10.0), (0.0, 20.0), -0.1611, 0.2775);
        check((0.0, 10.0), (0.0, 10.0), -0.2775, 0.2775);
        check((10.0, 10.0), (0.0, 20.0), 0.6791, 1.0);
        check((10.0, 10.0), (0.0, 10.0), 0.6075, 1.0);
    }
}
