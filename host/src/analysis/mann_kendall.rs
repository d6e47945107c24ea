//! In: values in time order. Out: whether they rise or fall, by the Mann–Kendall test.
//!
//! Sources: Mann, Econometrica 13 (1945); Kendall, "Rank correlation methods" (1975), for ties; Hamed & Rao,
//! "A modified Mann–Kendall trend test for autocorrelated data", J. Hydrology 204 (1998), for correlated
//! values. A value may be +∞, larger than any number; two infinities are equal.

use statrs::distribution::{ContinuousCDF, Normal};

use super::order::{inversions, ranks};

/// Result of the test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MannKendall {
    /// Rising pairs minus falling pairs.
    pub statistic: i64,
    /// Variance of `statistic` without a trend, with ties and autocorrelation.
    pub variance: f64,
    /// Standard score, with continuity correction.
    pub z: f64,
    /// Two-sided probability of a score at least as large without a trend. Normal approximation, from about 10 values on.
    pub p: f64,
    /// Kendall's tau-a: `statistic` over all pairs, −1 … 1.
    pub tau: f64,
}

/// Rising pairs minus falling pairs, in O(n log n).
pub fn statistic(values: &[f64]) -> i64 {
    let falling = inversions(&mut values.to_vec());
    let rising = inversions(&mut values.iter().rev().copied().collect::<Vec<_>>());
    rising as i64 - falling as i64
}

/// Variance of [`statistic`] for independent values without a trend, with ties.
pub fn variance(values: &[f64]) -> f64 {
    let pairs = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let ties: f64 = ranks(values).1.into_iter().map(|size| pairs(size as f64)).sum();
    (pairs(values.len() as f64) - ties) / 18.0
}

/// The test. `variance_factor` is 1 for independent values, else that of [`variance_factor`]; `None` for fewer than three
/// values or if all are equal.
pub fn mann_kendall(values: &[f64], variance_factor: f64) -> Option<MannKendall> {
    let statistic = statistic(values);
    let variance = variance(values) * variance_factor;
    if values.len() < 3 || !variance.is_finite() || variance <= 0.0 {
        return None;
    }
    let z = (statistic - statistic.signum()) as f64 / variance.sqrt();
    let pairs = values.len() as f64 * (values.len() as f64 - 1.0) / 2.0;
    Some(MannKendall { statistic, variance, z, p: two_sided(z), tau: statistic as f64 / pairs })
}

/// Probability of a standard normal value at least as far from 0.
pub fn two_sided(z: f64) -> f64 {
    2.0 * Normal::standard().cdf(-z.abs())
}

/// Factor by which autocorrelation up to `lags` widens the variance (Hamed & Rao 1998, their n/n*), from the ranks of
/// `residuals`, the values without their trend; only correlations beyond 1.96/√n count.
///
/// May fall below 1 where neighbours alternate; a cautious caller then uses 1.
pub fn variance_factor(residuals: &[f64], lags: usize) -> f64 {
    let n = residuals.len() as f64;
    let mean = (n + 1.0) / 2.0;
    let ranks: Vec<f64> = ranks(residuals).0.into_iter().map(|rank| rank - mean).collect();
    let power: f64 = ranks.iter().map(|rank| rank * rank).sum();
    if residuals.len() < 4 || power == 0.0 {
        return 1.0;
    }
    let mut sum = 0.0;
    for lag in 1..=lags.min(residuals.len() - 1) {
        let products: f64 = ranks.iter().zip(&ranks[lag..]).map(|(a, b)| a * b).sum();
        let correlation = products / power;
        if correlation.abs() > 1.959_963_984_540_054 / n.sqrt() {
            let pairs = n - lag as f64;
            sum += pairs * (pairs - 1.0) * (pairs - 2.0) * correlation;
        }
    }
    1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn statistic_equals_the_slow_twin() {
        let limited = |value: f64| if value < 60.0 { value } else { f64::INFINITY };
        let values: Vec<f64> =
            (0..200_u64).map(|i| limited((i * 7919 % 61) as f64 + i as f64 / 9.0)).collect();
        for length in [0, 1, 2, 3, 50, 200] {
            let values = &values[..length];
            let slow: i64 = (0..length)
                .flat_map(|i| values[i..].iter().map(move |later| (i, later)))
                .map(|(i, later)| i64::from(*later > values[i]) - i64::from(*later < values[i]))
                .sum();
            assert_eq!(statistic(values), slow, "{length} values");
        }
    }

    #[test]
    fn too_few_values_give_no_result() {
        assert_eq!(mann_kendall(&[1.0, 2.0], 1.0), None);
        assert_eq!(mann_kendall(&[2.0; 20], 1.0), None);
        assert_eq!(variance_factor(&[1.0; 9], 3), 1.0);
    }
}
