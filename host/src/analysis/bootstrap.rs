//! In: values and a statistic of them. Out: confidence intervals for the statistic, by resampling the values.
//!
//! Only tests call it: the intervals of `shift_interval` hold for fewer values.
//!
//! Source: Efron, "Better bootstrap confidence intervals", J. American Statistical Association 82 (1987): BCa corrects
//! the percentile interval for bias and for a spread that changes with the figure. Values must be independent; a
//! time series is not, unless its trend and autocorrelation are removed first.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;
use statrs::distribution::{ContinuousCDF, Normal};

use super::quantile::quantile_sorted;

/// Both intervals, from the same resamples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intervals {
    /// The statistic of the values themselves.
    pub estimate: f64,
    /// Quantiles of the resampled statistics.
    pub percentile: (f64, f64),
    /// Bias-corrected and accelerated; `None` where the statistic varies too little for the correction.
    pub bca: Option<(f64, f64)>,
}

/// Draws `draws` resamples with `seed` and computes the statistic of each; the same seed gives the same intervals.
/// `None` for fewer than two values, no draws, a statistic that is not finite, or a confidence outside 0 … 1.
pub fn bootstrap(
    values: &[f64],
    statistic: impl Fn(&[f64]) -> f64,
    confidence: f64,
    draws: usize,
    seed: u64,
) -> Option<Intervals> {
    if values.len() < 2 || draws == 0 || !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let mut random = Pcg32::new(seed, 0x5f1e);
    let mut resample = values.to_vec();
    let mut statistics = Vec::with_capacity(draws);
    for _ in 0..draws {
        for value in &mut resample {
            // The product's upper half is uniform over the length, to 1 in 2³².
            let index = (u64::from(random.next_u32()) * values.len() as u64) >> 32;
            *value = values[index as usize];
        }
        statistics.push(statistic(&resample));
    }
    let estimate = statistic(values);
    if !estimate.is_finite() || statistics.iter().any(|statistic| !statistic.is_finite()) {
        return None;
    }
    statistics.sort_by(f64::total_cmp);
    let tail = (1.0 - confidence) / 2.0;
    let at = |p: f64| quantile_sorted(&statistics, p);
    let percentile = (at(tail)?, at(1.0 - tail)?);
    let bca = corrected_shares(values, &statistic, &statistics, estimate, tail)
        .and_then(|(low, high)| Some((at(low)?, at(high)?)));
    Some(Intervals { estimate, percentile, bca })
}

/// The shares at which BCa reads the sorted statistics.
fn corrected_shares(
    values: &[f64],
    statistic: impl Fn(&[f64]) -> f64,
    statistics: &[f64],
    estimate: f64,
    tail: f64,
) -> Option<(f64, f64)> {
    let normal = Normal::standard();
    // Ties with the estimate count half: a statistic on a grid, such as a median, has many.
    let below = statistics.partition_point(|statistic| *statistic < estimate);
    let up_to = statistics.partition_point(|statistic| *statistic <= estimate);
    let bias = normal.inverse_cdf((below + up_to) as f64 / 2.0 / statistics.len() as f64);
    let without = |index: usize| statistic(&[&values[..index], &values[index + 1..]].concat());
    let jackknife: Vec<f64> = (0..values.len()).map(without).collect();
    let mean = jackknife.iter().sum::<f64>() / jackknife.len() as f64;
    let power = |degree| jackknife.iter().map(|each| (mean - each).powi(degree)).sum::<f64>();
    let acceleration = power(3) / (6.0 * power(2).powf(1.5));
    let share = |z: f64| normal.cdf(bias + (bias + z) / (1.0 - acceleration * (bias + z)));
    let z = normal.inverse_cdf(tail);
    let shares = (share(z), share(-z));
    (shares.0.is_finite() && shares.1.is_finite()).then_some(shares)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean(values: &[f64]) -> f64 {
        values.iter().sum::<f64>() / values.len() as f64
    }

    #[test]
    fn the_same_seed_gives_the_same_interval() {
        let values = [1.0, 4.0, 2.0, 8.0, 5.0, 7.0];
        let run = |seed| bootstrap(&values, mean, 0.9, 500, seed).unwrap();
        assert_eq!(run(1), run(1));
        assert_ne!(run(1), run(2));
    }

    #[test]
    fn a_skewed_statistic_moves_bca_to_the_long_side() {
        let values: Vec<f64> = (1..=30).map(|i| (f64::from(i) / 6.0).exp()).collect();
        let found = bootstrap(&values, mean, 0.95, 4000, 3).unwrap();
        assert!(
            found.bca.unwrap().1 > found.percentile.1 && found.bca.unwrap().0 > found.percentile.0,
            "{found:?}"
        );
    }

    #[test]
    fn nonsense_is_refused() {
        assert_eq!(bootstrap(&[1.0], mean, 0.9, 100, 1), None);
        assert_eq!(bootstrap(&[1.0, 2.0], mean, 1.0, 100, 1), None);
        assert_eq!(bootstrap(&[1.0, 2.0], |_| f64::NAN, 0.9, 100, 1), None);
        assert_eq!(bootstrap(&[1.0, 1.0], mean, 0.9, 100, 1).unwrap().bca, None);
    }
}
