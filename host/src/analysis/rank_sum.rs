//! In: two samples. Out: whether one lies above the other (Wilcoxon rank sum, Mann–Whitney).
//!
//! Sources: Mann & Whitney, Annals of Mathematical Statistics 18 (1947); Hollander & Wolfe, "Nonparametric
//! statistical methods", for ties.

use super::mann_kendall::two_sided;
use super::order::ranks;

/// Largest sample, without ties, whose orders are all counted instead of approximated.
const EXACT_TO: usize = 50;

/// Result of the test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RankSum {
    /// Pairs in which the first sample's value is the larger; a tie is half a pair.
    pub statistic: f64,
    /// Standard score with ties, without continuity correction.
    pub z: f64,
    /// Two-sided probability of a difference at least as large if both samples are from one population.
    pub p: f64,
    /// Whether `p` counts all orders; otherwise normal approximation with continuity correction.
    pub is_exact: bool,
    /// Share of pairs whose first value is larger minus share whose first is smaller (Cliff's delta), −1 … 1.
    pub delta: f64,
}

/// The test; `None` if a sample is empty, a value is not finite, or all values are equal.
pub fn rank_sum(first: &[f64], second: &[f64]) -> Option<RankSum> {
    let (m, n) = (first.len() as f64, second.len() as f64);
    let all: Vec<f64> = first.iter().chain(second).copied().collect();
    if first.is_empty() || second.is_empty() || all.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let (ranks, groups) = ranks(&all);
    let statistic = ranks[..first.len()].iter().sum::<f64>() - m * (m + 1.0) / 2.0;
    let total = m + n;
    let ties: f64 = groups.iter().map(|size| (*size as f64).powi(3) - *size as f64).sum();
    let variance = m * n / 12.0 * (total + 1.0 - ties / (total * (total - 1.0)));
    if variance <= 0.0 {
        return None;
    }
    let deviation = statistic - m * n / 2.0;
    let is_exact = groups.iter().all(|size| *size == 1) && first.len().max(second.len()) <= EXACT_TO;
    let p = if is_exact {
        let lower = m * n / 2.0 - deviation.abs();
        (2.0 * share_up_to(first.len(), second.len(), lower as usize)).min(1.0)
    } else {
        two_sided((deviation.abs() - 0.5).max(0.0) / variance.sqrt())
    };
    Some(RankSum {
        statistic,
        z: deviation / variance.sqrt(),
        p,
        is_exact,
        delta: 2.0 * statistic / (m * n) - 1.0,
    })
}

/// Share of all orders of `m` and `n` values whose statistic is at most `most`.
///
/// The number of orders with each statistic are the coefficients of the Gaussian binomial: Π (1 − x^(n+i)) / (1 − x^i).
pub(super) fn share_up_to(m: usize, n: usize, most: usize) -> f64 {
    let mut orders = vec![0.0; m * n + 1];
    orders[0] = 1.0;
    for i in 1..=m {
        for place in (n + i..orders.len()).rev() {
            orders[place] -= orders[place - n - i];
        }
        for place in i..orders.len() {
            orders[place] += orders[place - i];
        }
    }
    orders[..=most.min(m * n)].iter().sum::<f64>() / orders.iter().sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The slow twin: counts every order by choosing the ranks of the first sample.
    fn slow(m: usize, n: usize, most: usize) -> f64 {
        let (mut all, mut up_to) = (0, 0);
        for chosen in 0_u32..1 << (m + n) {
            if chosen.count_ones() as usize == m {
                let ranks: usize = (0..m + n).filter(|bit| chosen >> bit & 1 == 1).map(|bit| bit + 1).sum();
                all += 1;
                up_to += u32::from(ranks - m * (m + 1) / 2 <= most);
            }
        }
        f64::from(up_to) / f64::from(all)
    }

    #[test]
    fn orders_are_those_a_slow_count_finds() {
        for (m, n) in [(1, 1), (1, 6), (3, 4), (5, 5), (7, 3), (6, 8)] {
            for most in 0..=m * n {
                let (fast, slow) = (share_up_to(m, n, most), slow(m, n, most));
                assert!((fast - slow).abs() < 1e-12, "{m} and {n}, up to {most}: {fast}, slowly {slow}");
            }
        }
    }

    #[test]
    fn exact_and_approximate_meet_where_both_hold() {
        let first: Vec<f64> = (0..50).map(|i| f64::from(i) * 1.01).collect();
        let second: Vec<f64> = (0..50).map(|i| f64::from(i) * 1.07 + 5.3).collect();
        let exact = rank_sum(&first, &second).unwrap();
        assert!(exact.is_exact && (exact.p - two_sided(exact.z)).abs() < 0.005, "{exact:?}");
        assert_eq!(rank_sum(&[1.0], &[1.0]), None);
        assert_eq!(rank_sum(&[], &[1.0]), None);
    }
}
