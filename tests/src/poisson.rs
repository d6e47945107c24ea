//! In: a count of rare and independent events. Out: the largest mean that is in keeping with it.

use statrs::distribution::{DiscreteCDF, Poisson};

/// Upper end of the one-sided 95 % interval of the mean: the mean at which so few events have a chance of 5 %.
///
/// Source: F. Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28, 1936, 437–442; from memory.
pub fn upper(count: u64) -> f64 {
    let (mut low, mut high) = (count as f64, 2.0 * count as f64 + 10.0);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        let chance = Poisson::new(middle).map_or(1.0, |poisson| poisson.cdf(count));
        if chance > 0.05 { low = middle } else { high = middle }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    /// None: −ln 0.05. The others: from memory, and half the 95 % quantile of χ² with 2(n + 1) degrees of freedom.
    #[test]
    fn upper_ends() {
        for (count, expected) in [(0, 2.9957), (1, 4.7439), (5, 10.513), (10, 16.962), (100, 118.08)] {
            assert!((upper(count) / expected - 1.0).abs() < 3e-4, "{count}: {}", upper(count));
        }
    }
}
