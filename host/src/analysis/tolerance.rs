//! In: a share, a confidence and values. Out: the value that this share does not exceed, with that confidence.
//!
//! Of n independent values the k-th smallest is at least the quantile of the share p with the probability that k − 1 or
//! fewer lie below it: a sum of the binomial distribution, whatever the values are distributed like (Wilks, Annals of
//! Mathematical Statistics 12, 1941). Ties and values that never came (+∞) make it only safer.

use super::exact::at_least;

/// Of a probability.
const ROUNDING: f64 = 1e-12;

/// The rank from 1 of the smallest value that is at least the quantile; `None` if `count` values are too few for one.
pub fn upper_rank(count: usize, share: f64, confidence: f64) -> Option<usize> {
    let count = count as u64;
    (1..=count)
        .find(|rank| at_least(*rank, count, share) <= 1.0 - confidence + ROUNDING)
        .map(|rank| rank as usize)
}

/// The rank of the largest value that is at most the quantile; `None` if there are too few values for one.
pub fn lower_rank(count: usize, share: f64, confidence: f64) -> Option<usize> {
    let count = count as u64;
    (1..=count)
        .rev()
        .find(|rank| at_least(*rank, count, share) >= confidence - ROUNDING)
        .map(|rank| rank as usize)
}

/// Fewest values for [`upper_rank`].
pub fn fewest(share: f64, confidence: f64) -> usize {
    ((1.0 - confidence).ln() / share.ln() - 1e-9).ceil().max(1.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wilks' numbers of values, and ranks by scipy 1.17.1 `binom.cdf(k − 1, n, p) >= c`.
    #[test]
    fn ranks_are_those_of_the_binomial_distribution() {
        for (share, expected) in [(0.9, 29), (0.95, 59), (0.99, 299), (0.999, 2995)] {
            let found = fewest(share, 0.95);
            assert_eq!(found, expected);
            assert_eq!(upper_rank(found, share, 0.95), Some(found));
            assert_eq!(upper_rank(found - 1, share, 0.95), None);
        }
        for (count, share, expected) in [
            (100, 0.9, 96),
            (100, 0.95, 99),
            (200, 0.9, 188),
            (200, 0.95, 196),
            (300, 0.95, 292),
            (500, 0.9, 462),
            (500, 0.99, 499),
            (1000, 0.9, 916),
            (1000, 0.95, 962),
            (1000, 0.99, 996),
        ] {
            assert_eq!(upper_rank(count, share, 0.95), Some(expected), "{count} {share}");
        }
    }

    #[test]
    fn lower_ranks_mirror_the_upper_ones() {
        for count in 1..=200 {
            for share in [0.5, 0.9, 0.95] {
                let mirrored = upper_rank(count, 1.0 - share, 0.95).map(|rank| count + 1 - rank);
                assert_eq!(lower_rank(count, share, 0.95), mirrored, "{count} {share}");
            }
        }
    }
}
